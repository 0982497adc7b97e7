"""How long a call takes, measured so that two calls can be compared."""

from __future__ import annotations

import statistics
from collections.abc import Callable
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
