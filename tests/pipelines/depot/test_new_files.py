"""A command writes an answer only to a new file, and into no depot."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.depot.new_files import refuse_place
from pipelines.errors import Unusable
from tests.command_line import command


@pytest.fixture
def depot(tmp_path: Path) -> Path:
    """A folder that has the look of a depot, with its register."""
    (tmp_path / "depot" / "pages").mkdir(parents=True)
    for name in ("books.sqlite", "books.id"):
        (tmp_path / "depot" / name).write_bytes(b"kept")
    (tmp_path / "depot.register").write_bytes(b"kept")
    return tmp_path / "depot"


@pytest.mark.parametrize("name", ["books.sqlite", "books.id", "new.txt", "pages/x.zip", "../depot.register", "no/x"])
def test_nothing_is_written_over_or_into_a_depot(depot: Path, name: str) -> None:
    with pytest.raises(Unusable):
        refuse_place(depot / name)
    assert (depot / "books.sqlite").read_bytes() == b"kept"


def test_a_new_file_elsewhere_may_be_written(depot: Path) -> None:
    assert refuse_place(depot.parent / "answer.csv") == depot.parent / "answer.csv"


@pytest.mark.parametrize("name", ["books.sqlite", "books.id"])
def test_the_head_of_the_ledger_is_not_written_over_the_books(depot: Path, name: str) -> None:
    done = command("ledger", "head", "--depot", depot, "--to", depot / name)
    assert done.returncode != 0
    assert (depot / name).read_bytes() == b"kept"
