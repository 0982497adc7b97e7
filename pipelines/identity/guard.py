"""Looks through every text of a delivery as it is opened, and takes out what may identify a person.

What stands in the result can be shown, stored and told of: later stages never see the texts taken out. The bytes of the
delivery are not changed. What the places mean for a trial is decided in ``checks.identity.identifiers``; the insides of
trial files are looked through in a worker, see ``pipelines.intake.identifying``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from pipelines.identity import file_names, identifiers
from pipelines.identity.codes import codes_among
from pipelines.identity.contents import FREE_TEXT, IDS, MOST_BYTES, Noted, TooMuchText, search
from pipelines.identity.file_names import INFO_FIELDS
from pipelines.identity.names import KnownNames
from pipelines.identity.vocabulary import NO_WORDS, Vocabulary
from schemas import fields
from schemas.catalogue import tables_of
from schemas.kept import DESCRIPTOR, is_table, left_out
from schemas.model import Kind, Layer
from schemas.quota import MIB, Quota
from schemas.reading import Held, Identifying
from schemas.received import PayloadFile, Problem, Received
from schemas.said import quoted, told

KEPT_BACK = "(kept back)"


def guarded(
    received: Received, root: Path | None, known: KnownNames, quota: Quota, plain: Vocabulary = NO_WORDS
) -> Received:
    """The same delivery without identifying texts, and where they stood. root: the opened bag, None if it is none.

    plain: what need not be looked at; other texts are listed, and stay where they are. Files of kinds that the depot
    does not keep are not looked into.
    With more text than ``quota`` lets be searched nothing of the delivery is shown but its laboratory and number, and a
    problem stops it.
    """
    plain = plain.knowing(codes_of(received, plain))
    noted = Noted(known, int(quota.most_text_mib * MIB), plain)
    try:
        renamed = _names(received, noted)
        info = _bag_info(received, root, noted)
        if root is not None:
            for path in sorted(p for p in received.paths if is_table(p) or p == DESCRIPTOR):
                _payload_file(root / "data" / path, path, noted)
    except TooMuchText:
        return _not_searched(received, noted, quota)
    shown = _without(received, noted, renamed, info)
    unfit = {file: frozenset(texts) for file, texts in noted.unfit.items()}
    return replace(shown, held=(*_held(shown, noted.plain), *noted.waiting), unfit=unfit)


def codes_of(received: Received, plain: Vocabulary) -> set[str]:
    """Codes of runners, sessions and trials, and the delivery's own number: texts that the study gave.

    A code of a form that the study does not use is none of these before somebody has looked at it.
    """
    frames = received.tables.values()
    named = {
        column: {str(code) for frame in frames if column in frame for code in frame[column].dropna().unique()}
        for column in IDS
    }
    codes = codes_among(named, plain)
    number = () if received.number is None else (f"{received.site}-{received.number:03d}",)
    return {code for code in codes if not identifiers.surely_in_path(code)} | set(number)


def _held(received: Received, plain: Vocabulary) -> Iterator[Held]:
    """Cells of texts, and names of files, that a person must look at before they are shown."""
    for path in sorted(received.paths):
        if not plain.fits(path):
            yield Held(path, path, "the name of the file or of its folder")
    for table in tables_of(Layer.DELIVERY):
        frame = received.tables[table.name]
        for column in (name for name in IDS if name in table.column_names and name in frame):
            first = {cell: row for row, cell in reversed(list(enumerate(frame[column]))) if isinstance(cell, str)}
            closed = column == fields.PARTICIPANT_ID.name or bool(plain.forms.form_of(column))
            for cell, row in first.items():
                if cell.strip() and cell not in plain.ids and (closed or not plain.fits(cell)):
                    yield Held(cell, str(table.file_name), f"row {row + 1}, column {column}", table.name, row, column)
        for column in (f.name for f in table.fields if f.kind is Kind.TEXT and not f.names_file and f.name in frame):
            for row, cell in enumerate(frame[column]):
                if isinstance(cell, str) and not plain.fits_as(cell, column if column in FREE_TEXT else ""):
                    place = f"row {row + 1}, column {column}"
                    yield Held(cell, str(table.file_name), place, table.name, row, column)


def _not_searched(received: Received, noted: Noted, quota: Quota) -> Received:
    seen = "the delivery holds more text than is searched for what may identify a person"
    expected = f"the study asks for at most {quota.most_text_mib:g} MiB of text in the tables of one delivery"
    return replace(
        received,
        arrived_as=KEPT_BACK if identifiers.surely_in_path(received.arrived_as, noted.known) else received.arrived_as,
        bag_info={},
        files=(),
        tables={name: frame.iloc[:0] for name, frame in received.tables.items()},
        problems=(Problem("bag", seen, expected),),
        identifying=tuple(noted.places),
    )


def _names(received: Received, noted: Noted) -> dict[str, str]:
    """Paths that identify somebody, and what they are called instead; names of files that are not kept go nowhere."""
    arrived = Identifying("", place="the name the delivery came under")
    noted.note(received.arrived_as, noted.path(received.arrived_as), arrived)
    renamed: dict[str, str] = {}
    other = left_out(received)
    for path in sorted(received.paths):
        if path not in other and (found := noted.path(path)):
            renamed[path] = f"name-kept-back-{len(renamed) + 1}{file_names.kind_of(path)}"
            noted.note(path, found, Identifying("", renamed[path], "the name of the file or of its folder"))
            noted.values |= {part for part in path.split("/") if noted.path(part)}
    return renamed


def _bag_info(received: Received, root: Path | None, noted: Noted) -> dict[str, str]:
    """bag-info.txt with its identifying values taken out; fields dropped on reading are looked at all the same."""
    info = dict(received.bag_info)
    for number, (label, value) in enumerate(received.bag_info.items(), start=1):
        where = Identifying("", "bag-info.txt", _field(label, number))
        if noted.note(label, noted.name(label), replace(where, place="the name of a field")):
            del info[label]
        elif label not in ("Study", "Delivery-Number") and noted.look(value, label, where):
            info[label] = KEPT_BACK
    path = root / "bag-info.txt" if root is not None else None
    if path is not None and path.is_file() and path.stat().st_size <= 1 << 16:
        for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), start=1):
            label, _, value = (part.strip() for part in line.partition(":"))
            if label.lower().startswith("contact-") and label not in info:
                noted.look(value, label, Identifying("", "bag-info.txt", _field(label, number)))
    return info


def _field(label: str, number: int) -> str:
    """How a field of bag-info.txt is called in a place: by its name, where BagIt or this study gave that."""
    return label if label.lower() in INFO_FIELDS else f"field {number}"


def _payload_file(path: Path, name: str, noted: Noted) -> None:
    if not path.is_file() or path.is_symlink():
        return
    with path.open("rb") as stream:
        data = stream.read(MOST_BYTES + 1)
    search(data, name, name, noted)


def _without(received: Received, noted: Noted, renamed: dict[str, str], info: dict[str, str]) -> Received:
    pattern = _any_of(noted.values)
    files = tuple(PayloadFile(renamed.get(f.path, f.path), f.bytes, f.sha256) for f in received.files)
    arrived = identifiers.surely_in_path(received.arrived_as, noted.known)
    return replace(
        received,
        arrived_as=KEPT_BACK if arrived else received.arrived_as,
        bag_info=info,
        files=files,
        tables={name: _blanked(name, frame, noted.values) for name, frame in received.tables.items()},
        problems=tuple(_told(p, noted, pattern) for p in received.problems),
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


def _told(problem: Problem, noted: Noted, pattern: re.Pattern[str] | None) -> Problem:
    """A problem without what identifies somebody; what else is not made of known words stays marked as the sender's."""

    def ours(text: str) -> str:
        return pattern.sub(KEPT_BACK, text) if pattern else text

    def theirs(text: str) -> str | None:
        if ours(text) != text or identifiers.surely_in_path(text, noted.known) or noted.name(text):
            return KEPT_BACK
        return quoted(text) if file_names.fits(text, noted.plain) else None

    return told(problem, theirs, ours)
