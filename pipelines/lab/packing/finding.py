"""What of a laboratory's working folder belongs into a delivery, wherever in the folder it lies. Changes nothing.

Tables are known by their file names, trial files by what ``trials.csv`` calls them. A file that does not lie where the
table says is taken if only one file of the folder has that name.
"""

from __future__ import annotations

import csv
import os
import shutil
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from pipelines.intake.descriptor import NAME as DESCRIPTOR
from pipelines.intake.paths import path_fault, shown
from schemas.catalogue import tables_of
from schemas.model import Layer

#: columns of trials.csv that name files
FILE_COLUMNS = ("file", "sidecar")
_TRIALS = "trials.csv"
#: what operating systems leave in folders, by name in lower case
_LITTER = frozenset({"thumbs.db", "desktop.ini"})


@dataclass
class Gathered:
    """What was found. files: path in the payload -> where it lies. faults: sentences; with one, nothing is packed.

    left_out: path in the folder of what no table names. moved: payload path -> path in the folder, where they differ.
    """

    files: dict[str, Path] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)
    moved: dict[str, str] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


def gather(folder: Path) -> Gathered:
    """Look through ``folder`` for the tables and for every file that ``trials.csv`` names."""
    found = Gathered()
    inside = sorted(_walk(folder, folder, found))
    by_name: dict[str, list[str]] = {}
    for path in inside:
        by_name.setdefault(PurePosixPath(path).name.lower(), []).append(path)
    _tables(folder, by_name, found)
    _named_files(folder, frozenset(inside), by_name, found)
    used = {os.fspath(path) for path in found.files.values()}
    found.left_out = [
        path for path in inside if os.fspath(folder / path) not in used and PurePosixPath(path).name != DESCRIPTOR
    ]
    return found


def lay_out(gathered: Gathered, payload: Path) -> None:
    """Copy what was gathered to its place in the folder ``payload``; what is there already stays."""
    for name, source in sorted(gathered.files.items()):
        target = payload / name
        if not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, target)


def _walk(root: Path, folder: Path, found: Gathered) -> Iterator[str]:
    """Paths of all plain files from ``root``, without hidden ones; links and the like are faults."""
    for entry in os.scandir(folder):
        path = Path(entry.path).relative_to(root).as_posix()
        if entry.name.startswith(".") or entry.name.lower() in _LITTER:
            continue
        if entry.is_symlink():
            found.faults.append(f"{shown(path)} is a link. Put the file or folder itself there, or take the link away.")
        elif entry.is_dir():
            yield from _walk(root, Path(entry.path), found)
        elif entry.is_file():
            yield path
        else:
            found.faults.append(f"{shown(path)} is neither file nor folder. Take it away.")


def _tables(folder: Path, by_name: dict[str, list[str]], found: Gathered) -> None:
    for table in tables_of(Layer.DELIVERY):
        name = str(table.file_name)
        places = by_name.get(name, [])
        if len(places) > 1:
            listed = ", ".join(shown(p) for p in places)
            found.faults.append(f"There is more than one {name}: {listed}. Keep one.")
        elif places:
            _take(folder, places[0], name, found)
        elif not table.optional:
            found.faults.append(f"{name} is missing: a table with one row for {table.one_row_is}.")


def _take(folder: Path, path: str, payload_path: str, found: Gathered) -> None:
    found.files[payload_path] = folder / path
    if path != payload_path:
        found.moved[payload_path] = path


def _named_files(folder: Path, inside: Collection[str], by_name: dict[str, list[str]], found: Gathered) -> None:
    """The files that trials.csv names, each by its own path there."""
    trials = found.files.get(_TRIALS)
    if trials is None:
        return
    root = trials.parent.relative_to(folder).as_posix()
    taken: dict[str, str] = {}
    for line, named in named_in(trials):
        if named in found.files:
            continue
        if fault := path_fault(named):
            expected = "Name files with forward slashes, from the delivery's folder, for example trials/T001.c3d."
            found.faults.append(f"{_TRIALS}, line {line}: the path {shown(named)} {fault}. {expected}")
            continue
        places = _places(named, root, inside, by_name)
        if not places:
            found.faults.append(f"{_TRIALS}, line {line}: {shown(named)} is not in the folder.")
        elif len(places) > 1:
            listed = ", ".join(shown(p) for p in places[:5])
            found.faults.append(
                f"{_TRIALS}, line {line}: {shown(named)} could be {listed}. Put the right one where the table says."
            )
        elif (other := taken.setdefault(places[0], named)) != named:
            found.faults.append(
                f"{_TRIALS}, line {line}: there is one file for two names, {shown(other)} and {shown(named)}: "
                f"{shown(places[0])}. Correct the table, or add the file that is missing."
            )
        else:
            _take(folder, places[0], named, found)


def _places(named: str, root: str, inside: Collection[str], by_name: dict[str, list[str]]) -> list[str]:
    """Where the file may lie: where the table says, else under its path's end, else anywhere under its name."""
    for exact in (named, f"{root}/{named}"):
        if exact in inside:
            return [exact]
    same = by_name.get(PurePosixPath(named).name.lower(), [])
    under = [path for path in same if f"/{path.lower()}".endswith(f"/{named.lower()}")]
    return under or same


def named_in(trials: Path) -> Iterable[tuple[int, str]]:
    """Line and path of each file that ``trials.csv`` names; nothing of a table that cannot be read, which is told."""
    from pipelines.intake.tables import MOST_BYTES

    try:
        text = trials.read_bytes()[: MOST_BYTES + 1].decode("utf-8-sig")
        rows = csv.reader(text.splitlines(), strict=True)
        header = [cell.strip() for cell in next(rows, [])]
        columns = [header.index(name) for name in FILE_COLUMNS if name in header]
        return [
            (rows.line_num, row[c].strip())
            for row in rows
            for c in columns
            if len(row) == len(header) and row[c].strip()
        ]
    except (UnicodeDecodeError, csv.Error):
        return []
