"""Stored bytes: every file of a depot flipped, cut and deleted is found, nothing wrong is used, and what has a source heals."""

from __future__ import annotations

import hashlib
import os
import shutil
import socket
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import bagit  # type: ignore[import-untyped]
import pytest
from typer.testing import CliRunner

from pipelines.assets.deciding import release
from pipelines.assets.repairing import repair
from pipelines.assets.run import run
from pipelines.command.main import app
from pipelines.depot import register as registers
from pipelines.depot.backup import back_up
from pipelines.depot.books.where import FILE, WORD
from pipelines.depot.published import read_result
from pipelines.depot.reached import NAME as HEAD
from pipelines.depot.storage import Depot
from pipelines.depot.verify import Fault, verify
from pipelines.errors import Unusable
from pipelines.pool.query import ask
from pipelines.taking_in.keeping import rebuild_bag
from pipelines.taking_in.repairing import Sources
from schemas.core import TRIALS
from tests.delivery_builders import STUDY, a_delivery, tables

#: What proves nothing and is looked at by nobody: logs, the lock.
_NO_PROOF = ("depot.lock", "log")


def flip(path: Path) -> None:
    path.chmod(0o640)
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def cut(path: Path) -> None:
    path.chmod(0o640)
    path.write_bytes(path.read_bytes()[:-5])


