"""A depot of the form before there were books is taken over whole or not at all, and killed at any moment nothing is lost."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pipelines.assets.run import run
from pipelines.depot import before_books, upgrade
from pipelines.depot.books.rows import Decision, Entry, Gate, Override, Record, TrialVersion
from pipelines.depot.ledger import Ledger
from pipelines.depot.storage import Depot
from pipelines.depot.upgrade import ASIDE
from pipelines.errors import Unusable
from tests.delivery_builders import STUDY, a_delivery, tables, trial_id
from tests.depot_books import faults_of_the_ledger, ledger_lines, records
from tests.pipelines.depot.old_form import write_as_before

TRIAL = trial_id("1")


class KilledError(BaseException):
    """Ends the work the way a signal would."""


def killed(*_: object, **__: object) -> None:
    raise KilledError


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An inbox, a depot with books, and the same depot of the form before."""
    folder = tmp_path_factory.mktemp("upgrade")
    a_delivery(folder / "inbox", names=("1",), runners=("FS-01", "FS-02"), withdrawn={"FS-02": 0})
    run(STUDY, folder / "inbox", folder / "new", "tester", workers=1)
    depot = Depot(folder / "new")
    with depot.opened(to_write=True) as books, books.transaction():
        ledger = Ledger(books, "ann")
        files = tuple(books.gates.get("brack-001").files[TRIAL])
        decided = Override("w1", "brack", TRIAL, files, "a_check", Decision("Known.", "Ann", "2026-01-01"))
        books.decisions.put(decided)
        ledger.write("override", decided.about, "Known.", check="a_check", site="brack", by="Ann")
        withdrawal, _ = books.withdrawals.remember("FS-09", "muscle", ["aa", "bb"])
        ledger.write("withdrawal", f"tombstone-{withdrawal.tombstone}", "By letter.", scope="muscle")
        books.releases.put(Entry(1, "2026-01-01", "Ann", "first", "c", "s", 1, "sha"))
        ledger.write("released", "release-0001", "first", trials=1, content="sha")
    shutil.copytree(folder / "new", folder / "old")
    write_as_before(folder / "old")
    return folder


@pytest.fixture
def old(place: Path, tmp_path: Path) -> Path:
    shutil.copytree(place / "old", tmp_path / "depot")
    return tmp_path / "depot"


def go(depot: Path) -> str:
    return upgrade.upgrade(Depot(depot), "ann").text()


def known(depot: Path) -> dict[str, Any]:
    """All that the books say, but for what a delivery's own judging rested on, which is looked up again."""
    with Depot(depot).opened() as books:
        found: dict[str, Any] = {
            "records": books.deliveries.all(),
            "payload": [books.deliveries.payload(r.delivery_id) for r in books.deliveries.all()],
            "waiting": [books.deliveries.waiting(r.delivery_id) for r in books.deliveries.all()],
            "trials": [_plain(t) for r in books.deliveries.all() for t in books.trials.of_delivery(r.delivery_id)],
            "gates": [_open(books.gates.get(r.delivery_id)) for r in books.deliveries.all()],
            "arrivals": books.arrivals.all(),
            "scopes": [books.withdrawals.scopes(runner) for runner in ("FS-01", "FS-09")],
            "files": books.withdrawals.files_taken_out(["aa", "bb", "cc"]),
            "decisions": books.decisions.all(),
            "releases": books.releases.all(),
            "built": (books.builds.made_from(), books.builds.reached()),
            "ledger": [entry.line() for entry in books.ledger.entries()],
        }
    return found


def _plain(trial: TrialVersion) -> TrialVersion:
    return replace(trial, before_delivery="", before_parts=())


def _open(gate: Gate) -> Gate:
    return replace(gate, knew={}, shut={})


def test_all_that_the_files_say_is_in_the_books_and_one_line_more(place: Path, old: Path) -> None:
    assert "1 deliveries and their ledger are in the books" in go(old)
    before, after = known(place / "new"), known(old)
    *lines, last = after.pop("ledger")
    assert lines == before.pop("ledger")
    assert json.loads(last)["what"] == "upgraded"
    assert after == before
    assert faults_of_the_ledger(old) == []
    assert not before_books.is_there(old)
    assert {p.name for p in (old / ASIDE).iterdir()} >= {"ledger.jsonl", "consents", "arrivals", "deliveries"}
    assert (old / ASIDE).stat().st_mode & 0o077 == 0


def test_a_second_upgrade_does_nothing_and_the_next_run_judges_again(place: Path, old: Path) -> None:
    go(old)
    after = known(old)
    assert "Nothing to do" in go(old)
    assert known(old) == after
    text = run(STUDY, place / "inbox", old, "tester", workers=1).text()
    assert "brack-001: 1 accepted, 0 returned, 1 withheld" in text
    assert tables(old) == {
        "brack-001": {**tables(place / "new")["brack-001"], "overrides": tables(old)["brack-001"]["overrides"]}
    }
    assert "Nothing new" in run(STUDY, place / "inbox", old, "tester", workers=1).text()


def test_a_depot_from_before_is_refused_until_it_is_upgraded(place: Path, old: Path) -> None:
    with pytest.raises(Unusable, match="manystrides upgrade"):
        run(STUDY, place / "inbox", old, "tester", workers=1)
    assert not list(old.glob("books.*"))


