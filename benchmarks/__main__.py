"""Prints every ratio, one line each."""

from __future__ import annotations

from itertools import chain

from benchmarks.reading import reading_ratios
from benchmarks.trials import ratios

if __name__ == "__main__":
    for line in chain(reading_ratios(), ratios()):
        print(line, flush=True)
