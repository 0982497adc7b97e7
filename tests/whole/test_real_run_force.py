"""The checks of force on a real running trial (../shared/real_run): silent on it as it is, loud once it is spoiled.

The published forces were smoothed and set to zero between contacts, which is the one thing the checks should note.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from checks.context import Context
from checks.registry import Subject, Weight, catalogue
from checks.run import run_checks
from pipelines.science.workspace import Workspace
from schemas.trial import FORWARD, RIGHT, UP, Plate, Trial
from tests.builders import a_study
from tests.checks.force.test_and_feet import turned_end_for_end
from tests.checks.force_builders import first_load, on_plate, pushed_to, with_components
from tests.checks.running_checks import STAMP, lifted, with_plates
from tests.whole.test_real_run import FOLDER, VARIANTS, trial_of

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason=f"{FOLDER} is not on this machine")
NAMES = [spec.name for spec in catalogue().values() if spec.topic.startswith("force.")]
SMOOTHED = {("empty_plates_keep_their_noise", "plates 1, 2")}


def context_of(trial: Trial) -> Context:
    study = a_study()
    trial = replace(trial, site="way")
    return Context(study, "d-001", "way", work=Workspace(trial, study.processing))


def found(trial: Trial) -> set[tuple[str, str]]:
    report = run_checks(Subject.TRIAL, context_of(trial), STAMP, NAMES)
    assert not [run for run in report.runs if run.status == "crashed"]
    return {(finding.check_name, finding.place) for finding in report.findings}


@pytest.mark.parametrize("variant", VARIANTS)
def test_the_recording_as_it_is_gets_only_the_note_it_deserves(variant: str) -> None:
    file, axes, _ = VARIANTS[variant]
    trial = trial_of(file, axes)
    assert found(trial) == SMOOTHED
    assert catalogue()["empty_plates_keep_their_noise"].weight is Weight.NOTES


def forward_turned(force: np.ndarray) -> np.ndarray:
    return force * [-1, 1, 1]


def horizontally_exchanged(force: np.ndarray) -> np.ndarray:
    return force[:, [RIGHT, UP, FORWARD]]


def three_times_too_wide(force: np.ndarray) -> np.ndarray:
    return force * [3, 1, 3]


def held(plate: Plate) -> Plate:
    """Six samples, 20 ms, are the one before them."""
    at = sum(first_load(plate)) // 2
    force, raw = plate.force.copy(), plate.raw.copy()
    force[at : at + 6], raw[at : at + 6] = force[at - 1], raw[at - 1]
    return replace(plate, force=force, raw=raw)


def twisted(plate: Plate) -> Plate:
    return replace(plate, moment=plate.moment + np.outer(plate.force[:, UP] > 100, [0, 60.0, 0]))


SPOILED: dict[str, tuple[str, Callable[[Plate], Plate]]] = {
    "fore-aft polarity": ("foot_brakes_before_it_pushes", with_components(forward_turned)),
    "exchanged channels": ("sideways_force_is_the_smallest", with_components(horizontally_exchanged)),
    "horizontal gain": ("ground_pushes_nearly_straight_up", with_components(three_times_too_wide)),
    "held samples": ("force_samples_are_not_repeated", held),
    "free moment": ("free_moment_is_credible", twisted),
    "corners 8 cm off": ("centre_of_pressure_lies_under_the_foot", lambda plate: pushed_to(plate, right_m=0.08)),
    "end for end": ("centre_of_pressure_lies_under_the_foot", turned_end_for_end),
}


@pytest.mark.parametrize("fault", SPOILED)
@pytest.mark.parametrize("number", [1, 2])
def test_a_fault_planted_in_the_real_recording_is_found_where_it_is(fault: str, number: int) -> None:
    name, change = SPOILED[fault]
    assert (name, f"plate {number}") in found(on_plate(trial_of("run.c3d"), number, change))


def test_crosstalk_between_the_real_plates_is_found() -> None:
    trial = trial_of("run.c3d")
    copy = 0.04 * trial.plates[0].force[:, UP]
    assert ("plates_do_not_talk_across", "plate 2") in found(on_plate(trial, 2, lambda plate: lifted(plate, copy)))


@pytest.mark.parametrize(("samples", "expected"), [(2, False), (-1, False), (6, True), (-3, True), (15, True)])
def test_a_delay_of_two_frames_is_found_in_the_real_recording(samples: int, expected: bool) -> None:
    """Force comes 4 ms before the markers here, by the pelvis; 300 samples and 150 frames a second."""

    def delayed(plate: Plate) -> Plate:
        return replace(plate, **{name: np.roll(getattr(plate, name), samples, axis=0) for name in ("force", "moment")})

    trial = with_plates(trial_of("run.c3d"), delayed)
    assert (("force_and_markers_share_one_clock", "markers against force") in found(trial)) is expected
