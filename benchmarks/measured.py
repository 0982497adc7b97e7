"""What a part of the benchmarks measured, as rows that can be kept and shown; and the machine it was measured on."""

from __future__ import annotations

import os
import platform
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

#: Below this load nothing else is at work.
QUIET = 0.7
_LIBRARIES = ("numpy", "scipy", "pandas", "ezc3d", "duckdb", "dagster")


@dataclass(frozen=True)
class Row:
    """One number. unit: "times", "s", "ms", "%" or another plain word; aim: None where there is none."""

    what: str
    found: float
    unit: str
    aim: float | None = None
    at_least: bool = False

    @property
    def is_reached(self) -> bool | None:
        """Whether the aim is; None without one."""
        if self.aim is None:
            return None
        return self.found >= self.aim if self.at_least else self.found <= self.aim


@dataclass(frozen=True)
class Part:
    """The rows of one module, with a title and what has to be said about them (sentences)."""

    title: str
    notes: tuple[str, ...]
    rows: tuple[Row, ...]
    machine: tuple[str, ...] = ()

    @classmethod
    def of(cls, title: str, notes: Iterable[str], rows: Iterable[Row]) -> Part:
        """Measured on this machine, now."""
        rows = tuple(rows)
        return cls(title, tuple(notes), rows, machine())


def machine() -> tuple[str, ...]:
    """Facts of this machine, as phrases."""
    cores = os.cpu_count() or 1
    facts = [f"{cores} cores of {_processor()}", f"{_memory_gib():.0f} GiB of memory", platform.system()]
    facts += [f"Python {platform.python_version()}", *(f"{name} {version(name)}" for name in _LIBRARIES)]
    return (*facts, f"load {load():.1f} while it ended ({'quiet' if load() < QUIET + 1 else 'not quiet'})")


def load() -> float:
    """How many processes wanted a core in the last minute; 0 where the system does not tell."""
    return os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0


def _processor() -> str:
    return _first("/proc/cpuinfo", "model name") or platform.processor() or "unknown make"


def _memory_gib() -> float:
    return float((_first("/proc/meminfo", "MemTotal") or "0 kB").split()[0]) / 2**20


def _first(path: str, key: str) -> str | None:
    """What stands behind the first ``key:`` of a file of the system."""
    if not Path(path).is_file():
        return None
    lines = Path(path).read_text(encoding="utf-8", errors="replace").splitlines()
    return next((line.partition(":")[2].strip() for line in lines if line.startswith(key)), None)
