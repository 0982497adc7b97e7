"""Measures coverage, type I error, power and bias of every method of the pool; with --write the page as well.

What was measured with the code as it is stays in ``.measured``: a run that was ended goes on where it was.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from benchmarks.coverage.adjusted import Adjusted, adjusted_cells, measure_adjusted
from benchmarks.coverage.curve import Curved, curved_cells, measure_curved
from benchmarks.coverage.dose import Dosed, measure_dosed
from benchmarks.coverage.dose import cells as dosed_cells
from benchmarks.coverage.kept import kept, sources_digest
from benchmarks.coverage.measure import measure
from benchmarks.coverage.page import PAGE, page
from benchmarks.coverage.rates import Measured
from benchmarks.coverage.studies import Cell, cells

_MEASURED_BY: Mapping[type, Callable[..., dict[str, Measured]]] = {
    Cell: measure,
    Adjusted: measure_adjusted,
    Dosed: measure_dosed,
    Curved: measure_curved,
}


def _each(
    cell: Cell | Adjusted | Dosed | Curved, studies: int, sources: Mapping[type, str]
) -> tuple[dict[str, Measured], float]:
    """What was found of a cell, and how many seconds of one core that took. sources: of the code, by kind of cell."""
    since, kind = time.process_time(), type(cell)
    count = studies // 2 if kind is Adjusted else studies
    found = kept(cell, count, sources[kind], partial(_MEASURED_BY[kind], cell, count))
    return found, time.process_time() - since


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m benchmarks.coverage", description=__doc__)
    parser.add_argument("--studies", type=int, default=2000, help="how many of each kind")
    parser.add_argument("--only", default="", help="only kinds with this in their name")
    parser.add_argument("--workers", type=int, default=2, help="processes")
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    asked = parser.parse_args()
    if asked.write and asked.only:
        parser.error("--write is of all kinds: without --only")
    chosen = [
        cell for cell in (*cells(), *adjusted_cells(), *dosed_cells(), *curved_cells()) if asked.only in cell.name
    ]
    measured = {}
    sources = {kind: sources_digest(own.__module__) for kind, own in _MEASURED_BY.items()}
    with ProcessPoolExecutor(asked.workers) as workers:
        each = workers.map(partial(_each, studies=asked.studies, sources=sources), chosen)
        for number, (cell, (found, seconds)) in enumerate(zip(chosen, each, strict=True), start=1):
            measured[cell.name] = found
            print(f"{number} of {len(chosen)}: {cell.name} ({seconds:.1f} s)", flush=True)
            for one in found.values():
                rates = f"coverage {one.coverage:.3f} type I {one.type_1:.3f} power {one.power:.2f}"
                print(f"    {one.method:40} {rates} bias {one.bias:+.3f} width {one.width:.2f}", flush=True)
    if asked.write:
        PAGE.write_text(page(measured, chosen, asked.studies), encoding="utf-8", newline="\n")
