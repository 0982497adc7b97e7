"""Two of the accidents of ``benchmarks.crash``; ``make crash`` does hundreds, with full disks and two runs at once."""

from __future__ import annotations

from benchmarks.crash import accidents


def test_a_kill_and_a_reader_leave_the_depot_as_after_an_undisturbed_run() -> None:
    tried = list(accidents(kills=1, disks=0, pairs=0))
    assert [accident.times for accident in tried] == [1, 1]
    assert not [fault for accident in tried for fault in accident.faults]