def test_killed_before_it_counts_there_are_only_the_files(
    place: Path, old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(upgrade, "_tell_untold", killed)
        with pytest.raises(KilledError):
            go(old)
    with pytest.raises(Unusable, match="manystrides upgrade"):
        records(old)
    assert "in the books now" in go(old)
    assert known(old)["records"] == known(place / "new")["records"]


@pytest.mark.parametrize("number", [0, 1, 3])
def test_killed_while_the_files_are_moved_the_next_one_moves_the_rest(
    old: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    original, count = os.replace, [0]

    def dying(source: Any, target: Any) -> None:
        if Path(target).is_relative_to(old / ASIDE):
            count[0] += 1
            if count[0] > number:
                raise KilledError
        original(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", dying)
        with pytest.raises(KilledError):
            go(old)
    assert len(records(old)) == 1, "the books count already"
    go(old)
    assert not before_books.is_there(old)
    assert [line["what"] for line in ledger_lines(old)].count("upgraded") == 1


def test_a_result_that_an_older_run_was_replacing_is_put_back_first(old: Path) -> None:
    (old / "deliveries" / "brack-001").rename(old / "work" / "brack-001.replaced.0a1b2c3d")
    go(old)
    assert list(tables(old)) == ["brack-001"]
    assert len(records(old)) == 1


def test_a_torn_last_line_is_kept_as_a_line_of_its_own(old: Path) -> None:
    with (old / "ledger.jsonl").open("a") as stream:
        stream.write('{"sequence":5,"utc":"20')
    go(old)
    (line,) = [line for line in ledger_lines(old) if line["what"] == "repaired"]
    assert line["details"]["removed"] == '{"sequence":5,"utc":"20'
    assert faults_of_the_ledger(old) == []


def test_what_an_older_run_had_not_told_the_ledger_is_told(old: Path) -> None:
    kept = [json.loads(line) for line in (old / "ledger.jsonl").read_text().splitlines()]
    first = next(line for line in kept if line["what"] == "taken_in")
    assert first["sequence"] == 1, "so that none stands before it"
    (old / "ledger.jsonl").write_text("")
    (old / "built.json").unlink()
    go(old)
    told = ledger_lines(old)
    assert [line["what"] for line in told] == ["taken_in", "withdrawal", "override", "upgraded"]
    assert told[0]["details"]["result"] == first["details"]["result"]


def _spoil(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


@pytest.mark.parametrize(
    ("file", "spoil", "told"),
    [
        ("deliveries/brack-001/record.json", lambda t: _spoil(t, '"status"', '"stand"'), "record.json"),
        ("deliveries/brack-001/record.json", lambda t: t[:50], "record.json"),
        ("consents/brack-001.json", lambda t: _spoil(t, '"runner_of"', '"of"'), "consents/brack-001.json"),
        ("consents/withdrawn.json", lambda t: _spoil(t, '"key"', '"lost"'), "withdrawn.json"),
        ("arrivals/brack/brack-001.json", lambda t: "[]", "arrivals/brack/brack-001.json"),
        ("overrides.json", lambda t: _spoil(t, '"decided"', '"told"'), "overrides.json"),
        ("releases/releases.json", lambda t: _spoil(t, '"number"', '"no"'), "releases.json"),
        ("ledger.jsonl", lambda t: _spoil(t, '"actor":"tester"', '"actor":"nobody"'), "line 1"),
        ("ledger.jsonl", lambda t: t.split("\n", 1)[1], "line 1"),
        ("ledger.jsonl", lambda t: t.split("\n", 1)[0] + "\n", "missing at the end"),
        ("built.json", lambda t: "{}", "built.json"),
    ],
)
def test_what_cannot_be_understood_ends_it_and_nothing_is_changed(
    old: Path, file: str, spoil: Callable[[str], str], told: str
) -> None:
    path = old / file
    path.write_text(spoil(path.read_text()))
    before = {p: p.read_bytes() for p in old.rglob("*") if p.is_file() and p.name != "depot.lock"}
    with pytest.raises(Unusable, match=told):
        go(old)
    assert {p: p.read_bytes() for p in old.rglob("*") if p.is_file() and p.name != "depot.lock"} == before


def test_a_result_without_a_record_ends_it(old: Path) -> None:
    (old / "deliveries" / "brack-001" / "record.json").rename(old / "lost.json")
    with pytest.raises(Unusable, match="brack-001 have no"):
        go(old)


def test_the_books_of_a_depot_from_before_may_be_made_elsewhere(place: Path, old: Path, database: str) -> None:
    done = upgrade.upgrade(Depot(old, database), "ann")
    assert done.taken_over == 1
    with Depot(old, database).opened() as books:
        assert [entry.what for entry in books.ledger.entries()][-1] == "upgraded"
        assert books.deliveries.all() == records(place / "new")
    assert not (old / "books.sqlite").exists()


def test_the_record_of_a_stopped_delivery_is_taken_over_without_trials(old: Path) -> None:
    path = old / "deliveries" / "brack-001" / "record.json"
    content = json.loads(path.read_text()) | {"status": "stopped", "accepted": {}, "waiting": []}
    path.write_text(json.dumps(content))
    go(old)
    (record,) = records(old)
    assert isinstance(record, Record)
    assert (record.status, record.held) == ("stopped", True)
