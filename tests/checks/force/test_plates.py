"""Checks of the force plates: planted faults, and what must not be taken for one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.mechanics import runs
from schemas.trial import UP
from tests.builders import a_trial
from tests.checks.running_checks import Case, lifted, of_trial, run, shown_in, status, with_plates

RUNWAY = {"surface": "runway", "footfalls": 2}


def clipped(plate, newtons: float):
    raw = plate.raw.copy()
    raw[:, UP] = np.minimum(raw[:, UP], newtons)
    return replace(plate, raw=raw)


def scaled(plate, times: float):
    return replace(plate, force=plate.force * times, moment=plate.moment * times)


def drifting(plate, newtons: float):
    return lifted(plate, np.linspace(0, newtons, len(plate.force)))


def off_the_plate(plate):
    return replace(plate, corners=plate.corners + np.array([0.0, 0.0, 0.6]))


PLANTED = {
    "plates_read_zero_unloaded": Case(lambda: of_trial(with_plates(a_trial(), lambda p: lifted(p, 18))), "plate 1"),
    "vertical_force_points_up": Case(
        lambda: of_trial(with_plates(a_trial(), lambda p: replace(p, force=-p.force, moment=-p.moment))),
        "plate 1",
    ),
    "force_stays_below_full_scale": Case(
        lambda: of_trial(with_plates(a_trial(), lambda p: clipped(p, 1200))), "plate 1, channel Fy"
    ),
    "centre_of_pressure_lies_on_the_plate": Case(lambda: of_trial(with_plates(a_trial(), off_the_plate)), "plate 1"),
    "mean_vertical_force_is_body_weight": Case(lambda: of_trial(replace(a_trial(), mass_kg=80.0)), "all plates"),
    "foot_lands_on_one_plate": Case(lambda: of_trial(a_trial(**RUNWAY), plate_count=[1, 2]), "footfall 2 (left)"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(a_trial())) | {
    "foot_lands_on_one_plate": lambda: of_trial(a_trial(**RUNWAY))
}


@pytest.mark.parametrize("newtons", [-60, -16, 16, 60, 300])
@pytest.mark.parametrize("kind", [{}, RUNWAY], ids=["treadmill", "runway"])
def test_an_offset_is_found_with_its_size_whatever_it_does_to_the_footfalls(newtons: float, kind: dict) -> None:
    trial = with_plates(a_trial(**kind), lambda p: lifted(p, newtons))
    findings = run("plates_read_zero_unloaded", of_trial(trial)).findings
    assert len(findings) == len(trial.plates)
    assert f"{newtons:+d} N" in findings[0].seen


@pytest.mark.parametrize("newtons", [-12, 12])
def test_an_offset_below_the_contact_threshold_is_let_pass(newtons: float) -> None:
    trial = with_plates(a_trial(), lambda p: lifted(p, newtons))
    assert status("plates_read_zero_unloaded", of_trial(trial)) == "pass"


def test_a_drift_is_found_though_its_mean_is_small() -> None:
    trial = with_plates(a_trial(footfalls=12), lambda p: drifting(p, 25.0))
    (finding,) = run("plates_read_zero_unloaded", of_trial(trial)).findings
    assert finding.moment_s > trial.duration_s / 2


def test_noise_and_short_flights_are_not_an_offset() -> None:
    rng = np.random.default_rng(1)
    trial = a_trial(contact_s=0.29, flight_s=0.06)
    noisy = with_plates(trial, lambda p: lifted(p, rng.normal(0, 8, len(p.force))))
    assert status("plates_read_zero_unloaded", of_trial(noisy)) == "pass"


def test_an_offset_of_a_plate_nobody_hit_is_found() -> None:
    trial = a_trial(**RUNWAY)
    unhit = replace(trial.plates[1], force=np.zeros_like(trial.plates[1].force))
    trial = replace(trial, plates=(trial.plates[0], lifted(unhit, 40)))
    (finding,) = run("plates_read_zero_unloaded", of_trial(trial)).findings
    assert finding.place == "plate 2"


def test_only_the_plate_with_the_turned_sign_is_named() -> None:
    trial = a_trial(**RUNWAY)
    turned = replace(trial.plates[1], force=-trial.plates[1].force)
    trial = replace(trial, plates=(trial.plates[0], turned))
    (finding,) = run("vertical_force_points_up", of_trial(trial)).findings
    assert (finding.place, shown_in(finding)[0]) == ("plate 2", "Vertical force, plate 2")


@pytest.mark.parametrize("step_n", [0.15, 2.5, 10.0], ids=["16 bit", "12 bit", "10 bit"])
def test_a_coarse_converter_is_not_taken_for_a_cut_off_peak(step_n: float) -> None:
    rng = np.random.default_rng(2)

    def quantised(plate):
        return replace(plate, raw=np.round((plate.raw + rng.normal(0, 1, plate.raw.shape)) / step_n) * step_n)

    trial = with_plates(a_trial(), quantised)
    assert status("force_stays_below_full_scale", of_trial(trial)) == "pass"


@pytest.mark.parametrize("step_n", [0.15, 2.5])
def test_a_peak_cut_off_by_a_converter_is_found(step_n: float) -> None:
    trial = with_plates(a_trial(), lambda p: clipped(replace(p, raw=np.round(p.raw / step_n) * step_n), 1300))
    (finding,) = run("force_stays_below_full_scale", of_trial(trial)).findings
    assert finding.place == "plate 1, channel Fy"
    assert 0.1 < finding.moment_s < 0.35


@pytest.mark.parametrize(("newtons", "equal"), [(20.0, 6), (43.0, 7)])
def test_six_equal_counts_on_a_small_broad_peak_are_no_cut(newtons: float, equal: int) -> None:
    """A sideways force of some tens of newtons, of which one count is 0.31 N: smooth, but flat on top in the file."""

    def sideways(plate):
        up = plate.raw[:, UP] / plate.raw[:, UP].max()
        side = np.round(newtons * (1 - (1 - up) ** 4) ** 4 / 0.305) * 0.305
        return replace(plate, raw=np.column_stack([plate.raw[:, :2], side, plate.raw[:, 3:]]))

    trial = with_plates(a_trial(contact_s=0.05, flight_s=0.3), sideways)
    side = trial.plates[0].raw[:, 2]
    assert equal <= max(b - a for a, b in runs(side == side.max()))
    assert status("force_stays_below_full_scale", of_trial(trial)) == "pass"


def test_a_cut_off_fore_aft_channel_is_found_though_it_is_small_beside_the_vertical() -> None:
    trial = with_plates(a_trial(), lambda p: replace(p, raw=np.clip(p.raw, [-180, *[-9e9] * 5], 9e9)))
    (finding,) = run("force_stays_below_full_scale", of_trial(trial)).findings
    assert finding.place == "plate 1, channel Fx"


def test_reaching_what_the_file_can_store_is_enough() -> None:
    def at_the_end(plate):
        top = plate.raw.max()
        return replace(plate, raw_full_scale=np.tile([-top, top], (plate.raw.shape[1], 1)))

    assert status("force_stays_below_full_scale", of_trial(with_plates(a_trial(), at_the_end))) == "found"


def test_a_channel_at_rest_is_not_at_the_end_of_its_range() -> None:
    trial = with_plates(a_trial(), lambda p: replace(p, raw=np.round(p.raw, -1) * [0, 1, 0, 0, 0, 0] + 5))
    assert status("force_stays_below_full_scale", of_trial(trial)) == "pass"


def test_the_way_of_the_centre_of_pressure_beyond_the_plate_is_drawn_as_long_as_it_is_told_to_be() -> None:
    (finding,) = run("centre_of_pressure_lies_on_the_plate", of_trial(with_plates(a_trial(), off_the_plate))).findings
    assert finding.shows is not None
    (beyond,) = finding.shows.panels[0].beyond
    assert f"at most {abs(beyond):.2f} m beyond its edge" in finding.seen


def test_corners_in_the_other_order_enclose_the_same_plate() -> None:
    trial = with_plates(a_trial(**RUNWAY), lambda p: replace(p, corners=p.corners[::-1]))
    assert status("centre_of_pressure_lies_on_the_plate", of_trial(trial)) == "pass"


def test_a_raised_plate_has_its_centre_of_pressure_on_its_surface() -> None:
    def raised(plate):
        up = np.array([0.0, 0.3, 0.0])
        moment = plate.moment + np.cross(up, plate.force)
        return replace(plate, corners=plate.corners + up, moment=moment)

    assert status("centre_of_pressure_lies_on_the_plate", of_trial(with_plates(a_trial(), raised))) == "pass"


def test_moments_in_newton_millimetres_are_found() -> None:
    trial = with_plates(a_trial(), lambda p: replace(p, moment=p.moment * 1000))
    assert status("centre_of_pressure_lies_on_the_plate", of_trial(trial)) == "found"


@pytest.mark.parametrize(
    ("off_percent", "weight"),
    [(2.5, None), (-2.5, None), (4.0, "notes"), (-5.5, "notes"), (6.5, "returns"), (-7, "returns")],
)
@pytest.mark.parametrize("kind", [{}, {"surface": "runway", "footfalls": 3}], ids=["treadmill", "runway"])
def test_mean_force_is_noted_from_three_percent_and_returned_from_six(
    off_percent: float, weight: str | None, kind: dict
) -> None:
    trial = with_plates(a_trial(**kind), lambda p: scaled(p, 1 + off_percent / 100))
    found = [str(f.weight) for f in run("mean_vertical_force_is_body_weight", of_trial(trial)).findings]
    assert found == ([weight] if weight else [])


def test_one_step_allows_twice_as_much() -> None:
    found = [
        run("mean_vertical_force_is_body_weight", of_trial(with_plates(a_trial(**RUNWAY), lambda p, s=s: scaled(p, s))))
        for s in (1.05, 1.08, 1.14, 2.2)
    ]
    assert [[str(f.weight) for f in report.findings] for report in found] == [[], ["notes"], ["returns"], ["returns"]]


@pytest.mark.parametrize("mass_kg", [None, 0.0, float("nan")])
def test_without_a_mass_there_is_nothing_to_compare(mass_kg: float | None) -> None:
    trial = replace(a_trial(), mass_kg=mass_kg)
    assert status("mean_vertical_force_is_body_weight", of_trial(trial)) == "skipped"


def test_one_contact_is_not_a_step() -> None:
    trial = a_trial(surface="runway", footfalls=1)
    assert status("mean_vertical_force_is_body_weight", of_trial(trial)) == "skipped"
