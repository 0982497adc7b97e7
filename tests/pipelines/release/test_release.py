"""A release: whole, described, with consent looked up again, and without whoever withdrew, in its bytes too."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import duckdb
import pytest
from typer.testing import CliRunner

from pipelines.assets.deciding import release
from pipelines.assets.run import run as run_once
from pipelines.command import main as cli
from pipelines.deciding.withdrawal import withdraw
from pipelines.depot.ledger import Ledger
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot, read_table
from pipelines.errors import Unusable
from pipelines.release import make
from pipelines.release.contents import released_tables
from tests.delivery_builders import STUDY, a_delivery, leaving
from tests.depot_books import faults_of_the_ledger, ledger_lines, shelf

RUNNERS = ("FS-01", "FS-02")


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A depot with one trial of each of two runners; copied by each test."""
    folder = tmp_path_factory.mktemp("taken-in")
    (folder / "inbox").mkdir()
    a_delivery(folder / "inbox", runners=RUNNERS, names=("1",))
    run_once(STUDY, folder / "inbox", folder / "depot", "tester")
    return folder


@pytest.fixture
def depot(taken_in: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(taken_in / "depot", tmp_path / "depot"))


def test_a_release_holds_every_table_described_and_its_checksums_fit(depot: Path) -> None:
    done = release(STUDY, depot, "first analysis", "tester")
    assert (done.new, done.entry.number, done.entry.trial_count) == (True, 1, 2)
    package = json.loads((done.folder / "datapackage.json").read_text())
    assert {r["name"] for r in package["resources"]} == {t.name for t in released_tables()}
    assert all((done.folder / r["path"]).is_file() for r in package["resources"])
    sums = dict(line.split("  ") for line in (done.folder / "sha256sums.txt").read_text().splitlines())
    for digest, name in sums.items():
        assert hashlib.sha256((done.folder / name).read_bytes()).hexdigest() == digest
    others = {"sha256sums.txt", "ro-crate-metadata.json"}
    files = {p.relative_to(done.folder).as_posix() for p in done.folder.rglob("*") if p.is_file()}
    assert files - set(sums.values()) == others


def test_the_crate_names_every_file_and_points_to_its_own_description(depot: Path) -> None:
    folder = release(STUDY, depot, "first analysis", "tester").folder
    graph = {e["@id"]: e for e in json.loads((folder / "ro-crate-metadata.json").read_text())["@graph"]}
    assert graph["ro-crate-metadata.json"]["about"] == {"@id": "./"}
    parts = {part["@id"] for part in graph["./"]["hasPart"]}
    assert parts <= graph.keys()
    assert all((folder / part).is_file() for part in parts)
    assert "tables/footfalls.parquet" in parts


def test_the_database_of_a_release_has_the_same_rows_as_its_parquet_files(depot: Path) -> None:
    folder = release(STUDY, depot, "first analysis", "tester").folder
    with duckdb.connect(str(folder / "warehouse.duckdb"), read_only=True) as connection:
        for table in released_tables():
            row = connection.execute(f'SELECT count(*) FROM "{table.name}"').fetchone()
            assert row == (len(read_table(folder / "tables" / f"{table.name}.parquet")),)
        assert connection.execute("SELECT count(*) > 0 FROM footfalls_full").fetchone() == (True,)


def test_sex_and_decade_of_birth_are_left_out_where_few_runners_share_them(depot: Path, tmp_path: Path) -> None:
    folder = release(STUDY, depot, "first analysis", "tester").folder
    assert read_table(folder / "tables" / "runners.parquet")[["sex", "birth_year"]].isna().all(axis=None)
    assert "fewer than 5" in (folder / "README.md").read_text()


def test_releasing_again_without_a_change_makes_no_second_release(depot: Path) -> None:
    release(STUDY, depot, "first analysis", "tester")
    again = release(STUDY, depot, "once more", "tester")
    assert (again.new, again.entry.number) == (False, 1)
    assert [e.number for e in shelf(depot)] == [1]


