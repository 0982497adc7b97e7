"""Labels of a recording that stand for more than one of its points or channels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from schemas.self_description import Twin
from schemas.trial import FloatArray


def twins_of(kind: str, labels: Sequence[str], values: Sequence[FloatArray] | FloatArray) -> tuple[Twin, ...]:
    """Every label that stands for more than one of the arrays, and whether these are all the same."""
    places: dict[str, list[int]] = {}
    for i, label in enumerate(labels):
        places.setdefault(label, []).append(i)
    return tuple(
        Twin(kind, label, len(own), all(np.array_equal(values[own[0]], values[i], equal_nan=True) for i in own[1:]))
        for label, own in places.items()
        if len(own) > 1
    )
