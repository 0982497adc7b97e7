"""Pictures of faults that were planted into a real running trial: real skin, real noise and real force in them.

The recording is that of ``benchmarks.detection.real``; where it is absent, nothing of this can be said.
"""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.detection import real
from benchmarks.detection.plants import plants
from benchmarks.detection.way import STAMP, shown_of
from checks.evidence import Picture
from checks.registry import catalogue
from checks.run import run_one
from pipelines.judging.pictures import picture_of

#: Checks whose picture marks a moment, measures a distance, or draws a body.
CHECKS = (
    "markers_move_without_jumps",
    "markers_keep_their_distance",
    "markers_are_not_frozen",
    "centre_of_pressure_lies_on_the_plate",
    "foot_pushes_off_with_its_front",
    "samples_stand_in_their_places",
    "plates_read_zero_unloaded",
    "marker_rate_is_the_sites",
)

pytestmark = pytest.mark.skipif(not real.there(), reason="the real running trial is not beside the repository")


@pytest.mark.parametrize("check_name", CHECKS)
def test_a_fault_planted_into_a_real_run_is_drawn_outside_of_its_limit_and_marked_where_it_is(check_name: str) -> None:
    pictures = drawn(check_name)
    assert pictures, "the fault was not found"
    for picture, moment_s in pictures:
        assert picture.shows_the_fault
        assert picture.marks_the_worst(moment_s)


def drawn(check_name: str) -> list[tuple[Picture, float | None]]:
    """The picture of the first finding on each fault of a check that the recording can hold."""
    found = []
    for plant in plants().values():
        if plant.check_name != check_name or plant.plant is None:
            continue
        try:
            planted = plant.plant(real.to_plant_in(), plant.matters, np.random.default_rng(3))
        except (LookupError, ValueError):  # it has no such plate, marker or second contact
            continue
        context = shown_of(planted, check_name)
        findings = run_one(catalogue()[check_name], context, STAMP).findings
        if findings and context.work is not None and (picture := picture_of(findings[0], context.work)) is not None:
            found.append((picture, findings[0].moment_s))
    return found
