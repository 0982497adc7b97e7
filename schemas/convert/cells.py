"""Cells of a CSV as typed values: strict parsers, one per kind, and how a cell that fails is described.

The parsers are our own because those of pandas take "nan", "inf" and "1_000" for numbers, silently. Spaces around a
cell are dropped; nothing else is forgiven.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

from schemas.convert.to_frictionless import IDENTIFIER_PATTERN
from schemas.model import Field, Kind
from schemas.privacy import Privacy
from schemas.said import said

_INTEGER = re.compile(r"[+-]?[0-9]{1,18}")
_REAL = re.compile(r"[+-]?([0-9]{1,40}\.?[0-9]{0,40}|\.[0-9]{1,40})([eE][+-]?[0-9]{1,3})?")
_IDENTIFIER = re.compile(IDENTIFIER_PATTERN)
#: Two groups of digits and a year-like third, in any order and with any separator; or eight digits in a row.
_DATE = re.compile(r"[0-9]{1,4}\s*[-./ ]\s*[0-9A-Za-z]{1,9}\s*[-./ ,]\s*[0-9]{1,4}|[0-9]{8}|.*[0-9]{1,2}:[0-9]{2}")
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f]")
_LONGEST_TEXT = 2000  # as the expectation in ``words`` says
_LONGEST_ECHO = 40


class NotOfKind(ValueError):
    """The cell does not hold a value of the column's kind."""


def parse(field: Field, cell: str) -> Any:
    """The value of a cell that is not empty. Raises NotOfKind. Bounds and words are not looked at."""
    return _PARSERS[field.kind](cell)


def seen(field: Field, cell: str) -> str:
    """The cell as a message may repeat it: free text, a bad identifier and a date could tell who somebody is.

    Of an answer or a measurement only the form is told, which shows a comma or a unit; the value is nobody's business.
    """
    if field.kind is Kind.TEXT:
        return _text_fault(cell)
    if field.kind is Kind.IDENTIFIER:
        return _identifier_fault(cell)
    if field.privacy not in (Privacy.PLAIN, Privacy.QUASI):
        return "something of the form " + _form(cell)
    if _DATE.match(cell):
        return "something like a date"
    return said(cell)


def _form(cell: str) -> str:
    """The cell with every digit as 0 and every letter as a."""
    shown = "".join("0" if c.isdigit() else "a" if c.isalpha() else c if c.isprintable() else "?" for c in cell)
    return f"'{shown[:_LONGEST_ECHO]}{'...' if len(shown) > _LONGEST_ECHO else ''}'"


def _identifier(cell: str) -> str:
    if not _IDENTIFIER.fullmatch(cell):
        raise NotOfKind
    return cell


def _identifier_fault(cell: str) -> str:
    if len(cell) > 64:
        return f"a code of {len(cell)} characters"
    for position, character in enumerate(cell, start=1):
        if not re.match(r"[A-Za-z0-9._-]", character):
            name = "a space" if character.isspace() else f"'{character}'" if character.isprintable() else "?"
            return f"a code with {name} at character {position}"
    return f"a code that begins with '{cell[:1]}'"


def _text(cell: str) -> str:
    # a line break or other control character has no place in a cell and breaks pages and paths
    if len(cell) > _LONGEST_TEXT or _CONTROL.search(cell):
        raise NotOfKind
    return cell


def _text_fault(cell: str) -> str:
    control = _CONTROL.search(cell)
    if control is None:
        return f"a text of {len(cell)} characters"
    name = {"\n": "a line break", "\r": "a line break", "\t": "a tab"}.get(control[0], "a control character")
    return f"a text with {name} at character {control.start() + 1}"


def _integer(cell: str) -> int:
    if not _INTEGER.fullmatch(cell):
        raise NotOfKind
    return int(cell)


def _real(cell: str) -> float:
    if not _REAL.fullmatch(cell) or not math.isfinite(value := float(cell)):
        raise NotOfKind
    return value


def _boolean(cell: str) -> bool:
    words = {"true": True, "false": False, "1": True, "0": False}
    if cell.lower() not in words:
        raise NotOfKind
    return words[cell.lower()]


_PARSERS: dict[Kind, Callable[[str], Any]] = {
    Kind.IDENTIFIER: _identifier,
    Kind.CODE: _text,
    Kind.TEXT: _text,
    Kind.INTEGER: _integer,
    Kind.REAL: _real,
    Kind.BOOLEAN: _boolean,
}
