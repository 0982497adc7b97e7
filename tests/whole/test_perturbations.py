"""Nothing that the equipment can do wrong moves an outcome out of its stated uncertainty without a finding.

The grid and what is a move stand in ``benchmarks.perturbations``; `python -m benchmarks.perturbations` prints it whole.
"""

from __future__ import annotations

from functools import cache

import pytest

from benchmarks.perturbations.grid import Subjected, moved, recordings, silent
from benchmarks.perturbations.wrong import BETWEEN, GRID
from benchmarks.real_recordings.recordings import there

REAL, SIMULATED = ("treadmill", "runway"), ("simulated brack", "simulated corrie")
#: The 30 s of the treadmill take longest: what no other recording shows.
ON_THE_TREADMILL = (
    *("-14 N vertically", "+14 N fore-aft", "gain times 1.05", "force -10 ms late", "noise of 10 N"),
    *(
        "horizontal gain times 1.1",
        "markers 15 mm ahead of the plates",
        "belt told +8 % off",
        "force below 45 N set to 0",
    ),
)
#: Small noise, at which rounding counts.
SMALL_NOISE = ("noise of 1 N", "noise of 2 N", "noise of 3 N")


@cache
def by_name() -> dict[str, Subjected]:
    return {subject.name: subject for subject in recordings()}


needs_real = pytest.mark.skipif(not there(), reason="the real recordings are not on this machine")


@pytest.mark.parametrize("name", [*(pytest.param(name, marks=needs_real) for name in REAL), *SIMULATED])
def test_no_outcome_moves_out_of_its_uncertainty_without_a_finding(name: str) -> None:
    subject = by_name()[name]
    grid = [one for one in GRID if name != "treadmill" or one.name in ON_THE_TREADMILL]
    assert len(grid) >= len(ON_THE_TREADMILL)
    wrong = {one.name: silent(moved(subject, one, ask_always=False)) for one in grid}
    assert not {name: moves for name, moves in wrong.items() if moves}


@pytest.mark.parametrize("name", SIMULATED)
def test_rounding_by_the_converter_and_by_samples_is_part_of_the_uncertainty(name: str) -> None:
    grid = [one for one in BETWEEN if one.name in SMALL_NOISE]
    assert len(grid) == len(SMALL_NOISE)
    wrong = {one.name: silent(moved(by_name()[name], one, ask_always=False)) for one in grid}
    assert not {name: moves for name, moves in wrong.items() if moves}


def test_a_large_fault_moves_outcomes_out_of_their_uncertainty_and_is_told() -> None:
    faults = {one.name: one for one in GRID}
    for name, check in {
        "+20 N fore-aft": "plates_read_zero_unloaded",
        "force +20 ms late": "force_and_markers",
    }.items():
        effect = moved(by_name()["simulated corrie"], faults[name])
        assert any(spoke.startswith(check) for spoke in effect.spoke), name
    assert any(move.outside for move in moved(by_name()["simulated corrie"], faults["+20 N fore-aft"]).moves)
