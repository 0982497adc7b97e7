"""Checks of what was computed: planted faults, and what must not be taken for one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import FORWARD, Trial
from tests.builders import a_study, a_trial
from tests.checks.running_checks import Case, of_trial, run, status, with_plates


def pushed(plate, newtons: float):
    """A plate whose fore-aft channel is off by ``newtons`` under load."""
    force = plate.force.copy()
    force[force[:, 1] > 20, FORWARD] += newtons
    return replace(plate, force=force)


SIDES = ["right", "left", "right", "right", "left", "right", "left", "right"]
PLANTED = {
    "enough_footfalls_are_complete": Case(lambda: of_trial(a_trial(footfalls=5)), "all plates"),
    "contact_times_are_credible": Case(
        lambda: of_trial(a_trial(), contact_time_s=[0.25] * 6 + [0.05, 0.47]), "footfall 7 (right)"
    ),
    "active_peaks_are_credible": Case(
        lambda: of_trial(a_trial(), active_peak_bw=[2.4] * 7 + [0.9]), "footfall 8 (left)"
    ),
    "sides_alternate": Case(lambda: of_trial(a_trial(), side=SIDES), "footfall 4 (right)"),
    "fore_aft_impulse_balances_at_steady_speed": Case(
        lambda: of_trial(with_plates(a_trial(), lambda p: pushed(p, 40))), "all plates"
    ),
    "speed_keeps_to_the_protocol": Case(
        lambda: of_trial(replace(a_trial(speed=3.5), set_speed_m_per_s=3.0)), "footfall 1 (right)"
    ),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(a_trial()))


def test_a_belt_without_a_single_footfall_is_found() -> None:
    trial = with_plates(a_trial(), lambda p: replace(p, force=p.force * 0))
    (finding,) = run("enough_footfalls_are_complete", of_trial(trial)).findings
    assert finding.seen.startswith("0 ")


@pytest.mark.parametrize(("footfalls", "expected"), [(5, "found"), (6, "pass")])
def test_six_footfalls_are_enough_on_a_treadmill(footfalls: int, expected: str) -> None:
    assert status("enough_footfalls_are_complete", of_trial(a_trial(footfalls=footfalls))) == expected


def test_one_footfall_is_enough_on_a_runway() -> None:
    assert status("enough_footfalls_are_complete", of_trial(a_trial(surface="runway", footfalls=1))) == "pass"


def test_a_lab_without_plates_is_not_asked_for_footfalls() -> None:
    assert status("enough_footfalls_are_complete", of_trial(replace(a_trial(), plates=()))) == "skipped"


@pytest.mark.parametrize(("seconds", "expected"), [(0.10, "pass"), (0.45, "pass"), (0.09, "found"), (0.46, "found")])
def test_contact_time_has_two_limits(seconds: float, expected: str) -> None:
    context = of_trial(a_trial(), contact_time_s=[seconds] + [0.25] * 7)
    assert status("contact_times_are_credible", context) == expected


def test_a_wrong_mass_shows_in_the_active_peaks() -> None:
    assert status("active_peaks_are_credible", of_trial(replace(a_trial(), mass_kg=154.0))) == "found"


def test_peaks_that_are_not_known_are_not_judged() -> None:
    assert status("active_peaks_are_credible", of_trial(a_trial(), active_peak_bw=np.nan)) == "skipped"


def test_the_same_side_after_a_pause_is_no_fault() -> None:
    context = of_trial(a_trial(surface="runway", footfalls=2), side="left", contact_s=[0.1, 0.85])
    assert status("sides_alternate", context) == "skipped"


def test_a_study_may_set_its_own_limit() -> None:
    study = a_study(limits={"contact_times_are_credible": {"longest_s": 0.2}})
    assert status("contact_times_are_credible", of_trial(a_trial(), study)) == "found"


def test_the_belt_is_measured_by_the_foot_that_stands_on_it() -> None:
    trial = replace(a_trial(speed=3.0), set_speed_m_per_s=3.6)
    (finding,) = run("speed_keeps_to_the_protocol", of_trial(trial)).findings
    assert "3.00 m/s" in finding.seen


def test_the_speed_of_a_pass_is_compared_on_a_runway() -> None:
    trial = replace(a_trial(surface="runway", footfalls=2, speed=4.0), set_speed_m_per_s=3.0)
    assert status("speed_keeps_to_the_protocol", of_trial(trial)) == "found"


def test_speed_in_kilometres_per_hour_is_found() -> None:
    assert status("speed_keeps_to_the_protocol", of_trial(replace(a_trial(), set_speed_m_per_s=10.8))) == "found"


@pytest.mark.parametrize(("told", "expected"), [(3.11, "pass"), (3.14, "found"), (2.87, "found")])
def test_a_belt_is_as_fast_as_the_table_says_within_four_per_cent(told: float, expected: str) -> None:
    assert (
        status("speed_keeps_to_the_protocol", of_trial(replace(a_trial(speed=3.0), set_speed_m_per_s=told))) == expected
    )


def test_a_pass_may_be_less_near_to_its_speed() -> None:
    trial = replace(a_trial(surface="runway", footfalls=4, speed=3.0), set_speed_m_per_s=3.2)
    assert status("speed_keeps_to_the_protocol", of_trial(trial)) == "pass"


def gaining(trial: Trial, metres_per_s2: float) -> Trial:
    time = np.arange(len(next(iter(trial.markers.values())))) / trial.marker_rate_hz
    way = np.outer(metres_per_s2 / 2 * time**2, [1.0, 0.0, 0.0])
    return replace(trial, markers={name: path + way for name, path in trial.markers.items()})


def test_a_push_on_a_runway_shows_unless_the_runner_gains_its_speed() -> None:
    """40 N in two contacts of 0.25 s in each stride of 0.7 s make 70 kg faster by 0.29 m/s (Newton)."""
    check = "fore_aft_impulse_balances_at_steady_speed"
    trial = a_trial(surface="runway", footfalls=4)
    assert status(check, of_trial(trial)) == "pass"
    pushed_on = with_plates(trial, lambda p: pushed(p, 40))
    assert status(check, of_trial(pushed_on)) == "found"
    assert status(check, of_trial(gaining(pushed_on, 40 * 2 * 0.25 / 70 / 0.7))) == "pass"
    assert status(check, of_trial(gaining(trial, 40 * 2 * 0.25 / 70 / 0.7))) == "found"


@pytest.mark.parametrize(("surface", "told", "weight", "unit"), [
    ("treadmill", 3.25, "notes", ""), ("treadmill", 3.5, "returns", ""), ("treadmill", 10.8, "returns", "read as km/h the table's number would be 3.00 m/s"),
    ("treadmill", 6.71, "returns", "read as miles per hour the table's number would be 3.00 m/s"), ("runway", 10.8, "returns", "read as km/h the table's number would be 3.00 m/s"),
    ("runway", 3.6, "returns", ""),
])  # fmt: skip
def test_a_speed_that_was_not_run_goes_back_and_says_of_which_unit_it_is(
    surface: str, told: float, weight: str, unit: str
) -> None:
    trial = replace(a_trial(surface=surface, footfalls=4, speed=3.0), set_speed_m_per_s=told)
    (finding,) = run("speed_keeps_to_the_protocol", of_trial(trial)).findings
    assert str(finding.weight) == weight
    assert unit in finding.seen
    assert ("read as" in finding.seen) == bool(unit)


def test_a_set_speed_is_held_against_the_feet_although_the_belt_was_measured() -> None:
    trial = replace(a_trial(speed=3.0), set_speed_m_per_s=3.5, belt_speed_m_per_s=3.0)
    (finding,) = run("speed_keeps_to_the_protocol", of_trial(trial)).findings
    assert "3.50 m/s, the set speed" in finding.expected


def test_impulses_of_a_pass_without_a_whole_stride_say_nothing() -> None:
    trial = with_plates(a_trial(surface="runway", footfalls=2), lambda p: pushed(p, 40))
    assert status("fore_aft_impulse_balances_at_steady_speed", of_trial(trial)) == "skipped"
