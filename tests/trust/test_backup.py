"""The drill: a depot is copied while a run goes on, lost, put back, proved, and goes on as if nothing had been."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from benchmarks.crash import keep_the_code, start
from pipelines.assets.deciding import take_back, withdraw
from pipelines.assets.run import run
from pipelines.depot.backup import back_up, restore
from pipelines.depot.storage import Depot
from pipelines.depot.verify import verify
from pipelines.errors import Unusable
from tests.delivery_builders import STUDY, a_delivery, leaving, tables
from tests.depot_books import ledger_lines, records
from tests.trust.conftest import LEAVES


def go(inbox: Path, depot: Depot) -> str:
    return run(STUDY, inbox, depot.root, "tester", workers=1).text()


def faults(depot: Depot) -> list[str]:
    with depot.alone("tester"):
        return [fault.line() for fault in verify(depot)]


@pytest.fixture
def place(once: Path, tmp_path: Path) -> Path:
    shutil.copytree(once, tmp_path / "copy")
    return tmp_path / "copy"


def test_copies_made_while_a_run_goes_on_are_each_of_one_moment(place: Path) -> None:
    depot = Depot(place / "depot")
    keep_the_code(place)
    for number in (2, 3):
        a_delivery(place / "inbox", number, names=(str(number),))
    with start(place / "inbox", depot.root) as process:
        copies = [back_up(depot, place / "backups" / str(process.pid), "tester").folder]
        while process.poll() is None:
            copies.append(back_up(depot, place / "backups" / str(len(copies)), "tester").folder)
        assert process.returncode == 0, process.stdout.read() if process.stdout else ""
    held = []
    for number, copy in enumerate(copies[:: max(1, len(copies) // 4)]):
        again = Depot(place / f"again-{number}")
        restore(copy, again, "tester")
        assert faults(again) == []
        held.append(len(records(again.root)))
    assert held == sorted(held)


def test_a_backup_may_be_named_from_where_one_stands(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(place)
    copy = back_up(Depot(Path("depot")), Path("backups"), "tester").folder
    again = Depot(place / "again")
    restore(copy, again, "tester")
    assert faults(again) == []


def test_a_depot_that_is_lost_is_put_back_and_goes_on(place: Path) -> None:
    depot = Depot(place / "depot")
    before = tables(depot.root)
    copy = back_up(depot, place / "backups", "tester").folder
    a_delivery(place / "inbox", 2, names=("1",))
    go(place / "inbox", depot)
    with pytest.raises(Unusable, match="something in this place"):
        restore(copy, depot, "tester")
    shutil.rmtree(depot.root)
    told = restore(copy, depot, "tester").text()
    assert "lines of the ledger were written after the copy" in told
    assert (faults(depot), tables(depot.root)) == ([], before)
    bag = depot.result("brack-001").local("bag")
    assert {p.stat().st_mode & 0o077 for p in (bag, *bag.iterdir())} == {0}, "it is for its owner alone as before"
    go(place / "inbox", depot)
    assert "Nothing new" in go(place / "inbox", depot)
    assert (faults(depot), sorted(tables(depot.root))) == ([], ["brack-001", "brack-002"])
    assert [line["what"] for line in ledger_lines(depot.root)].count("restored") == 1


def test_who_withdrew_after_the_copy_was_made_is_taken_out_again_by_the_next_command(place: Path) -> None:
    depot = Depot(place / "depot")
    copy = back_up(depot, place / "backups", "tester").folder
    withdraw(STUDY, depot.root, leaving(LEAVES))
    shutil.rmtree(depot.root)
    assert "1 withdrawals were asked for since" in restore(copy, depot, "tester").text()
    assert "carried out now" in go(place / "inbox", depot)
    assert {row["participant_id"] for row in tables(depot.root)["brack-001"]["standings"]} == {"FS-01"}
    assert faults(depot) == []


def test_under_another_name_the_depots_own_register_is_found_and_without_it_nothing_is_put_back(place: Path) -> None:
    depot = Depot(place / "depot")
    copy = back_up(depot, place / "backups", "tester").folder
    withdraw(STUDY, depot.root, leaving(LEAVES))
    assert "1 withdrawals were asked for since" in restore(copy, Depot(place / "again"), "tester").text()
    alone = shutil.copytree(copy, place / "disk" / "backups" / copy.name)
    other = Depot(place / "elsewhere" / "again")
    with pytest.raises(Unusable, match="withdrawals since the backup was made would not be known"):
        restore(alone, other, "tester")
    assert not other.root.exists()
    assert "WITHDRAWALS SINCE THEN ARE NOT KNOWN" in restore(alone, other, "tester", fall_back=True).text()


def test_the_next_copy_shares_what_did_not_change(place: Path) -> None:
    depot = Depot(place / "depot")
    first = back_up(depot, place / "backups", "tester")
    shutil.move(first.folder, place / "backups" / "depot-2000-01-01T00-00-00")
    assert back_up(depot, place / "backups", "tester").linked > first.files // 2


def test_a_damaged_copy_and_a_damaged_depot_are_refused_and_nothing_is_left(place: Path) -> None:
    depot = Depot(place / "depot")
    copy = back_up(depot, place / "backups", "tester").folder
    raw = next(p for p in (copy / "raw").rglob("*") if p.is_file())
    raw.chmod(0o600)
    raw.write_bytes(b"other bytes")
    with pytest.raises(Unusable, match="not the one that was copied"):
        restore(copy, Depot(place / "again"), "tester")
    assert not (place / "again").exists()
    own = next(p for p in (depot.root / "raw").rglob("*") if p.is_file())
    own.chmod(0o600)
    own.write_bytes(b"other bytes")
    with pytest.raises(Unusable, match="no whole copy"):
        back_up(depot, place / "others", "tester")
    assert list((place / "others").iterdir()) == []


def test_what_was_taken_back_after_the_copy_was_made_is_taken_back_in_what_is_put_back(place: Path) -> None:
    depot = Depot(place / "depot")
    withdraw(STUDY, depot.root, leaving(LEAVES, grace_days=7))
    copy = back_up(depot, place / "backups", "tester").folder
    take_back(STUDY, depot.root, leaving(LEAVES, why="A mistake."))
    before = standings(depot)
    assert set(before.values()) == {"accepted"}
    shutil.rmtree(depot.root)
    restore(copy, depot, "tester")
    go(place / "inbox", depot)
    assert (faults(depot), standings(depot)) == ([], before)
    assert [line["what"] for line in ledger_lines(depot.root)].count("withdrawal_taken_back") == 1
    withdraw(STUDY, depot.root, leaving(LEAVES))
    assert list(standings(depot)) != list(before), "it can be asked for again"


def standings(depot: Depot) -> dict[str, str]:
    return {row["trial_id"]: row["standing"] for row in tables(depot.root)["brack-001"]["standings"]}
