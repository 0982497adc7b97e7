"""Deliveries as desktops, spreadsheets and careless packers make them, and as an attacker would, taken in by one run."""

from __future__ import annotations

import csv
import io
import os
import shutil
import stat
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import bagit
import ezc3d
import pytest

from pipelines.assets.run import run
from pipelines.depot.storage import Depot
from pipelines.pool.query import ask
from tests.delivery_builders import STUDY, a_delivery, planned

#: What a Mac's own ZIP puts in: a resource file for each file, and the folder's looks.
APPLE_DOUBLE = b"\0\5\x16\7\0\2\0\0Mac OS X        "


def table_of(folder: Path, name: str) -> str:
    return (folder / "data" / name).read_text("utf-8")


def with_table(number: int, name: str, content: Callable[[str], bytes]) -> Callable[[Path], None]:
    """A delivery in which one table is what ``content`` makes of it, in a bag that is whole."""

    def make(inbox: Path) -> None:
        sound = a_delivery(inbox / "sound", number, names=("standing",), runners=(f"FS-{number:02d}",))
        replaced = {name: content(table_of(sound, name))}
        shutil.rmtree(inbox / "sound")
        a_delivery(inbox, number, names=("standing",), runners=(f"FS-{number:02d}",), replace_files=replaced)

    return make


def a_folder(inbox: Path, number: int) -> Path:
    return a_delivery(inbox, number, names=("standing",), runners=(f"FS-{number:02d}",))


