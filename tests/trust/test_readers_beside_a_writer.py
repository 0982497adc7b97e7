"""Whoever reads the books while another process writes them takes nothing of what that one writes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from pipelines.depot.books.where import FILE
from pipelines.depot.storage import Depot

_READS = """
import sys
from pathlib import Path
from pipelines.depot.storage import Depot
with Depot(Path(sys.argv[1])).opened() as books:
    print(*books.files.of("deliveries/brack-001"))
"""


def read_by_another_process(depot: Depot) -> list[str]:
    done = subprocess.run([sys.executable, "-c", _READS, str(depot.root)], capture_output=True, text=True, check=True)
    return done.stdout.split()


def test_a_reader_that_leaves_does_not_take_the_log_of_a_writer_away(tmp_path: Path) -> None:
    depot = Depot(tmp_path / "depot")
    with depot.writing("tester"):
        pass
    with depot.writing("tester"):
        log = depot.root / f"{FILE}-wal"
        before = log.stat().st_ino
        assert read_by_another_process(depot) == []
        with depot.books.transaction():
            depot.books.files.put("deliveries/brack-001", {"standings.parquet": "0" * 64})
        assert log.stat().st_ino == before, "the writer and all others must know the same log"
        assert read_by_another_process(depot) == ["standings.parquet"]
        depot.books.forget_for_good()  # the file of the books changes, and is hashed anew
        assert read_by_another_process(depot) == ["standings.parquet"]
        with depot.books.transaction():
            depot.books.files.put("deliveries/brack-001", {"trials.parquet": "0" * 64})
        assert read_by_another_process(depot) == ["trials.parquet"]
    assert read_by_another_process(depot) == ["trials.parquet"]


def test_books_are_hashed_by_no_more_descriptors_than_there_are_books(tmp_path: Path) -> None:
    depot = Depot(tmp_path / "depot")
    before = len(list(Path("/proc/self/fd").iterdir()))
    for _ in range(3):
        with depot.writing("tester"), depot.books.transaction():
            depot.books.files.put("deliveries/brack-001", {"standings.parquet": "0" * 64})
    assert len(list(Path("/proc/self/fd").iterdir())) == before
