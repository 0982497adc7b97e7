"""Looks through every text of a delivery as it is opened, and takes out what may identify a person.

What stands in the result can be shown, stored and told of: later stages never see the texts taken out. The bytes of the
delivery are not changed. What the places mean for a trial is decided in ``checks.identity.identifiers``; the insides of
trial files are looked through in a worker, see ``pipelines.intake.identifying``.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pipelines.identity import identifiers
from pipelines.identity.identifiers import NOBODY, Found, KnownNames
from schemas.catalogue import tables_of
from schemas.model import Kind, Layer
from schemas.reading import Identifying
from schemas.received import PayloadFile, Problem, Received

KEPT_BACK = "(kept back)"
IDS = ("trial_id", "session_id", "participant_id")
_MOST_BYTES, _MOST_CELLS = 64 << 20, 5_000_000
_RECORDINGS = (".c3d", ".edf")
#: Keys of a table descriptor whose values name tables and columns, not people.
_DEFINING = frozenset({"name", "title", "path", "reference", "fields", "type", "format"})
_OWN_TAG_FILES = re.compile(r"(?:tag)?manifest-[a-z0-9]+\.txt|bagit\.txt|bag-info\.txt")


@dataclass
class _Noted:
    """What was found so far. values: the texts themselves, for taking out only; they never leave this module."""

    known: KnownNames
    places: dict[Identifying, None] = field(default_factory=dict)
    values: set[str] = field(default_factory=set, repr=False)
    seen: dict[tuple[str, str], tuple[Found, ...]] = field(default_factory=dict, repr=False)

    def look(self, text: str, field_name: str, where: Identifying, found: tuple[Found, ...] | None = None) -> bool:
        """Whether ``text`` identifies somebody; then it is noted."""
        if found is None:
            key = (text, field_name)
            if key not in self.seen:
                self.seen[key] = identifiers.scan(text, field_name, self.known)
            found = self.seen[key]
        for kind in identifiers.kinds_in(found):
            self.places[replace(where, kind=kind)] = None
        if found:
            self.values |= {text.strip(), *(text[f.start : f.end].strip() for f in found)} - {""}
        return bool(found)


def guarded(received: Received, root: Path | None, known: KnownNames = NOBODY) -> Received:
    """The same delivery without identifying texts, and where they stood. root: the opened bag, None if it is none."""
    noted = _Noted(known)
    renamed = _names(received, noted)
    info = _bag_info(received, root, noted)
    if root is not None:
        own = {f.path for f in received.files}
        for path in sorted(own):
            _payload_file(root / "data" / path, path, renamed.get(path, path), noted)
        _tag_files(root, noted)
    return _without(received, noted, renamed, info)


def _names(received: Received, noted: _Noted) -> dict[str, str]:
    """Paths that identify somebody, and what they are called instead."""
    arrived = Identifying("", place="the name the delivery came under")
    noted.look(received.arrived_as, "", arrived, identifiers.scan_path(received.arrived_as, noted.known))
    renamed: dict[str, str] = {}
    for path in sorted(received.paths):
        found = identifiers.scan_path(path, noted.known)
        if found:
            suffix = Path(path).suffix if re.fullmatch(r"\.[A-Za-z0-9]{1,4}", Path(path).suffix) else ""
            renamed[path] = f"name-kept-back-{len(renamed) + 1}{suffix}"
            noted.look(path, "", Identifying("", renamed[path], "the name of the file or of its folder"), found)
            noted.values |= {part for part in path.split("/") if identifiers.scan_path(part, noted.known)}
    return renamed


def _bag_info(received: Received, root: Path | None, noted: _Noted) -> dict[str, str]:
    """bag-info.txt with its identifying values taken out; fields dropped on reading are looked at all the same."""
    info = dict(received.bag_info)
    for label, value in received.bag_info.items():
        where = Identifying("", "bag-info.txt", label)
        if noted.look(
            label, "", replace(where, place="the name of a field"), identifiers.scan_name(label, noted.known)
        ):
            del info[label]
        elif label not in ("Study", "Delivery-Number") and noted.look(value, label, where):
            info[label] = KEPT_BACK
    path = root / "bag-info.txt" if root is not None else None
    if path is not None and path.is_file() and path.stat().st_size <= 1 << 16:
        for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
            label, _, value = (part.strip() for part in line.partition(":"))
            if label.lower().startswith("contact-") and label not in info:
                noted.look(value, label, Identifying("", "bag-info.txt", label))
    return info


def _payload_file(path: Path, name: str, shown: str, noted: _Noted) -> None:
    if not path.is_file() or path.is_symlink() or name.lower().endswith(_RECORDINGS):
        return
    with path.open("rb") as stream:
        data = stream.read(_MOST_BYTES)
    _content(data, name, shown, noted)


def _content(data: bytes, name: str, shown: str, noted: _Noted, depth: int = 0) -> None:
    lowered = name.lower()
    if data[:4] == b"PK\x03\x04" and depth < 2:
        _zipped(data, shown, noted, depth)
        return
    text = text_of(data)
    if text is None:
        return
    if lowered.endswith(".csv"):
        _table(text, name, shown, noted)
    elif lowered.endswith(".json"):
        _json(text, shown, noted, _DEFINING if lowered.rpartition("/")[2] == "datapackage.json" else frozenset())
    else:
        for number, line in enumerate(text.splitlines()[:200_000], start=1):
            noted.look(line, "", Identifying("", shown, f"line {number}"))


def text_of(data: bytes) -> str | None:
    """The bytes as text; None if they are none."""
    if b"\0" in data[:4096]:
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _zipped(data: bytes, shown: str, noted: _Noted, depth: int) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for member in archive.infolist()[:1000]:
                found = identifiers.scan_path(member.filename, noted.known)
                noted.look(member.filename, "", Identifying("", shown, "the name of a file inside"), found)
                if member.file_size <= 16 << 20 and not member.filename.lower().endswith(_RECORDINGS):
                    _content(archive.read(member), member.filename, f"{shown}, a file inside", noted, depth + 1)
    except Exception:  # a damaged archive has no text to find; that it is one is told by another check
        return


def _table(text: str, name: str, shown: str, noted: _Noted) -> None:
    try:
        rows = csv.reader(io.StringIO(text))
        header = [cell.strip() for cell in next(rows, [])]
        places = []
        for number, cell in enumerate(header, start=1):
            where = Identifying("", shown, f"header, column {number}")
            flagged = noted.look(cell, "", where, identifiers.scan_name(cell, noted.known))
            places.append(f"column {number}" if flagged else f"column {cell}")
        cells = 0
        for row in rows:
            cells += len(row)
            if cells > _MOST_CELLS:
                return
            ids = {header[i]: cell.strip() for i, cell in enumerate(row[: len(header)]) if header[i] in IDS}
            for i, cell in enumerate(row):
                column = header[i] if i < len(header) else ""
                where = Identifying("", shown, f"line {rows.line_num}, {places[i] if i < len(places) else 'beyond'}")
                if cell and column in IDS and identifiers.scan_path(cell, noted.known):
                    noted.look(cell, "", where, identifiers.scan_path(cell, noted.known))
                elif cell:
                    noted.look(cell, column, replace(where, **ids) if column not in ("file", "sidecar") else where)
    except csv.Error:
        return


def _json(text: str, shown: str, noted: _Noted, plain_keys: frozenset[str]) -> None:
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        noted.look(text[:100_000], "", Identifying("", shown, "its text"))
        return
    for key, value in _leaves(content):
        where = Identifying("", shown, "its names" if value is None else f"value of {key or 'a list'}")
        if value is None:
            noted.look(key, "", where, identifiers.scan_name(key, noted.known))
        elif identifiers.scan_name(key, noted.known):
            noted.look(value, key, replace(where, place="a value"))
        else:
            noted.look(value, "" if key in plain_keys else key, where)


def _leaves(content: Any, key: str = "") -> Iterator[tuple[str, str | None]]:
    """Each key (with None) and each text with its key; without recursion, since depth is the sender's choice."""
    waiting: list[tuple[str, Any]] = [(key, content)]
    while waiting:
        key, value = waiting.pop()
        if isinstance(value, dict):
            for name, inner in value.items():
                yield str(name), None
                waiting.append((str(name), inner))
        elif isinstance(value, list):
            waiting += [(key, inner) for inner in value]
        elif isinstance(value, str):
            yield key, value
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield key, str(value)