def zipped(folder: Path, members: dict[str, bytes] | None = None, *, windows: bool = False) -> None:
    """The folder as a ZIP file beside it, with more members; windows: parted by backslashes, as older programs do."""
    with zipfile.ZipFile(folder.with_name(f"{folder.name}.zip"), "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            name = path.relative_to(folder.parent).as_posix()
            info = zipfile.ZipInfo(name.replace("/", "\\") if windows else name)
            info.create_system = 0 if windows else 3
            archive.writestr(info, path.read_bytes())
        for name, content in (members or {}).items():
            archive.writestr(name, content)
    shutil.rmtree(folder)


def from_a_mac(inbox: Path) -> None:
    folder = a_folder(inbox, 1)
    (folder / ".DS_Store").write_bytes(b"\0\0\0\1Bud1")
    (folder / "data" / ".DS_Store").write_bytes(b"\0\0\0\1Bud1")
    name = folder.name
    zipped(folder, {f"__MACOSX/{name}/._bagit.txt": APPLE_DOUBLE, f"__MACOSX/._{name}": APPLE_DOUBLE})


def from_windows(inbox: Path) -> None:
    folder = a_folder(inbox, 2)
    (folder / "data" / "trials" / "Thumbs.db").write_bytes(b"\xd0\xcf\x11\xe0")
    (folder / "desktop.ini").write_text("[.ShellClassInfo]\r\n")
    zipped(folder, windows=True)


def one_folder_deeper(inbox: Path) -> None:
    folder = a_folder(inbox, 3)
    outer = folder.with_name("upload")
    outer.mkdir()
    folder.rename(outer / folder.name)
    (outer / "Thumbs.db").write_bytes(b"\xd0\xcf\x11\xe0")


def with_files_beside(inbox: Path) -> None:
    """Files beside the payload, listed in the bag's tag manifest: a log, UTF-16 text, a PDF."""
    folder = a_folder(inbox, 5)
    (folder / "notes").mkdir()
    (folder / "notes" / "protocol.pdf").write_bytes(b"%PDF-1.4\n\0\xff nothing that can be searched")
    (folder / "remarks.txt").write_bytes("measured well".encode("utf-16"))
    (folder / "data" / "leftover.pdf").write_bytes(b"%PDF-1.4\n\0 nothing of this file stays")
    bag = bagit.Bag(str(folder))
    bag.save(manifests=True)
    assert "remarks.txt" in (folder / "tagmanifest-sha256.txt").read_text()


def blank_rows_and_columns(text: str) -> bytes:
    lines = [f"{line},,\n" for line in text.splitlines()]
    blank = "," * lines[0].count(",") + "\n"
    return "".join([*lines, *[blank] * 30]).encode()


def a_workbook(_: str) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as book:
        book.writestr("[Content_Types].xml", "<Types/>")
        book.writestr("xl/workbook.xml", "<workbook/>")
    return content.getvalue()


def semicolons_and_decimal_commas(text: str) -> bytes:
    rows = list(csv.reader(io.StringIO(text)))
    return "".join(";".join(cell.replace(".", ",") for cell in row) + "\r\n" for row in rows).encode()


def decimal_commas(text: str) -> bytes:
    """Numbers with a decimal comma in quotes, as some programs write when they are told to use commas."""
    rows = list(csv.reader(io.StringIO(text)))
    out = io.StringIO()
    numbers = {i for i, cell in enumerate(rows[1]) if cell.replace(".", "", 1).isdigit()}
    csv.writer(out).writerows(
        [rows[0], *([c.replace(".", ",") if i in numbers else c for i, c in enumerate(row)] for row in rows[1:])]
    )
    return out.getvalue().encode()


def decimal_commas_that_cut_cells(text: str) -> bytes:
    header, *rows = text.splitlines()
    return "\n".join([header, *(row.replace(".", ",") for row in rows)]).encode()


def a_bomb(inbox: Path) -> None:
    """2,500 MiB in members below a mebibyte each, in a small file: they share their packed bytes."""
    folder = a_folder(inbox, 11)
    path = folder.with_name(f"{folder.name}.zip")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(f"{folder.name}/data/0000", bytes((1 << 20) - 1))
    data = path.read_bytes()
    start, end = data.index(b"PK\1\2"), data.index(b"PK\5\6")
    entry, tail = data[start:end], bytearray(data[end:])
    directory = b"".join(entry.replace(b"/0000", f"/{i:04d}".encode()) for i in range(2500))
    struct.pack_into("<HHI", tail, 8, 2500, 2500, len(directory))
    path.write_bytes(data[:start] + directory + tail)
    shutil.rmtree(folder)


def written_by_ezc3d(inbox: Path) -> None:
    """The trial as the open library writes it, with the address of its author in it."""
    trial, content = planned("FS-14", "standing")
    path = inbox.parent / "again.c3d"
    path.write_bytes(content)
    ezc3d.c3d(str(path)).write(str(path))
    assert b"@hotmail.com" in path.read_bytes()
    a_delivery(inbox, 14, names=("standing",), runners=("FS-14",), replace_files={trial.file: path.read_bytes()})


def with_a_pipe(inbox: Path) -> None:
    folder = a_folder(inbox, 12)
    (folder / "bag-info.txt").unlink()
    os.mkfifo(folder / "bag-info.txt")


def with_an_archive_of_much_text(inbox: Path) -> None:
    content = io.BytesIO()
    lines = "".join(f"runner {i} went well\n" for i in range(700_000)).encode()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        archive.writestr("log.txt", lines)
    a_delivery(inbox, 15, names=("standing",), runners=("FS-15",), replace_files={"log.zip": content.getvalue()})


def much_text(text: str) -> bytes:
    """More columns, each with a long remark."""
    header, row = text.splitlines()
    names = "".join(f",remark_{i}" for i in range(12))
    remarks = "".join("," + f"run {i} went well " * 6_000 for i in range(12))
    return f"{header}{names}\n{row}{remarks}\n".encode()


TAKEN_IN: dict[int, Callable[[Path], None]] = {
    1: from_a_mac,
    2: from_windows,
    3: one_folder_deeper,
    4: with_table(4, "sessions.csv", blank_rows_and_columns),
    5: with_files_beside,
    14: written_by_ezc3d,
    15: with_an_archive_of_much_text,
}
STOPPED: dict[int, Callable[[Path], None]] = {
    6: with_table(6, "participants.csv", a_workbook),
    7: with_table(7, "participants.csv", lambda text: text.replace(",", "\t").encode("utf-16")),
    8: with_table(8, "participants.csv", semicolons_and_decimal_commas),
    9: with_table(9, "participants.csv", decimal_commas),
    10: with_table(10, "participants.csv", decimal_commas_that_cut_cells),
    11: a_bomb,
    12: with_a_pipe,
    13: with_table(13, "trials.csv", much_text),
}


@pytest.fixture(scope="module")
def inbox(tmp_path_factory: pytest.TempPathFactory) -> Path:
    inbox = tmp_path_factory.mktemp("desktop") / "inbox"
    for make in (TAKEN_IN | STOPPED).values():
        make(inbox)
    (inbox / "brack" / "Thumbs.db").write_bytes(b"\xd0\xcf\x11\xe0")
    return inbox


@pytest.fixture(scope="module")
def depot(inbox: Path) -> Depot:
    summary = run(STUDY, inbox, inbox.parent / "depot", "tester", workers=2)
    assert not summary.failures
    assert not summary.not_deliveries
    return Depot(inbox.parent / "depot")


def findings(depot: Depot, number: int) -> list[tuple[str, str, str]]:
    """Check, weight and what was seen, of a delivery by its number or name."""
    rows = ask(depot.warehouse, "SELECT delivery_id, check_name, weight, seen, expected FROM findings").to_pylist()
    name = f"brack-{number:03d}"
    unnamed = f"brack-unnumbered-brack-{number:03d}"
    own = [r for r in rows if r["delivery_id"] == name or r["delivery_id"].startswith(unnamed)]
    return [(r["check_name"], r["weight"], f"{r['seen']} {r['expected']}") for r in own]


def the_one(depot: Depot, number: int, check: str, weight: str) -> str:
    found = [f for f in findings(depot, number) if f[1] in (weight, "stops", "returns", "withholds")]
    (only,) = [f for f in found if f[0] == check] if weight == "notes" else found
    assert only[:2] == (check, weight), found
    return only[2]


@pytest.mark.parametrize("number", TAKEN_IN)
def test_what_a_desktop_made_of_it_keeps_nothing_out(depot: Depot, number: int) -> None:
    sql = f"SELECT standing FROM standings WHERE delivery_id = 'brack-{number:03d}'"
    assert ask(depot.warehouse, sql).column(0).to_pylist() == ["accepted"], findings(depot, number)


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (1, ["4 files that operating systems left"]),
        (2, ["2 files that operating systems left"]),
        (3, ["one folder deeper", "1 file that an operating system left"]),
        (5, ["2 files lie in the bag beside its payload", "not-kept-1.pdf is in the bag, but no table names it"]),
        (15, ["log.zip is in the bag, but no table names it"]),
    ],
)
def test_what_was_passed_over_is_noted(depot: Depot, number: int, words: list[str]) -> None:
    noted = [seen for check, weight, seen in findings(depot, number) if check == "every_file_is_named_in_a_table"]
    assert len(noted) == len(words)
    for word in words:
        assert any(word in seen for seen in noted), noted


