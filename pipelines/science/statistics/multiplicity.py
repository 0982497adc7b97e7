"""P values adjusted for how many there are. Plain numbers in and out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from schemas.plan import Rule
from schemas.trial import FloatArray


def adjusted(p_values: Sequence[float | None], rule: Rule) -> list[float | None]:
    """(m,) p values of one family, adjusted; one that is not there counts as 1 and stays away.

    Holm 1979, Scand J Stat 6:65; Benjamini & Hochberg 1995, J R Stat Soc B 57:289 (both formulas from memory, met by
    statsmodels in the tests).
    """
    if not p_values:
        return []
    known = np.array([1.0 if p is None else p for p in p_values])
    order = np.argsort(known, kind="stable")
    found = np.empty(len(known))
    found[order] = np.minimum(_RULES[rule](known[order]), 1.0)
    return [None if p is None else float(value) for p, value in zip(p_values, found, strict=True)]


def _holm(p: FloatArray) -> FloatArray:
    return np.maximum.accumulate(p * np.arange(len(p), 0, -1))


def _benjamini_hochberg(p: FloatArray) -> FloatArray:
    return np.minimum.accumulate((p * len(p) / np.arange(1, len(p) + 1))[::-1])[::-1]


_RULES: Mapping[Rule, Callable[[FloatArray], FloatArray]] = {
    "holm": _holm,
    "benjamini_hochberg": _benjamini_hochberg,
    "none": lambda p: p,
}
