"""Prints every ratio, one line each; and what the books cost at 10,000 trials."""

from __future__ import annotations

from itertools import chain

from benchmarks.books import books_lines
from benchmarks.reading import reading_ratios
from benchmarks.trials import ratios

if __name__ == "__main__":
    for line in chain(reading_ratios(), ratios(), books_lines()):
        print(line, flush=True)