def test_whoever_withdrew_is_in_no_byte_of_the_next_release_and_the_older_one_is_superseded(depot: Path) -> None:
    place = Depot(depot)
    first = release(STUDY, depot, "first analysis", "tester").folder
    assert first in {p.parent.parent for p in files_with(place, ["FS-02"])[1]}
    done = withdraw(STUDY, depot, leaving("FS-02"))
    assert done.found == ()
    assert "release-0001" in done.text()
    second = release(STUDY, depot, "after a withdrawal", "tester")
    older, newer = shelf(depot)
    assert older.superseded_utc
    assert not newer.superseded_utc
    assert second.entry.trial_count == 1
    assert not [p for p in second.folder.rglob("*") if p.is_file() and b"FS-02" in p.read_bytes()]
    assert files_with(place, ["FS-02"])[1] == []
    assert "Trials no longer in it: 1" in (second.folder / "README.md").read_text()


def test_a_release_that_would_hold_a_withdrawn_runner_is_refused(depot: Path) -> None:
    """The last gate: told by the keyed hashes alone, whatever the tables before it say."""
    with Depot(depot).opened() as books, books.transaction():
        books.withdrawals.remember("FS-02", "pooling", [])
    from pipelines.study.file import load_study
    from pipelines.taking_in.opening import open_desk

    work = depot / "work" / "by-hand"
    (work / "tables").mkdir(parents=True)
    study = load_study(STUDY)
    make.fill(work / "warehouse.duckdb", Depot(depot).warehouse, study, "test")
    make.write_parquet(work / "warehouse.duckdb", work / "tables")
    with open_desk(Depot(depot), study, "tester") as desk, pytest.raises(Unusable, match="runner who withdrew"):
        make.prove_consent(desk, work / "tables")


def test_a_consent_taken_back_by_a_later_delivery_is_seen_when_a_release_is_frozen(
    depot: Path, taken_in: Path, tmp_path: Path
) -> None:
    inbox = tmp_path / "inbox"
    shutil.copytree(taken_in / "inbox", inbox)
    a_delivery(inbox, 2, runners=("FS-02",), names=("standing",), withdrawn={"FS-02": 0})
    run_once(STUDY, inbox, depot, "tester")
    folder = release(STUDY, depot, "first analysis", "tester").folder
    assert set(read_table(folder / "tables" / "trials.parquet")["participant_id"]) == {"FS-01"}


@pytest.mark.parametrize("moment", ["before the list", "before the ledger"])
def test_a_release_killed_while_it_is_shelved_is_listed_by_the_next(
    depot: Path, moment: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Killed(BaseException):
        pass

    def die(*_: object, **__: object) -> None:
        if list((depot / "releases").glob("release-*")):
            raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(
            make if moment == "before the list" else Ledger, "_list" if moment == "before the list" else "write", die
        )
        with pytest.raises(Killed):
            release(STUDY, depot, "first analysis", "tester")
    again = release(STUDY, depot, "first analysis", "tester")
    assert (again.new, [e.number for e in shelf(depot)]) == (False, [1])
    lines = ledger_lines(depot)
    assert [line["about"] for line in lines if line["what"] == "released"] == ["release-0001"]
    assert faults_of_the_ledger(depot) == []


def test_an_empty_depot_or_no_reason_is_refused_in_plain_words(depot: Path, tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="no delivery that was taken in"):
        release(STUDY, tmp_path / "empty", "first", "tester")
    with pytest.raises(Unusable, match="No reason"):
        release(STUDY, depot, "  ", "tester")
    assert not shelf(depot)


def test_the_command_names_the_folder(depot: Path) -> None:
    asked = ["release", "--why", "first", "--study", str(STUDY), "--depot", str(depot), "--as", "tester"]
    told = CliRunner().invoke(cli.app, asked)
    assert told.exit_code == 0, told.output
    assert "release-0001" in told.output