def _tag_files(root: Path, noted: _Noted) -> None:
    data = root / "data"
    for path in sorted(root.rglob("*")):
        if path.is_relative_to(data) or not path.is_file() or path.is_symlink():
            continue
        name = path.relative_to(root).as_posix()
        if _OWN_TAG_FILES.fullmatch(name) or path.stat().st_size > 1 << 20:
            continue
        found = identifiers.scan_path(name, noted.known)
        shown = "a file beside the payload" if found else name
        noted.look(name, "", Identifying("", shown, "its name"), found)
        _content(path.read_bytes(), name, shown, noted)


def _without(received: Received, noted: _Noted, renamed: dict[str, str], info: dict[str, str]) -> Received:
    if not noted.values and not received.problems:
        return received
    pattern = _any_of(noted.values)
    files = tuple(PayloadFile(renamed.get(f.path, f.path), f.bytes, f.sha256) for f in received.files)
    arrived = identifiers.scan_path(received.arrived_as, noted.known)
    return replace(
        received,
        arrived_as=KEPT_BACK if arrived else received.arrived_as,
        bag_info=info,
        files=files,
        tables={name: _blanked(name, frame, noted.values) for name, frame in received.tables.items()},
        problems=tuple(_shown_problem(p, pattern, noted.known) for p in received.problems),
        identifying=tuple(noted.places),
    )


