"""Measures coverage, type I error, power and bias of every method of the pool; with --write the page as well."""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from benchmarks.coverage.adjusted import Adjusted, adjusted_cells, measure_adjusted
from benchmarks.coverage.curve import Curved, curved_cells, measure_curved
from benchmarks.coverage.dose import Dosed, measure_dosed
from benchmarks.coverage.dose import cells as dosed_cells
from benchmarks.coverage.measure import Measured, measure
from benchmarks.coverage.page import PAGE, page
from benchmarks.coverage.studies import Cell, cells


def _each(cell: Cell | Adjusted | Dosed | Curved, studies: int) -> dict[str, Measured]:
    if isinstance(cell, Dosed):
        return measure_dosed(cell, studies)
    if isinstance(cell, Curved):
        return measure_curved(cell, studies)
    return measure(cell, studies) if isinstance(cell, Cell) else measure_adjusted(cell, studies // 2)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m benchmarks.coverage", description=__doc__)
    parser.add_argument("--studies", type=int, default=2000, help="how many of each kind")
    parser.add_argument("--only", default="", help="only kinds with this in their name")
    parser.add_argument("--workers", type=int, default=2, help="processes")
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    asked = parser.parse_args()
    chosen = [
        cell for cell in (*cells(), *adjusted_cells(), *dosed_cells(), *curved_cells()) if asked.only in cell.name
    ]
    measured = {}
    with ProcessPoolExecutor(asked.workers) as workers:
        for cell, found in zip(chosen, workers.map(partial(_each, studies=asked.studies), chosen), strict=True):
            measured[cell.name] = found
            for one in found.values():
                rates = f"coverage {one.coverage:.3f} type I {one.type_1:.3f} power {one.power:.2f}"
                print(f"{cell.name:60} {one.method:40} {rates} bias {one.bias:+.3f} width {one.width:.2f}", flush=True)
    if asked.write:
        PAGE.write_text(page(measured, chosen, asked.studies), encoding="utf-8", newline="\n")
