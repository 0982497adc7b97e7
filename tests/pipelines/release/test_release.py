"""A release: whole, described, with consent looked up again, and without whoever withdrew, in its bytes too."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import duckdb
import pytest
from typer.testing import CliRunner

from pipelines.assets.deciding import Released, release, withdraw
from pipelines.assets.run import run as run_once
from pipelines.command import main as cli
from pipelines.depot.ledger import Ledger
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot, read_table
from pipelines.errors import Unusable
from pipelines.release import make
from pipelines.release.contents import released_tables
from pipelines.release.disclose import quasi_columns
from tests.delivery_builders import STUDY, a_delivery, leaving
from tests.depot_books import faults_of_the_ledger, ledger_lines, shelf

RUNNERS = ("FS-01", "FS-02")


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A depot with one trial of each of two runners; copied by each test."""
    folder = tmp_path_factory.mktemp("taken-in")
    (folder / "inbox").mkdir()
    a_delivery(folder / "inbox", runners=RUNNERS, names=("1",))
    run_once(STUDY, folder / "inbox", folder / "depot", "tester", workers=1)
    return folder


@pytest.fixture
def depot(taken_in: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(taken_in / "depot", tmp_path / "depot"))


@pytest.fixture(scope="module")
def released(taken_in: Path, tmp_path_factory: pytest.TempPathFactory) -> Released:
    """The first release of that depot. Nobody may write into it."""
    depot = shutil.copytree(taken_in / "depot", tmp_path_factory.mktemp("released") / "depot")
    return release(STUDY, depot, "first analysis", "tester")


def test_a_release_holds_every_table_described_and_its_checksums_fit(released: Released) -> None:
    done = released
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


def test_the_crate_names_every_file_and_points_to_its_own_description(released: Released) -> None:
    folder = released.folder
    graph = {e["@id"]: e for e in json.loads((folder / "ro-crate-metadata.json").read_text())["@graph"]}
    assert graph["ro-crate-metadata.json"]["about"] == {"@id": "./"}
    parts = {part["@id"] for part in graph["./"]["hasPart"]}
    assert parts <= graph.keys()
    assert all((folder / part).is_file() for part in parts)
    assert "tables/footfalls.parquet" in parts


def test_the_database_of_a_release_has_the_same_rows_as_its_parquet_files(released: Released) -> None:
    folder = released.folder
    with duckdb.connect(str(folder / "warehouse.duckdb"), read_only=True) as connection:
        for table in released_tables():
            row = connection.execute(f'SELECT count(*) FROM "{table.name}"').fetchone()
            assert row == (len(read_table(folder / "tables" / f"{table.name}.parquet")),)
        assert connection.execute("SELECT count(*) > 0 FROM footfalls_full").fetchone() == (True,)


def test_nothing_that_few_runners_share_is_told_and_the_release_says_what_that_cost(released: Released) -> None:
    folder = released.folder
    told = [column.name for column in quasi_columns()]
    assert set(told) >= {"birth_year", "sex", "stature_m", "mass_kg", "leg_length_m"}
    assert read_table(folder / "tables" / "runners.parquet")[told].isna().all(axis=None)
    cost = json.loads((folder / "disclosure.json").read_text())
    assert (cost["k"], cost["smallest_group_before"], cost["smallest_group_after"]) == (5, 1, 2)
    assert cost["runners_not_told"] == 2
    assert cost["columns"]["stature_m"] == {"band": None, "cells_generalised": 0, "cells_suppressed": 2}
    assert "2 runners were alone in theirs" in (folder / "README.md").read_text()


