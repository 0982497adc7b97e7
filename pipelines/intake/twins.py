"""Labels of a recording that stand for more than one of its points or channels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipelines.science.signals.labels import plain
from schemas.self_description import Twin
from schemas.trial import FloatArray


def twins_of(kind: str, labels: Sequence[str], values: Sequence[FloatArray] | FloatArray) -> tuple[Twin, ...]:
    """Every label that stands for more than one of the arrays, and whether these are all the same.

    Labels are one as they are to those who look one up: without regard to capitals and surrounding blanks.
    """
    places: dict[str, list[int]] = {}
    for i, label in enumerate(labels):
        places.setdefault(plain(label), []).append(i)
    return tuple(
        Twin(
            kind,
            labels[own[0]],
            len(own),
            all(np.array_equal(values[own[0]], values[i], equal_nan=True) for i in own[1:]),
            tuple(dict.fromkeys(labels[i] for i in own)),
        )
        for own in places.values()
        if len(own) > 1
    )