DAMAGES: dict[str, Callable[[Path], None]] = {"flipped": flip, "cut": cut, "deleted": Path.unlink}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An inbox, a depot with raw and closed files, a stopped delivery and a release, and a backup of it."""
    folder = tmp_path_factory.mktemp("whole")
    a_delivery(folder / "inbox", runners=("FS-01", "FS-02"), withdrawn={"FS-02": 0})
    a_delivery(folder / "inbox", 2, replace_files={"trials.csv": b"no table"})
    run(STUDY, folder / "inbox", folder / "depot", "tester", workers=1)
    release(STUDY, folder / "depot", "first", "tester")
    back_up(Depot(folder / "depot"), folder / "backups", "tester")
    return folder


@pytest.fixture
def place(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "copy")
    return tmp_path / "copy"


def files_of(depot: Depot) -> list[Path]:
    """Every file that proves something, but those of the books, which are damaged one by one."""
    files = [p for p in depot.root.rglob("*") if p.is_file() and p.relative_to(depot.root).parts[0] not in _NO_PROOF]
    return sorted(p for p in files if p.parent != depot.root or not p.name.startswith("books."))


def found(depot: Depot) -> list[Fault]:
    with depot.alone("tester"):
        return verify(depot)


def mended(place: Path, *, inbox: bool = True, backup: bool = True) -> list[Fault]:
    copy = next((place / "backups").iterdir())
    sources = Sources(place / "inbox" if inbox else None, copy if backup else None)
    return repair(STUDY, Depot(place / "depot"), "tester", sources).left


def test_a_depot_that_nobody_touched_is_whole(place: Path) -> None:
    depot = Depot(place / "depot")
    assert found(depot) == []
    assert {p.relative_to(depot.root).parts[0] for p in files_of(depot)} >= {
        *("raw", "closed", "deliveries", "releases", "pages", "warehouse.duckdb")
    }


def test_whatever_the_depot_did_not_write_is_told_and_left(place: Path) -> None:
    depot = Depot(place / "depot")
    root = depot.root
    (root / "log").mkdir(exist_ok=True)
    files = [
        root / name for name in ("notes.txt", "work/mine.csv", "log/other.log", "deliveries/a.txt", "pages/a.html")
    ]
    for path in files:
        path.write_text("FS-01")
    links = [root / name for name in ("inside", "raw/inside", "releases/inside", "log/manystrides.jsonl.1")]
    for path in links:
        path.symlink_to(place)
    pipes = [root / "pipe", root / "work" / "receive.0a1b2c3d", root / "closed" / "pipe"]
    for path in pipes:
        os.mkfifo(path)
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(os.fspath(root / "s"))
    told = {fault.file: fault for fault in found(depot)}
    assert told.keys() == {*files, *links, *pipes, root / "s"}
    assert {fault.kind for fault in told.values()} == {"stray"}
    assert "named pipe" in told[root / "pipe"].seen
    assert "socket" in told[root / "s"].seen
    assert all(os.path.lexists(path) for path in told)


@pytest.mark.parametrize("damage", DAMAGES)
def test_every_damaged_file_is_found_and_mended_from_a_backup(place: Path, damage: str) -> None:
    depot = Depot(place / "depot")
    before = tables(depot.root)
    files = files_of(depot)
    for path in files:
        DAMAGES[damage](path)
    told = found(depot)
    assert {fault.file for fault in told} >= set(files)
    assert all(fault.seen and fault.expected and fault.remedy for fault in told)
    assert mended(place, inbox=False) == []
    assert found(depot) == []
    assert tables(depot.root) == before
    assert "Nothing new" in run(STUDY, place / "inbox", depot.root, "tester", workers=1).text()


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("name", [FILE, WORD, "register", HEAD])
def test_damaged_books_and_registers_are_found_refused_and_mended(place: Path, name: str, damage: str) -> None:
    depot = Depot(place / "depot")
    file = depot.register if name == "register" else depot.root / name
    DAMAGES[damage](file)
    if damage != "deleted" or name in (FILE, HEAD):  # without withdrawals nothing is lost with the others
        with pytest.raises(Unusable):
            run(STUDY, place / "inbox", depot.root, "tester", workers=1)
    assert found(depot) != [] or name == WORD
    if name != WORD:
        assert mended(place) == []
        assert found(depot) == []


def test_a_damaged_head_of_the_ledger_keeps_nothing_else_from_being_repaired(place: Path) -> None:
    depot = Depot(place / "depot")
    flip(depot.root / HEAD)
    (depot.root / "pages" / "index.html").unlink()
    told = {fault.kind: fault for fault in found(depot)}
    assert told.keys() == {"head", "built"}
    assert "cannot be read" in told["head"].seen
    assert "--repair" in told["head"].remedy
    assert mended(place, inbox=False, backup=False) == []
    assert found(depot) == []


def test_without_a_backup_raw_files_come_from_the_inbox_and_results_are_judged_again(place: Path) -> None:
    depot = Depot(place / "depot")
    before = tables(depot.root)
    tables_of_it = depot.result("brack-001").local().glob("*.parquet")
    for path in [*(depot.root / "raw").rglob("*"), *(depot.root / "closed").rglob("*"), *tables_of_it]:
        if path.is_file():
            flip(path)
    assert mended(place, backup=False) == []
    assert tables(depot.root)["brack-001"] == before["brack-001"]


@pytest.mark.parametrize("sources", ["backup", "neither inbox nor backup"])
def test_a_result_whose_folder_is_gone_is_refused_and_judged_again(place: Path, sources: str) -> None:
    depot = Depot(place / "depot")
    before = tables(depot.root)
    shutil.rmtree(depot.result("brack-001").local())
    with pytest.raises(Unusable, match="verify"):
        run(STUDY, place / "inbox", depot.root, "tester", workers=1)
    from_elsewhere = sources == "backup"
    assert mended(place, inbox=from_elsewhere, backup=from_elsewhere) == []
    assert tables(depot.root) == before
    assert run(STUDY, place / "inbox", depot.root, "tester", workers=1).exit_code == 0
    assert found(depot) == []


@pytest.mark.parametrize("damage", DAMAGES)
def test_damaged_files_of_a_bag_are_written_anew_from_the_books(place: Path, damage: str) -> None:
    depot = Depot(place / "depot")
    before = tables(depot.root)
    for path in (depot.result("brack-001").local() / "bag").iterdir():
        DAMAGES[damage](path)
    assert mended(place, inbox=False, backup=False) == []
    with depot.opened():
        record = depot.books.deliveries.get("brack-001")
        assert record is not None
        bag = rebuild_bag(depot, record, place / "bag")
    assert bagit.Bag(str(bag)).is_valid()
    assert tables(depot.root) == before


def test_of_a_warehouse_with_any_one_bit_turned_no_other_value_is_told(place: Path) -> None:
    warehouse = Depot(place / "depot").warehouse
    question = "SELECT sum(contact_time_s), count(*), min(trial_id) FROM footfalls"
    good, answer = warehouse.read_bytes(), ask(warehouse, question).to_pylist()
    refused = 0
    for place_in_file in range(0, len(good), len(good) // 60):
        content = bytearray(good)
        content[place_in_file] ^= 1 << (place_in_file % 8)
        warehouse.write_bytes(content)
        try:
            assert ask(warehouse, question).to_pylist() == answer
        except Unusable:
            refused += 1
    assert refused > 0


def test_what_has_no_source_is_left_and_told(place: Path) -> None:
    depot = Depot(place / "depot")
    lost = sorted(p for p in (depot.root / "raw").rglob("*") if p.is_file())[0]
    lost.unlink()
    (left,) = mended(place, inbox=False, backup=False)
    assert left.file == lost
    assert "--repair" not in left.remedy, "it was tried just now"


def test_a_file_that_the_books_do_not_know_is_told_and_left_alone(place: Path) -> None:
    depot = Depot(place / "depot")
    stray = depot.root / "raw" / "00" / hashlib.sha256(b"stray").hexdigest()
    stray.parent.mkdir(exist_ok=True)
    stray.write_bytes(b"stray")
    assert [(fault.kind, fault.file) for fault in mended(place)] == [("stray", stray)]


def test_of_a_table_with_any_one_bit_turned_no_value_is_read(place: Path) -> None:
    depot = Depot(place / "depot")
    path = depot.result("brack-001").local("trials.parquet")
    good = path.read_bytes()
    with depot.opened():
        for place_in_file in range(0, len(good), max(1, len(good) // 400)):
            content = bytearray(good)
            content[place_in_file] ^= 1 << (place_in_file % 8)
            path.write_bytes(content)
            with pytest.raises(Unusable, match="not what was published"):
                read_result(depot, "brack-001", TRIALS)
        path.write_bytes(good)
        assert len(read_result(depot, "brack-001", TRIALS))


def test_a_damaged_result_is_not_pooled(place: Path) -> None:
    depot = Depot(place / "depot")
    flip(depot.result("brack-001").local("trials.parquet"))
    flip(depot.warehouse)
    shutil.rmtree(depot.root / "pages")  # so that all is built again
    with pytest.raises(Unusable, match=r"trials\.parquet: The file is not what was published"):
        run(STUDY, place / "inbox", depot.root, "tester", workers=1)


def test_a_damaged_raw_file_is_not_laid_at_the_laboratorys_door(place: Path) -> None:
    depot = Depot(place / "depot")
    before = tables(depot.root)["brack-001"]
    for path in (depot.root / "raw").rglob("*"):
        if path.is_file():
            flip(path)
    a_delivery(place / "inbox", 3, names=("2",), withdrawn={"FS-01": 0})  # makes the first be judged again
    summary = run(STUDY, place / "inbox", depot.root, "tester", workers=1)
    assert [failure.about for failure in summary.failures] == ["brack-001"]
    assert "is not what was published" in summary.failures[0].text
    assert (summary.exit_code, tables(depot.root)["brack-001"]) == (2, before)


def test_a_cut_ledger_is_refused_by_the_next_command(place: Path) -> None:
    depot = Depot(place / "depot")
    with sqlite3.connect(depot.root / FILE) as connection:
        connection.execute("DROP TRIGGER ledger_no_removal")
        connection.execute("DELETE FROM ledger WHERE sequence > 3")
    connection.close()
    with pytest.raises(Unusable, match="books are not what the last command left"):
        run(STUDY, place / "inbox", depot.root, "tester", workers=1)
    known = registers.read(depot.register)
    assert known is not None
    registers.write(depot.register, replace(known, books_sha256=""))  # as after a kill
    with pytest.raises(Unusable, match="lines are missing at its end"):
        run(STUDY, place / "inbox", depot.root, "tester", workers=1)


def test_a_head_of_the_ledger_that_was_kept_elsewhere_is_compared(place: Path) -> None:
    depot, kept = place / "depot", place / "head.txt"
    tell = CliRunner()
    assert tell.invoke(app, ["ledger", "head", "--depot", str(depot), "--to", str(kept)]).exit_code == 0
    for command in (["verify"], ["ledger", "verify"]):
        asked = [*command, "--depot", str(depot), "--head", str(kept)]
        assert tell.invoke(app, asked).exit_code == 0
        longer = kept.read_text().replace("Head: ", "Head: 1")  # a ledger that went further
        kept.with_name("longer.txt").write_text(longer)
        done = tell.invoke(app, [*asked[:-1], str(kept.with_name("longer.txt"))])
        assert done.exit_code == 1
        assert "the head that was kept elsewhere" in done.output + done.stderr
