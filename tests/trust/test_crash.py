"""A few of the accidents of ``benchmarks.crash``; the command does hundreds."""

from __future__ import annotations

from benchmarks.crash import accidents


def test_kills_a_full_disk_two_runs_and_a_reader_leave_the_depot_as_after_an_undisturbed_run() -> None:
    tried = list(accidents(kills=1, disks=1))
    assert len(tried) == 4
    assert not [fault for accident in tried for fault in accident.faults]
