"""Takes a withdrawn runner's rows and files out of a bag that the depot holds, and makes its manifests fit again.

Every line that stays is left as it was, byte for byte. The books know who has withdrawn what. Where a record begins and
what it is says ``pipelines.intake.csv_records``, as it does for whatever reads a table.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import re
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipelines.depot.disk import write_bytes
from pipelines.errors import Unusable
from pipelines.intake.csv_records import CsvRecord, Role, records
from pipelines.intake.tables import text_of_table
from pipelines.workers.isolation import Isolated
from schemas.catalogue import tables_of
from schemas.consent_history import spelled
from schemas.delivery import SENT_SESSIONS, SENT_TRIALS
from schemas.model import Layer, Table
from schemas.privacy import EVERY_SCOPE, RUNNER, SESSION, TRIAL, WAYS

Row = Mapping[str, str]
#: What a runner has withdrawn, by id.
ScopesOf = Callable[[str], set[str]]

_MANIFEST_LINE = re.compile(r"([0-9A-Fa-f]+)([ \t]+\*?)(.+)")
#: Records that are told as rows, by ``rows_of_table`` and by what goes.
_ROWS = frozenset({Role.ROW, Role.RAGGED})
_OXUM = re.compile(rb"(?im)^(payload-oxum\s*:\s*)[0-9]+\.[0-9]+")


def redact(bag: Path, scopes_of: ScopesOf) -> list[str]:
    """Take out of ``bag`` what its runners have withdrawn; returns the payload paths that were changed or removed.

    Which rows go, and which files with them, follows from the definitions: how a table's rows lead to a runner, and the
    scopes they and the words in them need.
    """
    data = bag / "data"
    found = {t: _read(data / str(t.file_name)) for t in tables_of(Layer.DELIVERY)}
    rows = {table: _rows(records_of_it) for table, records_of_it in found.items()}
    ways = _Ways.of(rows)

    def gone(table: Table, row: Row) -> bool:
        needs = {EVERY_SCOPE, *_needs(table, row)}
        ids = {spelling for runner in ways.runners(table, row) for spelling in ways.alike(runner)}
        return any(scopes_of(runner) & needs for runner in ids)

    tables = [t for t in tables_of(Layer.DELIVERY) if t.rows is not None and t.rows.by is not None]
    kept_files, gone_files = set[str](), set[str]()
    for table in (t for t in tables if t.file_columns):
        for row in rows[table]:
            (gone_files if gone(table, row) else kept_files).update(row.get(c, "") for c in table.file_columns)
    touched = sorted(path for path in gone_files - kept_files if path)
    outgoing = {t: [gone(t, row) for row in rows[t]] for t in tables}
    for path in touched:
        _inside(data, path).unlink(missing_ok=True)
    touched += [str(t.file_name) for t, out in outgoing.items() if _drop(data / str(t.file_name), found[t], out)]
    if touched:
        _fit_manifests(bag)
    return touched


def redact_apart(isolated: Isolated, bag: Path, scopes_of: ScopesOf) -> None:
    """The same in a worker process, within limits of time and memory. scopes_of: must be picklable. Raises Unusable."""
    ended = isolated.run(_redact, (bag, scopes_of))
    if ended.problem is not None:
        raise Unusable(
            f"Rows of a runner who withdrew could not be taken out of the tables: {ended.detail}.",
            "tables that can be written again within the limits of the study file.",
            "Raise trial_time_limit_s or trial_memory_limit_mb, then run again.",
        )


def _redact(asked: tuple[Path, ScopesOf]) -> None:
    redact(*asked)


def _needs(table: Table, row: Row) -> set[str]:
    """What a row needs: of a word that is none of its list it may be any."""
    assert table.rows is not None
    needs = set(table.rows.needs)
    for field in (f for f in table.fields if any(code.scopes for code in f.codes)):
        scopes = {code.value: set(code.scopes) for code in field.codes}
        needs |= scopes.get(row.get(field.name, ""), set().union(*scopes.values()))
    return needs


class Unsure(dict[str, str]):
    """A row of which it is not sure what a cell is: cells are missing or too many.

    cells: all of them, also those beyond the last column.
    """

    def __init__(self, row: Row, cells: Sequence[str]) -> None:
        super().__init__(row)
        self.cells = tuple(cells)


@dataclass(frozen=True)
class _Ways:
    """How rows of a bag lead to runners. spellings: id without case and outer spaces -> as it stands in the bag."""

    of_session: Mapping[str, set[str]]
    of_trial: Mapping[str, set[str]]
    spellings: Mapping[str, set[str]]

    @classmethod
    def of(cls, rows: Mapping[Table, Sequence[Row]]) -> _Ways:
        of_session, of_trial = defaultdict[str, set[str]](set), defaultdict[str, set[str]](set)
        spellings = defaultdict[str, set[str]](set)
        for row in rows[SENT_SESSIONS]:
            of_session[row.get(SESSION, "")].add(row.get(RUNNER, ""))
        for row in rows[SENT_TRIALS]:
            of_trial[row.get(TRIAL, "")] |= of_session.get(row.get(SESSION, ""), set())
        for table in (t for t in rows if RUNNER in t.column_names):
            for row in rows[table]:
                spellings[spelled(row.get(RUNNER, ""))].add(row.get(RUNNER, ""))
        return cls(of_session, of_trial, spellings)

    def runners(self, table: Table, row: Row) -> set[str]:
        """Whose a row is: whom it names itself, else whom its session or trial leads to.

        Where it is not sure what a cell is, whoever any of them may mean.
        """
        if isinstance(row, Unsure):
            led = (self.of_session.get(cell, set()) | self.of_trial.get(cell, set()) for cell in row.cells)
            return set(row.cells).union(*led) - {""}
        if own := row.get(RUNNER, ""):
            return {own}
        by = table.rows.by if table.rows is not None else None
        ways = {SESSION: self.of_session, TRIAL: self.of_trial}
        return (ways[by].get(row.get(by, ""), set()) - {""}) if by in ways else set()

    def alike(self, runner: str) -> set[str]:
        """Every spelling of the id in the bag: a withdrawal counts for all of them."""
        return self.spellings.get(spelled(runner), set()) | {runner}


def _inside(data: Path, path: str) -> Path:
    """A file of the payload; a path that leads out of it, as a table may name, is one that is not there."""
    place = data / path
    return place if place.resolve().is_relative_to(data.resolve()) else data / "(outside)"


def _read(path: Path) -> list[CsvRecord] | None:
    """The records of a table as intake sees them; None of one that it does not read, also for want of a column."""
    if not path.exists() and not path.is_symlink():
        return []
    text, _ = text_of_table(path, path.name)
    try:
        found = None if text is None else list(records(text))
    except csv.Error:
        return None
    header = next((one.cells for one in found or () if one.role is Role.HEADER), None)
    ways = {c for t in tables_of(Layer.DELIVERY) if t.file_name == path.name for c in t.column_names if c in WAYS}
    return None if header is not None and not ways <= set(header) else found


def rows_of_table(path: Path) -> list[Row]:
    """The rows of a table as intake reads them, cells without the spaces around them; see ``_rows``."""
    return _rows(_read(path))


def _rows(found: Sequence[CsvRecord] | None) -> list[Row]:
    """The rows among the records of a table.

    Of a row with more or fewer cells than columns, which intake tells and leaves out, as many as there are. A table
    that intake does not read has none.
    """
    names: list[str] = []
    rows = list[Row]()
    for record in found or ():
        if record.role is Role.HEADER:
            names = record.cells
        elif record.role in _ROWS:
            cells = [cell.strip() for cell in record.cells]
            own = dict(zip(names, cells, strict=False))
            rows.append(own if record.role is Role.ROW else Unsure(own, cells))
    return rows


def _drop(path: Path, found: Sequence[CsvRecord] | None, out: Sequence[bool]) -> bool:
    """Leave out of a table the rows that ``out`` names, as ``_rows`` orders them; whether something went.

    A table that cannot be read goes as a whole: nobody can say whose rows it holds, and nothing of it is used.
    """
    if found is None:
        path.unlink()
        return True
    if not any(out):
        return False
    going = iter(out)
    kept = [record.text for record in found if record.role not in _ROWS or not next(going)]
    mark = codecs.BOM_UTF8 if path.read_bytes().startswith(codecs.BOM_UTF8) else b""
    write_bytes(path, mark + "".join(kept).encode())  # a new file: the old one may be a second name of stored bytes
    return True


def _fit_manifests(bag: Path) -> None:
    """Give the manifests and the payload's size the values of what is there now; tag manifests last."""
    files = [p for p in (bag / "data").rglob("*") if p.is_file()]
    oxum = f"{sum(p.stat().st_size for p in files)}.{len(files)}".encode()
    info = bag / "bag-info.txt"
    if info.is_file():
        write_bytes(info, _OXUM.sub(lambda found: found[1] + oxum, info.read_bytes()))
    for manifest in sorted(bag.glob("manifest-*.txt")):
        _fit(manifest, bag)
    for manifest in sorted(bag.glob("tagmanifest-*.txt")):
        _fit(manifest, bag)


def _fit(manifest: Path, bag: Path) -> None:
    algorithm = manifest.stem.rpartition("-")[2]
    lines = []
    for line in manifest.read_text(encoding="utf-8").splitlines():
        found = _MANIFEST_LINE.fullmatch(line)
        place = bag / found[3] if found else None
        if found and place is not None and place.is_file():
            lines.append(f"{hashlib.new(algorithm, place.read_bytes()).hexdigest()}{found[2]}{found[3]}")
    write_bytes(manifest, ("\n".join(lines) + "\n").encode("utf-8"))