def _any_of(values: Iterable[str]) -> re.Pattern[str] | None:
    longest_first = sorted((v for v in values if len(v) > 1), key=len, reverse=True)
    return re.compile("|".join(map(re.escape, longest_first)), re.IGNORECASE) if longest_first else None


def _blanked(name: str, frame: Any, values: set[str]) -> Any:
    """A table without the cells that identify somebody. A word of a closed list never does."""
    table = next(t for t in tables_of(Layer.DELIVERY) if t.name == name)
    texts = [f.name for f in table.fields if f.kind in (Kind.TEXT, Kind.IDENTIFIER) and f.name in frame]
    if not values or not texts:
        return frame
    frame = frame.copy()
    for column in texts:
        hidden = frame[column].isin(values)
        if hidden.any():
            frame.loc[hidden, column] = None
    return frame


def _shown_problem(problem: Problem, pattern: re.Pattern[str] | None, known: KnownNames) -> Problem:
    return replace(
        problem,
        seen=_shown_text(problem.seen, pattern, known),
        expected=pattern.sub(KEPT_BACK, problem.expected) if pattern else problem.expected,
        file=_shown_text(problem.file, pattern, known) if problem.file else problem.file,
        place=_shown_text(problem.place, pattern, known) if problem.place else problem.place,
    )


def _shown_text(text: str, pattern: re.Pattern[str] | None, known: KnownNames) -> str:
    """A message without the texts found, nor what else in it looks like one, such as a name that could not be read."""
    if pattern:
        text = pattern.sub(KEPT_BACK, text)
    for quoted in set(re.findall(r"'([^']*)'", text)):
        if quoted and identifiers.scan_path(quoted, known):
            text = text.replace(quoted, KEPT_BACK)
    return identifiers.masked(text, identifiers.scan_name(text, known))


def tells(data: bytes, name: str, known: KnownNames) -> bool:
    """Whether the content or name of one file of the payload may identify somebody."""
    noted = _Noted(known)
    _content(data, name, name, noted)
    return bool(noted.places or identifiers.scan_path(name, known))
