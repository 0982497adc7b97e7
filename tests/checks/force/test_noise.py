"""Checks of the empty plate's noise: too much, cut away, smoothed away, and what is none of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, filtfilt

from schemas.trial import RIGHT, UP
from tests.builders import a_trial
from tests.checks.force_builders import RUNWAY, humming, noisy, on_plate, with_components
from tests.checks.running_checks import Case, lifted, of_trial, run, status, with_plates


def cut_below(newtons: float):
    def cut(plate):
        small = plate.force[:, [UP]] < newtons
        return replace(plate, force=np.where(small, 0.0, plate.force), raw=np.where(small, 0.0, plate.raw))

    return on_plate(noisy(), 2, cut)


def filtered(hertz: float, step_n: float = 0.0, trial=None):
    """Smoothed forth and back, then stored in steps of ``step_n``."""
    b, a = butter(2, hertz / 500)

    def smooth(force):
        low = filtfilt(b, a, force, axis=0)
        return np.round(low / step_n) * step_n if step_n else low

    return on_plate(trial or noisy(), 2, with_components(smooth))


PLANTED = {
    "empty_plates_are_quiet": Case(lambda: of_trial(humming(12.0)), "plate 2"),
    "empty_plates_keep_their_noise": Case(lambda: of_trial(cut_below(20.0)), "plate 2"),
    "force_was_not_filtered_before": Case(lambda: of_trial(filtered(45.0)), "plate 2"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(noisy()))


@pytest.mark.parametrize(("newtons", "expected"), [(6.0, "pass"), (8.0, "found")])
def test_noise_of_seven_newtons_is_too_much(newtons: float, expected: str) -> None:
    assert status("empty_plates_are_quiet", of_trial(noisy(newtons=newtons))) == expected


def test_hum_is_told_from_broad_noise() -> None:
    (hum,) = run("empty_plates_are_quiet", of_trial(humming(12.0))).findings
    broad = run("empty_plates_are_quiet", of_trial(noisy(newtons=12.0))).findings
    assert "most of it near 5" in hum.seen
    assert all("spread over all frequencies" in finding.seen for finding in broad)


def test_a_drift_of_the_zero_is_not_noise() -> None:
    trial = with_plates(noisy(), lambda plate: lifted(plate, np.linspace(0, 60, len(plate.force))))
    assert status("empty_plates_are_quiet", of_trial(trial)) == "pass"


@pytest.mark.parametrize("step_n", [0.15, 1.0, 2.5])
def test_a_coarse_converter_does_not_look_like_cut_off_noise(step_n: float) -> None:
    def coarse(plate):
        force = np.round(plate.force / step_n) * step_n
        return replace(plate, force=force, raw=np.hstack([force, np.round(plate.moment / step_n) * step_n]))

    assert status("empty_plates_keep_their_noise", of_trial(with_plates(noisy(), coarse))) == "pass"


def test_plates_without_any_noise_are_noted_once() -> None:
    (finding,) = run("empty_plates_keep_their_noise", of_trial(a_trial(**RUNWAY))).findings
    assert finding.place == "plates 1, 2"


def test_forces_that_were_cut_away_are_told_by_the_smallest_that_is_left() -> None:
    rng = np.random.default_rng(4)

    def cut_away(plate):
        force = plate.force + rng.normal(0, 6, plate.force.shape)  # one sample in eighty still reaches the 15 N
        force = np.where(np.abs(force[:, [UP]]) < 15, 0.0, force)
        return replace(plate, force=force, raw=np.hstack([force, np.where(force[:, [UP]] == 0, 0.0, plate.moment)]))

    (finding,) = run("empty_plates_keep_their_noise", of_trial(with_plates(a_trial(), cut_away))).findings
    assert "smallest force but zero is 15." in finding.seen


@pytest.mark.parametrize(
    ("newtons", "weight"), [(15.0, "notes"), (22.0, "notes"), (45.0, "returns"), (60.0, "returns")]
)
def test_more_cut_away_than_contacts_are_timed_at_goes_back(newtons: float, weight: str) -> None:
    (finding,) = run("empty_plates_keep_their_noise", of_trial(cut_below(newtons))).findings
    assert str(finding.weight) == weight


def test_noise_in_one_channel_is_enough_to_show_that_nothing_was_cut() -> None:
    def sideways_only(plate):
        force = plate.force.copy()
        force[:, :RIGHT] = np.where(force[:, [UP]] < 20, 0.0, force[:, :RIGHT])
        return replace(plate, force=force, raw=np.hstack([force, plate.moment]))

    assert status("empty_plates_keep_their_noise", of_trial(with_plates(noisy(), sideways_only))) == "pass"


@pytest.mark.parametrize("hertz", [30.0, 50.0, 100.0, 150.0])
@pytest.mark.parametrize("kind", [RUNWAY, {"flight_s": 0.13}], ids=["runway", "treadmill"])
def test_low_pass_filters_are_found_on_ground_and_belt(hertz: float, kind: dict) -> None:
    trial = noisy(a_trial(**kind), 1.5)
    smoothed = with_plates(
        trial, lambda plate: filtered(hertz, trial=replace(trial, plates=(replace(plate, number=2),))).plates[0]
    )
    assert status("force_was_not_filtered_before", of_trial(smoothed)) == "found"


def test_a_filter_is_found_though_the_file_is_stored_in_steps() -> None:
    assert status("force_was_not_filtered_before", of_trial(filtered(50.0, step_n=0.3))) == "found"


@pytest.mark.parametrize("sd", [0.5, 1.5, 5.0])
@pytest.mark.parametrize("step_n", [0.15, 0.5])
def test_white_noise_as_stored_is_not_taken_for_filtered(sd: float, step_n: float) -> None:
    def stored(plate):
        return replace(plate, force=np.round(plate.force / step_n) * step_n)

    for kind in (RUNWAY, {"flight_s": 0.12}):
        trial = with_plates(noisy(a_trial(**kind), sd), stored)
        assert status("force_was_not_filtered_before", of_trial(trial)) == "pass"


def test_hum_on_top_of_noise_is_not_taken_for_filtered() -> None:
    assert status("force_was_not_filtered_before", of_trial(humming(3.0))) == "pass"


def test_a_plate_without_noise_says_nothing_about_filters() -> None:
    assert status("force_was_not_filtered_before", of_trial(a_trial(**RUNWAY))) == "skipped"
