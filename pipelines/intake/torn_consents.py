"""What a consents.csv that cannot be read as a table may say against consent, line by line.

A line with a cell too few or too many, a comment between the rows and a table with other separators are told, and the
delivery is stopped; a withdrawal in such a line counts all the same, against whomever it names.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator

from pipelines.intake.csv_records import Role, records
from pipelines.intake.spreadsheet import not_a_csv, other_separator
from pipelines.intake.tables import MOST_ROWS
from schemas import codes
from schemas.consent_history import GIVEN, NOT_UNDERSTOOD, says_withdrawn, spelled
from schemas.received import ConsentEvent

_PART = re.compile(r"[,;\t|]")
_TOKEN = re.compile(r"[^\s,;:\t|\"'()#]+")
_WORDS = frozenset(spelled(code.value) for code in (*codes.CONSENT_EVENT, *codes.CONSENT_SCOPE))
#: Of lines and of one line no more is looked at: what a sender can make long.
_MOST_LINES, _MOST_TOKENS, _LONGEST = 200_000, 40, 64


def torn_consents(data: bytes) -> tuple[ConsentEvent, ...]:
    """Events that were not understood, of every scope and day, of whoever a line names that is no row of the table.

    data: of consents.csv. A line that plainly gives consent and tells no withdrawal takes nothing away. Never raises on
    what a lab wrote.
    """
    if not data or not_a_csv(data):
        return ()
    try:
        text, whole = data.decode("utf-8-sig"), True
    except UnicodeDecodeError:
        text, whole = data.decode("latin-1"), False
    lines = _torn(text) if whole else text.splitlines()
    if len(lines) > _MOST_LINES:  # what withdraws comes first: of the others only a part is looked at
        lines = sorted(lines, key=lambda line: not says_withdrawn(line))
    named = {code for line in lines[:_MOST_LINES] for code in _named(line)}
    return tuple((code, None, NOT_UNDERSTOOD, None) for code in sorted(named))


def _torn(text: str) -> list[str]:
    """The lines that intake does not take as rows: all of them of a table that it does not read."""
    torn: list[str] = []
    rows = 0
    try:
        for record in records(text):
            if record.role is Role.HEADER and (other_separator(record.cells) or len(record.cells) == 1):
                return text.splitlines()
            rows += record.role is Role.ROW
            if rows > MOST_ROWS:
                return text.splitlines()
            if record.role is Role.RAGGED or (record.role is Role.ROW and "\n" in record.text.strip()):
                torn += record.text.splitlines()
    except csv.Error:
        return text.splitlines()
    return torn


def _named(line: str) -> Iterator[str]:
    """What in a line may be the code of a runner: what stands first in it, and whatever has a digit and a letter."""
    parts = [part.strip().strip("\"'").strip() for part in _PART.split(line)]
    if GIVEN in map(spelled, parts) and not says_withdrawn(line):
        return
    tokens = _TOKEN.findall(line)[:_MOST_TOKENS]
    found = {token.strip(".") for token in tokens if re.search(r"[0-9]", token) and re.search(r"[^\W\d_]", token)}
    if len(parts) > 1:
        found.add(parts[0])
    yield from (code for code in found if code and len(code) <= _LONGEST and spelled(code) not in _WORDS)
