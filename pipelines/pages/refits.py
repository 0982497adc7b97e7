"""What the other ways of analysing a planned comparison change, in words. The rows are those of ``planned_contrasts``.

A way that leaves every number as it was says nothing new, and one of the opposite sign agrees with nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipelines.pages.words import signed

Row = dict[str, Any]
#: A verdict in words.
AGAINST = {
    "matters": "larger than the smallest effect",
    "too_small": "too small to matter",
    "is_there": "there, perhaps too small to matter",
    "open": "not decided",
}
_VARIANTS = {
    "without_overridden": "without overridden trials",
    "without_noted": "without noted trials",
    "uncertainty_weights": "weighed by uncertainty",
    "other_model": "by the other model",
    "without_covariates": "without covariates",
}
_MOST_DIGITS = 6
#: Verdicts of an interval that leaves out zero.
_SIGNED = ("matters", "is_there")


def variant_words(row: Row) -> str:
    """A way of doubting an answer."""
    detail = str(row["variant_detail"])
    if row["variant"] == "without_site":
        return f"without {detail}"
    return f"by {detail} alone" if row["variant"] == "one_event_method" else _VARIANTS[row["variant"]]


def sensitivity(main: Row, refits: Sequence[Row], digits: int) -> str:
    """What came of all of them, in a line."""
    if not refits:
        return "no other analysis is planned"
    told, same = _anew(refits), sum(bool(row["changes_nothing"]) for row in refits)
    silent = len(refits) - len(told) - same
    rest = f"; {same} with the very same rows as planned or as another refit" if same else ""
    rest += f"; {silent} without an answer" if silent else ""
    if not told:
        return f"none of {len(refits)} refits says anything new{rest}"
    ends = [pick(row["estimate_value"] for row in told) for pick in (min, max)]
    while ends[0] != ends[1] and digits < _MOST_DIGITS and signed(ends[0], digits) == signed(ends[1], digits):
        digits += 1  # what differs is told as different
    low, high = (signed(end, digits) for end in ends)
    others = len(differing(main, refits, digits))
    said = f"in {others} the conclusion differs" if others else "the same conclusion in all of them"
    span = low if low == high else f"{low} to {high}"
    return f"{len(told)} of {len(refits)} refits: {span}; {said}{rest}"


def differing(main: Row, refits: Sequence[Row], digits: int) -> list[str]:
    """Those that say something else than the analysis as planned, with what they say."""
    return [
        f"{variant_words(row)}: {signed(row['estimate_value'], digits)}, {_words(row, main)}"
        for row in _anew(refits)
        if _conclusion(row) != _conclusion(main)
    ]


def _anew(refits: Sequence[Row]) -> list[Row]:
    return [row for row in refits if row["estimate_value"] is not None and not row["changes_nothing"]]


def _conclusion(row: Row) -> tuple[str | None, bool]:
    """The verdict, and for one that leaves out zero on which side."""
    lower, against = row["lower_limit_value"], row["against_smallest_effect"]
    if lower is None:
        return None, False
    if against is None:
        against = "is_there" if lower > 0 or row["upper_limit_value"] < 0 else "open"
    return against, against in _SIGNED and lower > 0


def _words(row: Row, main: Row) -> str:
    (against, above), (planned, planned_above) = _conclusion(row), _conclusion(main)
    if against is None:
        return "no interval"
    if row["against_smallest_effect"] is None:
        return "not decided" if against == "open" else f"{'above' if above else 'below'} zero"
    opposite = against in _SIGNED and planned in _SIGNED and above != planned_above
    return f"{AGAINST[against]}{', with the opposite sign' if opposite else ''}"
