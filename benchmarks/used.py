"""How much of the cores some processes used, and how much everything else did: Linux tells both.

Whether a machine is quiet is asked while something is measured, and not before: the load of the last minute is that of
the benchmarks themselves.
"""

from __future__ import annotations

import os
import threading
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter, sleep

#: Of all cores; what others take beyond that makes a time on the clock worth nothing.
QUIET_SHARE = 0.05
_EVERY_S = 0.1
_IDLE, _GUEST = (3, 4), 8  # places in a line of /proc/stat: idle and waiting for a disk; from here on counted twice


@dataclass(frozen=True)
class Moment:
    """Since the watch began, in s: the clock's time, the processor time of those watched, and that of everybody."""

    wall_s: float
    own_s: float
    all_s: float

    def busy_until(self, then: Moment) -> float:
        """Part of all cores that those watched used up to a later moment."""
        return (then.own_s - self.own_s) / _cores_s(self, then)

    def others_until(self, then: Moment) -> float:
        """Part of all cores that all others used up to a later moment."""
        return (then.all_s - self.all_s - then.own_s + self.own_s) / _cores_s(self, then)


def _cores_s(since: Moment, until: Moment) -> float:
    return (os.cpu_count() or 1) * (until.wall_s - since.wall_s)


class Watch:
    """Processor time of all processes of a session; those that have ended are counted as they were last seen."""

    def __init__(self, session: int) -> None:
        self._session, self._seen, self._stopped = session, dict[int, float](), threading.Event()
        self._tick = 1 / os.sysconf("SC_CLK_TCK")
        self._look()
        self._own_before, self._all_before, self._begin = self._own_s(), self._all_s(), perf_counter()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def now(self) -> Moment:
        """Up to now."""
        self._look()
        return Moment(perf_counter() - self._begin, self._own_s() - self._own_before, self._all_s() - self._all_before)

    def stop(self) -> Moment:
        """The same; nothing is watched any more."""
        self._stopped.set()
        self._thread.join()
        return self.now()

    def _watch(self) -> None:
        while not self._stopped.is_set():
            self._look()
            sleep(_EVERY_S)

    def _own_s(self) -> float:
        return sum(list(self._seen.values()))

    def _all_s(self) -> float:
        ticks = [int(word) for word in Path("/proc/stat").read_text().splitlines()[0].split()[1:]]
        return self._tick * sum(n for place, n in enumerate(ticks[:_GUEST]) if place not in _IDLE)

    def _look(self) -> None:
        for path in Path("/proc").glob("[0-9]*/stat"):
            try:
                fields = path.read_text().rpartition(")")[2].split()
            except OSError:
                continue  # it has just ended
            if int(fields[3]) == self._session:
                self._seen[int(path.parent.name)] = self._tick * (int(fields[11]) + int(fields[12]))
