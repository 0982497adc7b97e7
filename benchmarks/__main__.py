"""Prints every ratio, one line each."""

from __future__ import annotations

from benchmarks.trials import ratios

if __name__ == "__main__":
    for line in ratios():
        print(line, flush=True)
