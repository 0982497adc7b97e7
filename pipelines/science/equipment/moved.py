"""How far outcomes of footfalls move when something is changed. Nothing here knows what was changed, or by how much."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from pipelines.science.frames import Rows, computed_fields
from schemas.model import Kind
from schemas.outcomes import FOOTFALLS
from schemas.trial import FloatArray

EVENTS = ("contact_s", "toe_off_s")
#: Columns of footfalls that have an uncertainty.
JUDGED = tuple(c for c in computed_fields(FOOTFALLS) if c.kind is Kind.REAL and c.name not in EVENTS)
_LOOKED_AT = (*(column.name for column in JUDGED), *EVENTS)
#: Footfalls of two tables further apart than that are not the same.
_SAME_WITHIN_S = 0.1

#: Outcome -> by how much; NaN where it cannot be told.
Moves = Mapping[str, float]


def numbers_of(footfalls: Rows) -> FloatArray:
    """(columns that are looked at, footfalls)"""
    return np.stack([footfalls.numbers(name) for name in _LOOKED_AT])


def moves(plain: Rows, changed: Rows) -> dict[str, float]:
    """Column -> root mean square of how far it moved, over the footfalls that both have; NaN where none tells."""
    here, there = plain.numbers("contact_s"), changed.numbers("contact_s")
    if not len(here) or not len(there):
        return dict.fromkeys(_LOOKED_AT, float("nan"))
    pairs = [(i, int(np.argmin(np.abs(there - when)))) for i, when in enumerate(here)]
    pairs = [
        (i, j)
        for i, j in pairs
        if abs(there[j] - here[i]) < _SAME_WITHIN_S and plain.columns["side"][i] == changed.columns["side"][j]
    ]
    own, other = [i for i, _ in pairs], [j for _, j in pairs]
    return by_column(numbers_of(changed)[:, other] - numbers_of(plain)[:, own])


def by_column(moved: FloatArray) -> dict[str, float]:
    """The same of (columns that are looked at, footfalls)."""
    return dict(zip(_LOOKED_AT, root_mean_square(moved).tolist(), strict=True))


def root_mean_square(moved: FloatArray) -> FloatArray:
    """(k,) over the known ones of (k, n); NaN where none is."""
    known = np.isfinite(moved)
    with np.errstate(invalid="ignore", divide="ignore"):  # a row that tells nothing
        return np.asarray(np.sqrt((np.where(known, moved, 0.0) ** 2).sum(axis=1) / known.sum(axis=1)))


def together(parts: Iterable[float]) -> float:
    """Root of the sum of squares of those that are known; NaN if none is."""
    known = [value for value in parts if np.isfinite(value)]
    return float(np.sqrt(np.sum(np.square(known)))) if known else float("nan")
