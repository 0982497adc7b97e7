"""Whether a way of doubting a planned answer doubts anything: of the same numbers the same answer is no evidence.

What ways there are, and the answers themselves, are in ``planned``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from pipelines.science.statistics.planned_groups import NONE, Asked
from schemas.fields_of_differences import POOLED_NUMBERS

_NO_WEIGHTS = "no trial of it has an uncertainty to be weighed by"


def marked(
    row: Mapping[str, Any], asked: Asked, before: Sequence[tuple[Mapping[str, Any], Asked]], *, weighable: bool
) -> dict[str, Any]:
    """The row of one way with ``same_as`` and ``changes_nothing``. before: rows, and what they are made of, of the
    analysis as planned and of the ways that came before this one.

    weighable: whether the weights that this way wants are there; if not it has a reason and no answer.
    """
    if not weighable:
        nothing = dict.fromkeys(field.name for field in POOLED_NUMBERS if field.nullable)
        return {**row, **nothing, "against_smallest_effect": None, "reason_null": _NO_WEIGHTS}
    same = next((_way(other) for other, made in before if _alike(row, asked, other, made)), NONE)
    return {**row, "same_as": same, "changes_nothing": same != NONE}


def _way(row: Mapping[str, Any]) -> str:
    return str(row["variant"]) + (f" {row['variant_detail']}" if row["variant_detail"] != NONE else "")


def _alike(row: Mapping[str, Any], asked: Asked, other: Mapping[str, Any], made: Asked) -> bool:
    if other["reason_null"] == _NO_WEIGHTS or any(row[n] != other[n] for n in ("pooling_method", "covariates")):
        return False
    if not _same_differences(asked, made):
        return False
    return row["covariates"] == NONE or (asked.names == made.names and _same(asked.covariates, made.covariates))


def _same_differences(one: Asked, other: Asked) -> bool:
    who = all(np.array_equal(getattr(one.group, name), getattr(other.group, name)) for name in ("runners", "sites"))
    return who and _same(one.group.differences, other.group.differences)


def _same(one: Any, other: Any) -> bool:
    """But for the last digits: weights that are all alike change them."""
    return one.shape == other.shape and bool(np.allclose(one, other, rtol=1e-12, atol=0.0))
