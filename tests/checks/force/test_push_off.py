"""Where the foot pushes off: real feet and simulated ones, and plates that lie elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.detection.plants import plants
from benchmarks.detection.real_long import recorded
from benchmarks.detection.specimens import Case, specimen
from benchmarks.detection.way import seen_in
from benchmarks.real_recordings.recordings import there

NAME = "foot_pushes_off_with_its_front"
PLANT = next(plant for plant in plants().values() if plant.check_name == NAME)


@pytest.mark.parametrize("site", ["brack", "corrie"])
@pytest.mark.parametrize(("metres", "said"), [(0.02, 0), (0.08, 1)])
def test_centimetres_are_told_and_what_a_careful_laboratory_is_off_by_is_not(
    site: str, metres: float, said: int
) -> None:
    assert PLANT.plant is not None
    for number in range(4):
        case = Case(number, site)
        planted = PLANT.plant(specimen(case), metres, case.chance(NAME))
        assert len(seen_in(planted, NAME).findings) == said


@pytest.mark.skipif(not there(), reason="the real recordings are not on this machine")
def test_real_feet_push_off_with_their_front_and_a_plate_80_mm_elsewhere_is_told() -> None:
    assert PLANT.plant is not None
    for own in recorded().values():
        assert seen_in(own, NAME).runs[0].status == "pass"
        for seed in range(3):
            assert seen_in(PLANT.plant(own, 0.08, np.random.default_rng(seed)), NAME).findings
