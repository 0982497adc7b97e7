"""One of the accidents of ``benchmarks.crash``; ``make crash`` does hundreds, with full disks and two runs at once."""

from __future__ import annotations

from benchmarks.crash import accidents


def test_a_killed_process_leaves_the_depot_so_that_the_next_run_ends_as_an_undisturbed_one() -> None:
    tried = list(accidents(kills=1, disks=0, pairs=0, readers=0))
    assert [accident.times for accident in tried] == [1]
    assert not [fault for accident in tried for fault in accident.faults]
