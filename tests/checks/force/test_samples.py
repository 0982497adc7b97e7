"""Checks of single samples of force: copies and spikes, and what looks like them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import FORWARD, UP
from tests.builders import a_trial
from tests.checks.force_builders import first_load, noisy, on_plate
from tests.checks.running_checks import Case, of_trial, run, shown_in, status, with_plates


def repeated(length: int, back: int, trial=None):
    """In the first contact on plate 1 ``length`` samples are those ``back`` before, in all channels."""

    def copy(plate):
        first, last = first_load(plate)
        at = (first + last) // 2
        force, raw, moment = (values.copy() for values in (plate.force, plate.raw, plate.moment))
        for values in (force, raw, moment):
            for i in range(at, at + length):
                values[i] = values[i - back]
        return replace(plate, force=force, raw=raw, moment=moment)

    return on_plate(trial or noisy(), 1, copy)


def torn(newtons: float, component: int = UP, at: int | None = None, trial=None):
    """One sample of plate 1 is off by ``newtons``."""

    def spike(plate):
        force = plate.force.copy()
        force[sum(first_load(plate)) // 2 if at is None else at, component] += newtons
        return replace(plate, force=force, raw=np.hstack([force, plate.moment]))

    return on_plate(trial or noisy(), 1, spike)


PLANTED = {
    "force_samples_are_not_repeated": Case(lambda: of_trial(repeated(20, 20)), "plate 1"),
    "force_has_no_spikes": Case(lambda: of_trial(torn(300.0)), "plate 1"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(noisy()))


@pytest.mark.parametrize(("length", "expected"), [(2, "pass"), (3, "found"), (30, "found")])
@pytest.mark.parametrize("back", [1, 40], ids=["held", "block"])
def test_three_copies_in_a_row_are_enough(length: int, back: int, expected: str) -> None:
    assert status("force_samples_are_not_repeated", of_trial(repeated(length, back))) == expected


def test_held_samples_and_blocks_are_described_apart() -> None:
    (held,) = run("force_samples_are_not_repeated", of_trial(repeated(15, 1))).findings
    (block,) = run("force_samples_are_not_repeated", of_trial(repeated(15, 20))).findings
    assert "15 samples" in held.seen
    assert "those one sample before" in held.seen
    assert "those 0.020 s before; the longest stretch lasts 0.015 s" in block.seen


def test_an_empty_plate_may_read_the_same_for_long() -> None:
    def still(plate):
        empty = plate.force[:, [UP]] < 20
        return replace(plate, force=np.where(empty, 0.0, plate.force), raw=np.where(empty, 0.0, plate.raw))

    assert status("force_samples_are_not_repeated", of_trial(with_plates(noisy(), still))) == "pass"


@pytest.mark.parametrize("step_n", [0.3, 2.5])
def test_equal_neighbours_of_a_coarse_converter_are_no_copies(step_n: float) -> None:
    def coarse(plate):
        force = np.round(plate.force / step_n) * step_n
        return replace(plate, force=force, raw=np.hstack([force, plate.moment]))

    assert status("force_samples_are_not_repeated", of_trial(with_plates(noisy(), coarse))) == "pass"


def test_footfalls_that_are_exactly_alike_are_no_copies() -> None:
    """The test runner without noise: every second contact is the same to the last digit, but a stride later."""
    assert status("force_samples_are_not_repeated", of_trial(a_trial())) == "pass"


def test_copies_are_found_where_only_the_forces_are_known() -> None:
    trial = with_plates(repeated(20, 20), lambda plate: replace(plate, raw=np.empty((0, 0)), labels=()))
    assert status("force_samples_are_not_repeated", of_trial(trial)) == "found"


@pytest.mark.parametrize(
    ("newtons", "expected"), [(80.0, "pass"), (-80.0, "pass"), (125.0, "found"), (-125.0, "found")]
)
def test_a_sample_may_be_off_by_a_hundred_newtons(newtons: float, expected: str) -> None:
    assert status("force_has_no_spikes", of_trial(torn(newtons))) == expected


def test_a_spike_is_counted_once_and_named_by_its_direction() -> None:
    (finding,) = run("force_has_no_spikes", of_trial(torn(250.0, FORWARD))).findings
    assert "1 of them" in finding.seen
    assert "fore-aft" in finding.seen
    assert "Fore-aft force, plate 1" in shown_in(finding)


def test_a_spike_on_the_empty_plate_is_found_too() -> None:
    (finding,) = run("force_has_no_spikes", of_trial(torn(200.0, at=40))).findings
    assert finding.moment_s == pytest.approx(0.040)


def test_a_step_is_no_spike() -> None:
    """Copied samples leave steps at both ends, which force_samples_are_not_repeated finds."""
    assert status("force_has_no_spikes", of_trial(repeated(40, 40))) == "pass"


@pytest.mark.parametrize("width_s", [0.005, 0.008, 0.015])
def test_a_sharp_impact_is_no_spike(width_s: float) -> None:
    def struck(plate):
        since = (np.arange(len(plate.force)) / 1000 - 0.112) / width_s
        force = plate.force.copy()
        force[:, UP] += np.where(np.abs(since) < 1, 500 * (1 + np.cos(np.pi * since)), 0.0)
        return replace(plate, force=force)

    assert status("force_has_no_spikes", of_trial(on_plate(noisy(), 1, struck))) == "pass"


def test_slow_sampling_leaves_nothing_to_tell_a_spike_by() -> None:
    assert status("force_has_no_spikes", of_trial(a_trial(force_rate=300.0))) == "skipped"
