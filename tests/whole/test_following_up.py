"""The safety lead notes a look and a follow-up: the page shows it, the books keep it, and no book tells whom it is about."""

from __future__ import annotations

import re
import shutil
import stat
from pathlib import Path

import duckdb
import pytest

from pipelines.depot.storage import Depot
from tests.command_line import command
from tests.delivery_builders import STUDY
from tests.depot_books import content_of_the_books, ledger_lines
from tests.pipelines.pages.reading_html import read

LISTS = {"new since the last look": "new", "looked at, not followed up": "open", "followed up": "followed"}


@pytest.fixture
def depot(demo_depot: Path, tmp_path: Path) -> Path:
    """A copy of the demonstration's depot, which may be changed."""
    shutil.copytree(demo_depot, tmp_path / "depot", symlinks=True)
    register = demo_depot.with_name(f"{demo_depot.name}.register")
    if register.exists():
        shutil.copy2(register, tmp_path / "depot.register")
    return tmp_path / "depot"


def counts(depot: Path) -> dict[str, int]:
    """What the tiles of the safety lead's page say."""
    page = read(depot / "safety" / "index.html")
    tiles = [tile for tile in page.all("li") if tile.all("strong") and tile.all("span")]
    said = {tile.all("span")[0].words: tile.all("strong")[0].words for tile in tiles}
    return {name: int(said[words]) for words, name in LISTS.items()}


def note(depot: Path, *arguments: str, code: int = 0) -> str:
    done = command("followed-up", *arguments, "--study", str(STUDY), "--depot", str(depot))
    assert done.returncode == code, done.stderr
    return done.stdout + done.stderr


def test_a_look_a_follow_up_and_what_changed_since_are_told_apart(depot: Path) -> None:
    every = counts(depot)["new"]
    assert every > 5
    built = (depot / "warehouse.duckdb").stat().st_mtime_ns
    said = note(depot, "FS-10", "--week", "7", "--as", "Ann Dale")
    assert "1 caution is noted as followed up, by Ann Dale." in said
    assert counts(depot) == {"new": every - 1, "open": 0, "followed": 1}
    note(depot, "--looked", "--as", "Bea Holt")
    assert counts(depot) == {"new": 0, "open": every - 1, "followed": 1}
    page = read(depot / "safety" / "index.html").words
    assert re.search(r"Bea Holt noted the last look on \d", page)
    note(depot, "FS-10", "--week", "7", "--take-back", "--as", "Ann Dale")
    assert counts(depot) == {"new": 0, "open": every, "followed": 0}
    assert (depot / "warehouse.duckdb").stat().st_mtime_ns == built, "nothing else is made anew"
    assert stat.S_IMODE((depot / "safety" / "index.html").stat().st_mode) == 0o600
    lines = [line for line in ledger_lines(depot) if line["about"] == "change-over"]
    assert [line["what"] for line in lines] == ["followed_up", "looked", "follow_up_taken_back"]
    assert not re.search(r"FS-\d|problem|severity", repr(lines)), "who is on the list tells of their health"
    assert command("verify", "--depot", str(depot)).returncode == 0


def test_nobody_is_on_the_list_by_a_wrong_week_a_wrong_runner_or_the_name_of_a_runner(depot: Path) -> None:
    before = content_of_the_books(depot)
    assert "a week with a caution: 1, 7, 8, 9" in note(depot, "FS-10", "--week", "2", "--as", "Ann", code=2)
    assert "no caution about runner FS-99" in note(depot, "FS-99", "--as", "Ann", code=2)
    assert "names a runner" in note(depot, "FS-10", "--as", "FS-10", code=2)
    assert "There is no name" in note(depot, "FS-10", "--as", " ", code=2)
    assert "--looked alone" in note(depot, "--as", "Ann", code=2)
    assert "--looked alone" in note(depot, "FS-10", "--looked", "--as", "Ann", code=2)
    assert content_of_the_books(depot) == before


def test_a_caution_whose_numbers_change_is_new_again_and_the_books_name_no_runner_beside_it(depot: Path) -> None:
    from pipelines.depot.books.tables_followed import CAUTIONS_FOLLOWED

    note(depot, "--looked", "--as", "Ann Dale")
    with Depot(depot).opened() as books, books.reading() as connection:
        runners = [row.runner for row in connection.execute(CAUTIONS_FOLLOWED.select())]
        key = ("FS-10", 7, "substantial_problem", "Substantial health problem, severity 59 of 100.")
        assert books.follow_ups.of([key])
        assert not books.follow_ups.of([(*key[:3], "Substantial health problem, severity 60 of 100.")])
    with duckdb.connect(str(Depot(depot).warehouse), read_only=True) as connection:
        known = {row[0] for row in connection.execute("SELECT participant_id FROM runners").fetchall()}
    assert not known & set(runners)
