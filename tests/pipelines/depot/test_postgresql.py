"""A depot whose books are a PostgreSQL database: one writer over all machines, upgraded like any other, and never mixed up."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.assets.deciding import release, withdraw
from pipelines.assets.repairing import repair
from pipelines.assets.run import run
from pipelines.depot.backup import back_up, restore
from pipelines.depot.books.opening import open_books
from pipelines.depot.storage import BOOKS_VARIABLE, Depot
from pipelines.depot.verify import verify
from pipelines.errors import Unusable
from pipelines.taking_in.repairing import Sources
from tests.delivery_builders import REPO, STUDY, a_delivery, leaving, tables
from tests.depot_books import faults_of_the_ledger, ledger_lines
from tests.pipelines.depot.conftest import a_database


@pytest.fixture
def elsewhere(database: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """The URL of a new database, which the environment names."""
    monkeypatch.setenv(BOOKS_VARIABLE, database)
    return database


def test_the_way_of_a_delivery_with_the_books_elsewhere(elsewhere: str, tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, runners=("FS-01", "FS-02"), names=("1",))
    assert "2 accepted" in run(STUDY, inbox, depot, "tester", workers=1).text()
    assert not (depot / "books.sqlite").exists()
    assert "Nothing new" in run(STUDY, inbox, depot, "tester", workers=1).text()
    release(STUDY, depot, "first", "tester")
    assert withdraw(STUDY, depot, leaving("FS-02")).found == ()
    assert {row["participant_id"] for row in tables(depot)["brack-001"]["standings"]} == {"FS-01"}
    assert faults_of_the_ledger(depot) == []
    assert {line["what"] for line in ledger_lines(depot)} == {
        "taken_in",
        "built",
        "released",
        "withdrawal",
        "withdrawal_carried_out",
    }


def test_without_its_books_the_depot_is_refused_and_other_books_are_too(
    elsewhere: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Depot(tmp_path / "one").writing("ann"):
        pass
    (tmp_path / "two").mkdir()
    (tmp_path / "two" / "books.id").write_text("another word\n")
    with pytest.raises(Unusable, match="not the books of this depot"), Depot(tmp_path / "two").opened():
        pass
    monkeypatch.delenv(BOOKS_VARIABLE)
    with pytest.raises(Unusable, match="books of the depot are missing"), Depot(tmp_path / "one").opened():
        pass
    assert not (tmp_path / "one" / "books.sqlite").exists()


def test_a_mistyped_depot_is_refused_before_anything_is_written_and_so_is_one_that_lost_its_word(
    elsewhere: str, tmp_path: Path
) -> None:
    (tmp_path / "inbox").mkdir()
    run(STUDY, tmp_path / "inbox", tmp_path / "depot", "tester", workers=1)
    with pytest.raises(Unusable, match="belong to another folder"):
        run(STUDY, tmp_path / "inbox", tmp_path / "depto", "tester", workers=1)
    assert not (tmp_path / "depto").exists()
    assert not Depot(tmp_path / "depto").register.exists()
    (tmp_path / "other" / "deliveries" / "brack-001").mkdir(parents=True)
    (tmp_path / "other" / "deliveries" / "brack-001" / "standings.parquet").touch()
    with pytest.raises(Unusable, match="belong to another folder"):
        repair(STUDY, Depot(tmp_path / "other"), "tester", Sources())
    assert not (tmp_path / "other" / "books.id").exists()
    with Depot(tmp_path / "depot").still("tester"):
        assert verify(Depot(tmp_path / "depot")) == []
    word = (tmp_path / "depot" / "books.id").read_text()
    (tmp_path / "depot" / "books.id").unlink()
    with pytest.raises(Unusable, match="put it from your backup"), Depot(tmp_path / "depot").opened():
        pass
    (tmp_path / "depot" / "books.id").write_text(word)
    assert "Nothing new" in run(STUDY, tmp_path / "inbox", tmp_path / "depot", "tester", workers=1).text()


def test_a_writer_on_another_machine_is_named_and_its_turn_ends_with_it(elsewhere: str, tmp_path: Path) -> None:
    """Another machine has another lock on the file, so only the database can tell."""
    hold = (
        "import sys; from pathlib import Path; from pipelines.depot.books.opening import open_books\n"
        "books = open_books(Path(sys.argv[1]), sys.argv[2])\n"
        "with books.my_turn(Path('elsewhere'), 'ann'): print('held', flush=True); sys.stdin.read()"
    )
    words = [sys.executable, "-c", hold, str(tmp_path / "depot"), elsewhere]
    pipes = {"stdout": subprocess.PIPE, "stdin": subprocess.PIPE, "env": {**os.environ, "PYTHONPATH": str(REPO)}}
    with subprocess.Popen(words, cwd=REPO, **pipes) as other:
        assert other.stdout is not None
        other.stdout.readline()
        with pytest.raises(Unusable, match=rf"process {other.pid} on .*ann"), Depot(tmp_path / "depot").writing("ben"):
            pass
        other.kill()
    with Depot(tmp_path / "depot").writing("ben", wait_s=30):
        pass


def test_a_database_that_does_not_answer_is_told_in_plain_words(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="cannot be reached"):
        open_books(tmp_path, f"postgresql://nobody@/none?host={tmp_path}")


def test_books_on_postgresql_are_copied_into_a_file_and_put_back_as_one(
    elsewhere: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    depot = Depot(tmp_path / "depot")
    a_delivery(tmp_path / "inbox", names=("standing",))
    run(STUDY, tmp_path / "inbox", depot.root, "tester", workers=1)
    before, lines = tables(depot.root), ledger_lines(depot.root)
    copy = back_up(depot, tmp_path / "backups", "tester").folder
    shutil.rmtree(depot.root)
    with pytest.raises(Unusable, match="database has books already"):
        restore(copy, depot, "tester")
    monkeypatch.delenv(BOOKS_VARIABLE)
    again = Depot(tmp_path / "again")
    restore(copy, again, "tester")
    with again.alone("tester"):
        assert verify(again) == []
    assert tables(again.root) == before
    assert ledger_lines(again.root)[: len(lines)] == lines


def test_a_backup_of_either_database_is_put_back_into_an_empty_one_and_goes_on(
    cluster: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox, first = tmp_path / "inbox", Depot(tmp_path / "first")
    a_delivery(inbox, names=("standing",), runners=("FS-01", "FS-02"))
    run(STUDY, inbox, first.root, "tester", workers=1)
    before, lines, source = tables(first.root), ledger_lines(first.root), first
    for number in (1, 2):  # the second is a backup of books on PostgreSQL
        copy = back_up(source, tmp_path / f"backups-{number}", "tester").folder
        monkeypatch.setenv(BOOKS_VARIABLE, a_database(cluster, f"books_{number}"))
        source = Depot(tmp_path / f"again-{number}")
        restore(copy, source, "tester")
        assert not (source.root / "books.sqlite").exists()
        with source.alone("tester"):
            assert verify(source) == []
        assert tables(source.root) == before
        assert ledger_lines(source.root)[: len(lines)] == lines
    run(STUDY, inbox, source.root, "tester", workers=1)
    assert withdraw(STUDY, source.root, leaving("FS-02")).found == ()
    assert {row["participant_id"] for row in tables(source.root)["brack-001"]["standings"]} == {"FS-01"}
    assert faults_of_the_ledger(source.root) == []
