"""A runner who withdraws is gone from everything live: searched byte by byte, killed half-way, sent again."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipelines.assets import graph
from pipelines.assets.deciding import withdraw
from pipelines.assets.run import run
from pipelines.consent import redaction
from pipelines.depot.books.rows import Followed
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.taking_in import stages, withdrawing
from tests.delivery_builders import STUDY, a_delivery, leaving, planned, raw_files, tables, take_in_only, trial_id
from tests.depot_books import bytes_of_the_books, faults_of_the_ledger, ledger_lines

LEAVES, STAYS = "FS-02", "FS-01"


def go(inbox: Path, depot: Path) -> str:
    return run(STUDY, inbox, depot, "tester", workers=1).text()


def shas(runner: str) -> set[str]:
    return {hashlib.sha256(planned(runner, name)[1]).hexdigest() for name in ("standing", "1")}


def everything(depot: Path) -> set[str]:
    """Checksums by name of every file of raw and closed."""
    place = Depot(depot)
    return raw_files(depot) | {p.name for p in (place.root / "closed").rglob("*") if p.is_file()}


def ask(depot: Path, sql: str) -> list[tuple[Any, ...]]:
    with duckdb.connect(str(Depot(depot).warehouse), read_only=True) as connection:
        return connection.execute(sql).fetchall()


@pytest.fixture(scope="module")
def once_taken_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("withdrawal")
    a_delivery(folder / "inbox", runners=(STAYS, LEAVES))
    go(folder / "inbox", folder / "depot")
    return folder


@pytest.fixture
def taken_in(once_taken_in: Path, tmp_path: Path) -> tuple[Path, Path]:
    shutil.copytree(once_taken_in, tmp_path / "copy")
    return tmp_path / "copy" / "inbox", tmp_path / "copy" / "depot"


def test_nothing_live_holds_the_runner_afterwards_and_the_others_stay(taken_in: tuple[Path, Path]) -> None:
    inbox, depot = taken_in
    before = ask(depot, f"SELECT * EXCLUDE (delivery_id) FROM footfalls WHERE trial_id = '{trial_id('1')}'")
    signal = planned(LEAVES, "1")[1][4096:4160]
    assert files_with(Depot(depot), [LEAVES], [signal])[1], "the search finds the runner while there is something"
    cautions = {runner: (runner, 3, "minutes_rise", "as seen") for runner in (LEAVES, STAYS)}
    with (place := Depot(depot)).writing("bea"), place.opened(to_write=True) as books, books.transaction():
        for caution in cautions.values():
            books.follow_ups.put(caution, Followed("bea", "2026-05-01", "bea", "2026-05-02"))
    done = withdraw(STUDY, depot, leaving(LEAVES, "all", "ann"))
    with place.opened() as books:
        assert list(books.follow_ups.of(cautions.values())) == [cautions[STAYS]], "what was noted of the runner goes"
    assert (done.deliveries, done.found) == (("brack-001",), ())
    assert LEAVES not in done.text()
    assert files_with(Depot(depot), [LEAVES], [signal])[1] == []
    assert not shas(LEAVES) & everything(depot)
    assert shas(STAYS) <= raw_files(depot)
    assert ask(depot, f"SELECT * EXCLUDE (delivery_id) FROM footfalls WHERE trial_id = '{trial_id('1')}'") == before
    assert ask(depot, "SELECT DISTINCT standing FROM standings") == [("accepted",)]
    assert not [
        p for p in (Depot(depot).root / "closed").rglob("*") if p.is_file() and LEAVES.encode() in p.read_bytes()
    ]
    assert LEAVES.encode() not in bytes_of_the_books(depot)
    lines = ledger_lines(depot)
    stones = [line for line in lines if line["what"] == "withdrawal"]
    assert [(s["about"], s["why"], s["actor"]) for s in stones] == [(f"tombstone-{done.tombstone}", "by letter", "ann")]
    assert faults_of_the_ledger(depot) == []
    assert "Nothing new" in go(inbox, depot), "the delivery in the inbox is still known"
    again = withdraw(STUDY, depot, leaving(LEAVES, "all"))
    assert (again.tombstone, again.deliveries, again.files_removed) == (done.tombstone, (), 0)


def test_the_outbox_names_the_runner_while_the_runner_is_there_and_no_more_afterwards(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, runners=(STAYS, LEAVES), faulty={"1": "heavy"})
    go(inbox, depot)
    outbox = depot / "outbox" / "brack"

    def names(runner: str) -> set[str]:
        found = files_with(Depot(depot), [runner])[1]
        return {path.relative_to(outbox).as_posix() for path in found if path.is_relative_to(outbox)}

    everywhere = {"letter.eml", "brack-returns.zip", "receipts/brack-001.txt"}
    assert (names(LEAVES), names(STAYS)) == (everywhere, everywhere)
    assert withdraw(STUDY, depot, leaving(LEAVES, "all")).found == ()
    assert (names(LEAVES), names(STAYS)) == (set(), everywhere)


def test_how_a_bag_was_packed_is_told_again_without_the_runner_who_left(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    bag = a_delivery(tmp_path / "packed", runners=(STAYS, LEAVES))
    shutil.copytree(bag, inbox / "brack" / "brack-001" / f"week 0 {LEAVES}")
    inside = inbox / "brack" / "brack-001" / f"week 0 {LEAVES}"
    (inside / "data" / ".DS_Store").write_bytes(b"x")
    (inside / "readme.txt").write_bytes(b"x")
    take_in_only(inbox, depot)
    before = _notes(depot)
    assert len(before) == 3
    assert any(LEAVES in note for note in before)
    done = withdraw(STUDY, depot, leaving(LEAVES, "all"))
    assert (done.deliveries, done.found) == (("brack-001",), ())
    assert _notes(depot) == [note.replace(f"'week 0 {LEAVES}'", "(kept back)") for note in before]
    assert LEAVES.encode() not in bytes_of_the_books(depot)


def _notes(depot: Path) -> list[str]:
    findings = tables(depot)["brack-001"]["findings"]
    return [f["seen"] for f in findings if f["check_name"] == "every_file_is_named_in_a_table"]


def test_what_is_sent_again_is_withheld_under_the_same_id_and_under_another(taken_in: tuple[Path, Path]) -> None:
    inbox, depot = taken_in
    withdraw(STUDY, depot, leaving(LEAVES, "all"))
    a_delivery(inbox, 2, runners=(LEAVES,))
    other = planned("FS-03", "1")[0].file
    a_delivery(inbox, 3, runners=("FS-03",), replace_files={other: planned(LEAVES, "1")[1]})
    go(inbox, depot)
    assert {r["standing"] for r in tables(depot)["brack-002"]["standings"]} == {"withheld"}
    standings = {r["trial_id"]: r["standing"] for r in tables(depot)["brack-003"]["standings"]}
    assert standings == {trial_id("standing", "FS-03"): "accepted", "brack-003.withheld-1": "withheld"}
    _, found = files_with(Depot(depot), [LEAVES])
    assert [p for p in found if "bag" not in p.parts] == []
    assert withdraw(STUDY, depot, leaving(LEAVES, "all")).found == ()


@pytest.mark.parametrize("moment", ["judging", "removing", "building", "searching"])
def test_killed_half_way_the_next_command_finishes_it_and_tells(
    taken_in: tuple[Path, Path], moment: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    class KilledError(BaseException):
        pass

    def die(*_: object, **__: object) -> None:
        raise KilledError

    place = {
        "judging": (stages, "publish"),
        "removing": (withdrawing, "_remove_files"),
        "building": (graph, "build_warehouse_stage"),
        "searching": (withdrawing, "files_with"),
    }[moment]
    inbox, depot = taken_in
    with monkeypatch.context() as patch:
        patch.setattr(*place, die)
        with pytest.raises(KilledError):
            withdraw(STUDY, depot, leaving(LEAVES, "all"))
    assert "was not finished and is carried out now" in go(inbox, depot)
    assert files_with(Depot(depot), [LEAVES])[1] == []
    assert not shas(LEAVES) & everything(depot)
    assert [line["what"] for line in ledger_lines(depot)].count("withdrawal") == 1


def test_one_scope_takes_the_trials_and_leaves_the_runner(taken_in: tuple[Path, Path]) -> None:
    _, depot = taken_in
    withdraw(STUDY, depot, leaving(LEAVES, "force"))
    assert not shas(LEAVES) & everything(depot)
    assert ask(depot, "SELECT DISTINCT participant_id FROM trials") == [(STAYS,)]


def test_an_unknown_runner_or_scope_and_a_telling_reason_are_refused(taken_in: tuple[Path, Path]) -> None:
    _, depot = taken_in
    with pytest.raises(Unusable, match="does not know this runner"):
        withdraw(STUDY, depot, leaving("FS-99", "all"))
    with pytest.raises(Unusable, match="no scope"):
        withdraw(STUDY, depot, leaving(LEAVES, "legs"))
    with pytest.raises(Unusable, match="names a runner"):
        withdraw(STUDY, depot, leaving(LEAVES, "all", why=f"{LEAVES} moved away"))
    assert shas(LEAVES) <= raw_files(depot)


def test_lines_that_stay_are_left_as_they_were(tmp_path: Path) -> None:
    folder = a_delivery(tmp_path, runners=(STAYS, LEAVES))
    before = (folder / "data" / "sessions.csv").read_bytes().splitlines()
    touched = redaction.redact(folder, lambda runner: {"all"} if runner == LEAVES else set())
    after = (folder / "data" / "sessions.csv").read_bytes().splitlines()
    assert after == [line for line in before if LEAVES.encode() not in line]
    assert "trials.csv" in touched
    import bagit

    assert bagit.Bag(str(folder)).validate()
