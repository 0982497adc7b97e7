"""Whether a way of doubting a planned answer doubts anything: of the same numbers the same answer is no evidence.

What ways there are, and the answers themselves, are in ``planned``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipelines.science.statistics.planned_groups import NONE, Asked
from schemas.fields_of_differences import POOLED_NUMBERS

_NO_WEIGHTS = "no trial of it has an uncertainty to be weighed by"


def marked(
    row: Mapping[str, Any], asked: Asked, main: tuple[Mapping[str, Any], Asked], *, weighable: bool
) -> dict[str, Any]:
    """The row of one way with ``changes_nothing``. main: that of the analysis as planned, and what it is made of.

    weighable: whether the weights that this way wants are there; if not it has a reason and no answer.
    """
    if not weighable:
        nothing = dict.fromkeys(field.name for field in POOLED_NUMBERS if field.nullable)
        return {**row, **nothing, "against_smallest_effect": None, "reason_null": _NO_WEIGHTS, "changes_nothing": False}
    first, planned = main
    alike = all(row[name] == first[name] for name in ("pooling_method", "covariates"))
    alike = alike and _same_differences(asked, planned)
    if row["covariates"] != NONE:
        alike = alike and asked.names == planned.names and _same(asked.covariates, planned.covariates)
    return {**row, "changes_nothing": alike}


def _same_differences(one: Asked, other: Asked) -> bool:
    who = all(np.array_equal(getattr(one.group, name), getattr(other.group, name)) for name in ("runners", "sites"))
    return who and _same(one.group.differences, other.group.differences)


def _same(one: Any, other: Any) -> bool:
    """But for the last digits: weights that are all alike change them."""
    return one.shape == other.shape and bool(np.allclose(one, other, rtol=1e-12, atol=0.0))