def test_thirty_blank_rows_give_one_note_and_blank_columns_none(depot: Depot) -> None:
    seen = the_one(depot, 4, "tables_can_be_read", "notes")
    assert "30 rows without filled cells" in seen
    assert not [f for f in findings(depot, 4) if f[0] == "cells_fit_their_columns"]


def test_files_beside_the_payload_are_not_copied_and_what_is_kept_is_not_for_everybody(depot: Depot) -> None:
    bag = depot.result("brack-005").local("bag")
    kept = sorted(p.relative_to(bag).as_posix() for p in bag.rglob("*"))
    assert kept == ["bag-info.txt", "bagit.txt", "manifest-sha256.txt"]
    assert all(stat.S_IMODE(p.stat().st_mode) & 0o027 == 0 for p in bag.iterdir())
    assert "leftover" not in (bag / "manifest-sha256.txt").read_text()
    everything = b"".join(p.read_bytes() for p in depot.root.rglob("*") if p.is_file())
    assert b"nothing that can be searched" not in everything
    assert "measured well".encode("utf-16-le") not in everything
    assert b"nothing of this file stays" not in everything


def test_nothing_in_the_depot_is_for_everybody_and_some_only_for_its_owner(depot: Depot) -> None:
    modes = {p.relative_to(depot.root).as_posix(): p for p in [depot.root, *depot.root.rglob("*")]}
    open_to_all = [name for name, p in modes.items() if stat.S_IMODE(p.stat().st_mode) & 0o027]
    assert not open_to_all
    for folder in (depot.work, depot.root / "closed", depot.root / "safety"):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE((depot.root / "safety" / "index.html").stat().st_mode) == 0o600


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (6, "workbook"),
        (7, "UTF-16"),
        (8, "semicolons"),
        (9, "decimal commas"),
        (10, "decimal commas"),
    ],
)
def test_a_table_exported_in_another_way_gets_one_sentence_that_says_how_to_export_it(
    depot: Depot, number: int, words: str
) -> None:
    seen = the_one(depot, number, "tables_can_be_read", "stops")
    assert words in seen
    assert "CSV UTF-8 (comma delimited)" in seen
    assert "0x" not in seen


def test_a_bomb_of_small_members_is_refused_before_anything_is_written(depot: Depot) -> None:
    seen = the_one(depot, 11, "archive_unpacks_safely", "stops")
    assert "2500.0 MiB" in seen
    assert not list(depot.work.iterdir())


def test_a_pipe_in_a_bag_is_not_waited_for(depot: Depot) -> None:
    assert any("neither file nor folder" in seen.lower() for _, _, seen in findings(depot, 12))


def test_more_text_than_is_searched_stops_the_delivery_and_nothing_of_it_is_shown(depot: Depot) -> None:
    seen = the_one(depot, 13, "bag_is_complete_and_unchanged", "stops")
    assert "1 MiB of text" in seen
    assert len(findings(depot, 13)) == 1
