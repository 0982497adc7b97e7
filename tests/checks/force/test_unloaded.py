"""Checks of what moves an empty plate: crosstalk and ringing, and what looks like them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import UP
from tests.builders import a_trial
from tests.checks.force_builders import first_load, humming, noisy, on_plate
from tests.checks.running_checks import Case, lifted, of_trial, run, status


def talking(share: float, trial=None):
    """A share of the first plate's vertical force shows in the second."""
    trial = trial or noisy()
    return on_plate(trial, 2, lambda plate: lifted(plate, share * trial.plates[0].force[:, UP]))


def ringing(newtons: float, decay_s: float = 0.05, hertz: float = 30.0, trial=None):
    """The first plate rings after its first contact."""

    def ring(plate):
        since = (np.arange(len(plate.force)) - first_load(plate)[1]) / 1000
        waves = newtons * np.exp(-since.clip(0) / decay_s) * np.sin(2 * np.pi * hertz * since)
        return lifted(plate, np.where(since > 0, waves, 0.0))

    return on_plate(trial or noisy(), 1, ring)


PLANTED = {
    "plates_do_not_talk_across": Case(lambda: of_trial(talking(0.04)), "plate 2"),
    "plates_are_still_after_toe_off": Case(lambda: of_trial(ringing(45.0)), "plate 1"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(noisy()))


@pytest.mark.parametrize(
    ("share", "expected"), [(0.015, "pass"), (0.025, "found"), (-0.015, "pass"), (-0.025, "found")]
)
def test_two_per_cent_of_the_neighbours_force_are_too_much_whatever_the_sign(share: float, expected: str) -> None:
    assert status("plates_do_not_talk_across", of_trial(talking(share))) == expected


def test_a_copy_is_reported_with_its_share_and_its_source() -> None:
    (finding,) = run("plates_do_not_talk_across", of_trial(talking(0.05))).findings
    assert "on plate 1 alone, plate 2 shows +5.0 %" in finding.seen


def test_a_foot_whose_marker_is_above_both_plates_may_load_both() -> None:
    trial = talking(0.1)
    shifted = replace(trial.plates[1], corners=trial.plates[1].corners - np.array([0.9, 0.0, 0.0]))
    overlapped = replace(trial, plates=(trial.plates[0], shifted))
    assert not run("plates_do_not_talk_across", of_trial(overlapped)).findings


def test_a_floor_that_shakes_at_landing_is_not_a_copy_of_the_force() -> None:
    def shaken(plate):
        since = np.arange(len(plate.force)) / 1000 - 0.1
        waves = 40 * np.exp(-since.clip(0) / 0.05) * np.sin(2 * np.pi * 25 * since)
        return lifted(plate, np.where(since > 0, waves, 0.0))

    assert status("plates_do_not_talk_across", of_trial(on_plate(noisy(), 2, shaken))) == "pass"


@pytest.mark.parametrize(("newtons", "expected"), [(16.0, "pass"), (20.0, "found")])
def test_ringing_counts_from_twelve_newtons_once_the_foot_is_gone(newtons: float, expected: str) -> None:
    """15 ms after toe-off about two thirds of the first swing are left."""
    assert status("plates_are_still_after_toe_off", of_trial(ringing(newtons))) == expected


@pytest.mark.parametrize("hertz", [20, 30, 42, 60])
def test_the_frequency_of_the_ringing_is_told(hertz: int) -> None:
    (finding,) = run("plates_are_still_after_toe_off", of_trial(ringing(60.0, hertz=hertz))).findings
    assert any(f"at about {near} Hz" in finding.seen for near in range(hertz - 4, hertz + 5))


def test_ringing_is_found_in_the_short_flights_of_a_treadmill() -> None:
    def after_each(plate, contacts=8):
        times = np.arange(len(plate.force)) / 1000
        toe_offs = 0.35 + 0.38 * np.arange(contacts)
        since = np.stack([times - toe_off for toe_off in toe_offs])
        waves = 90.0 * np.exp(-since.clip(0) / 0.02) * np.sin(2 * np.pi * 45.0 * since)
        return lifted(plate, np.where((since > 0) & (since < 0.13), waves, 0.0).sum(axis=0))

    still = noisy(a_trial(flight_s=0.13))
    assert status("plates_are_still_after_toe_off", of_trial(on_plate(still, 1, after_each))) == "found"
    once = on_plate(still, 1, lambda plate: after_each(plate, contacts=1))
    assert status("plates_are_still_after_toe_off", of_trial(once)) == "pass"


def test_what_is_left_where_small_forces_were_cut_away_is_no_ringing() -> None:
    def cut_away(plate):
        return replace(plate, force=np.where(np.abs(plate.force[:, [UP]]) < 15, 0.0, plate.force))

    assert status("plates_are_still_after_toe_off", of_trial(ringing(45.0))) == "found"
    assert status("plates_are_still_after_toe_off", of_trial(on_plate(ringing(45.0), 1, cut_away))) == "pass"


def test_a_belt_that_always_shakes_does_not_ring() -> None:
    assert status("plates_are_still_after_toe_off", of_trial(humming(20.0, 30.0))) == "pass"


def test_force_that_fades_slowly_does_not_ring() -> None:
    """A soft plate or a filter: the last newtons die away without swinging."""

    def fading(plate):
        since = (np.arange(len(plate.force)) - first_load(plate)[1]) / 1000
        return lifted(plate, np.where(since > 0, 45 * np.exp(-since.clip(0) / 0.02), 0.0))

    assert status("plates_are_still_after_toe_off", of_trial(on_plate(noisy(), 1, fading))) == "pass"
