"""``python -m benchmarks.recovery [--trials N] [--write]``: outcomes beside their simulated truth, and the group of
runners beside real ones.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

from benchmarks.detection.specimens import CONDITIONS, SITES, Case
from benchmarks.recovery.compared import bouts, compared
from benchmarks.recovery.groups import simulated
from benchmarks.recovery.page import PAGE, lines, page

if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m benchmarks.recovery", description=__doc__)
    parser.add_argument("--trials", type=int, default=40, help="of each laboratory")
    parser.add_argument("--workers", type=int, default=2, help="processes")
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    asked = parser.parse_args()
    cases = [Case(n, site, muscles=True, second=True) for site in SITES for n in range(asked.trials)]
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn")) as workers:
        seen = list(workers.map(compared, cases, chunksize=5))
    gas = list(bouts(SITES, CONDITIONS))
    for one in lines([*(value for own in seen for value in own.values), *gas]):
        print(
            f"{one.outcome:50} n {one.count:5} true {one.true_mean:9.3f} bias {one.bias:+9.4f} SD {one.sd:8.4f} "
            f"u {one.uncertainty:8.4f} within 1 u {one.one:.2f}, 2 u {one.two:.2f}"
        )
    text = page(seen, gas, simulated())
    if asked.write:
        PAGE.write_text(text, encoding="utf-8", newline="\n")