def test_bands_and_k_are_the_studys_and_no_other_table_tells_it_more_exactly(depot: Path, tmp_path: Path) -> None:
    study = tmp_path / "study.yaml"
    bands = "disclosure: {bands: {stature_m: [0.5], birth_year: [100], mass_kg: [50], leg_length_m: [0.5]}}"
    shutil.copytree(STUDY.parent / "sites", tmp_path / "sites")
    text = STUDY.read_text()
    study.write_text(f"{text}\nsmallest_cell: 2\n{bands}\n")
    folder = release(study, depot, "first analysis", "tester").folder
    with duckdb.connect(str(depot / "warehouse.duckdb"), read_only=True) as pooled:
        known = pooled.execute("SELECT stature_m, mass_kg, leg_length_m FROM runners").fetchall()
        known += pooled.execute("SELECT mass_kg FROM sessions").fetchall()
        known += pooled.execute("SELECT mass_from_force_kg FROM trial_outcomes").fetchall()
    exact = {round(float(value), 6) for row in known for value in row if value is not None}
    runners = read_table(folder / "tables" / "runners.parquet")
    assert runners["stature_m"].tolist() == [1.5, 1.5]
    assert runners["birth_year"].tolist() == [1900, 1900]
    for path in sorted((folder / "tables").glob("*.parquet")):
        for name, column in read_table(path).items():
            numbers = {round(v, 6) for v in column if isinstance(v, float)}
            assert not (numbers & exact), (path.stem, name)


def test_a_column_that_no_release_tells_in_bands_is_refused_in_the_study_file(depot: Path, tmp_path: Path) -> None:
    study = tmp_path / "study.yaml"
    shutil.copytree(STUDY.parent / "sites", tmp_path / "sites")
    text = STUDY.read_text()
    study.write_text(f"{text}\ndisclosure: {{bands: {{shoe_size: [2]}}}}\n")
    with pytest.raises(Unusable, match="shoe_size"):
        release(study, depot, "first analysis", "tester")


def test_what_the_depot_found_and_decided_does_not_leave_it(released: Released) -> None:
    folder = released.folder
    there = {p.stem for p in (folder / "tables").glob("*.parquet")}
    assert not there & {"findings", "overrides", "standing_postures", "delivery_files"}
    with duckdb.connect(str(folder / "warehouse.duckdb"), read_only=True) as connection:
        rows = connection.execute("SELECT table_name, column_name FROM information_schema.columns").fetchall()
    assert not {table for table, _ in rows} & {"findings", "overrides", "findings_open"}
    assert not {name for _, name in rows} & {"file", "arrived_as", "resend_reason", "mass_from_force_kg"}


def test_an_open_release_holds_only_runners_who_agreed_to_open_sharing(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    sound = a_delivery(tmp_path / "sound", runners=(*RUNNERS, "FS-03"), names=("1",))
    lines = (sound / "data" / "consents.csv").read_text()
    lines += "".join(f"{runner},open_sharing,given,0,2\n" for runner in ("FS-01", "FS-03"))
    lines += "FS-03,open_sharing,withdrawn,30,2\n"
    consents = {"consents.csv": lines.encode()}
    a_delivery(inbox, runners=(*RUNNERS, "FS-03"), names=("1",), replace_files=consents)
    run_once(STUDY, inbox, depot, "tester", workers=1)
    folder = release(STUDY, depot, "for everybody", "tester", openly=True).folder
    assert read_table(folder / "tables" / "runners.parquet")["participant_id"].tolist() == ["FS-01"]
    for runner in ("FS-02", "FS-03"):
        assert not [p for p in folder.rglob("*") if p.is_file() and runner.encode() in p.read_bytes()]
    assert not (folder / "tables" / "site_contrasts.parquet").exists()
    assert release(STUDY, depot, "within the study", "tester").entry.trial_count == 3


def test_an_open_release_of_nobody_is_refused(depot: Path) -> None:
    with pytest.raises(Unusable, match="agreed to open sharing"):
        release(STUDY, depot, "for everybody", "tester", openly=True)


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
    with Depot(depot).opened(to_write=True) as books, books.transaction():
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
    run_once(STUDY, inbox, depot, "tester", workers=1)
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
