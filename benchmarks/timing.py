"""How long a call takes, measured so that two calls can be compared."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from time import perf_counter


def ratio(ours: Callable[[], object], theirs: Callable[[], object], rounds: int = 15) -> float:
    """Median over ``rounds`` of time(ours) / time(theirs); the two are run in turn, after one round to warm up."""
    ours(), theirs()
    quotients = []
    for _ in range(rounds):
        start = perf_counter()
        ours()
        middle = perf_counter()
        theirs()
        quotients.append((middle - start) / (perf_counter() - middle))
    return statistics.median(quotients)


def ratios_of(base: Callable[[], object], others: Sequence[Callable[[], object]], rounds: int = 11) -> list[float]:
    """Median over ``rounds`` of time(other) / time(base) for each; all are run in turn, after two rounds to warm up."""
    quotients: list[list[float]] = [[] for _ in others]
    for i in range(rounds + 2):
        taken = []
        for call in (base, *others):
            start = perf_counter()
            call()
            taken.append(perf_counter() - start)
        if i >= 2:
            for own, seconds in zip(quotients, taken[1:], strict=True):
                own.append(seconds / taken[0])
    return [statistics.median(own) for own in quotients]
