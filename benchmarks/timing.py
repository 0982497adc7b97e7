"""What a call costs, measured so that two calls can be compared: in processor time of this process, which other work
on the machine disturbs less than it does the clock on the wall."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from time import process_time


def ratio(ours: Callable[[], object], theirs: Callable[[], object], rounds: int = 15) -> float:
    """Median over ``rounds`` of time(ours) / time(theirs); the two are run in turn, after one round to warm up."""
    ours(), theirs()
    quotients = []
    for _ in range(rounds):
        start = process_time()
        ours()
        middle = process_time()
        theirs()
        quotients.append((middle - start) / (process_time() - middle))
    return statistics.median(quotients)


def milliseconds(call: Callable[[], object], rounds: int = 11) -> float:
    """Median over ``rounds`` of what one call takes, after two to warm up."""
    taken = []
    for _ in range(rounds + 2):
        start = process_time()
        call()
        taken.append(process_time() - start)
    return 1000 * statistics.median(taken[2:])


def ratios_of(base: Callable[[], object], others: Sequence[Callable[[], object]], rounds: int = 11) -> list[float]:
    """Median over ``rounds`` of time(other) / time(base) for each; all are run in turn, after two rounds to warm up."""
    quotients: list[list[float]] = [[] for _ in others]
    for i in range(rounds + 2):
        taken = []
        for call in (base, *others):
            start = process_time()
            call()
            taken.append(process_time() - start)
        if i >= 2:
            for own, seconds in zip(quotients, taken[1:], strict=True):
                own.append(seconds / taken[0])
    return [statistics.median(own) for own in quotients]
