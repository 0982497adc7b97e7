"""``python -m benchmarks [PART ...] [--write]``: measures, tells, and with --write keeps for docs/reference/speed.md.

A part is a module with a function ``measured``, which returns a ``benchmarks.measured.Part``. Parts that are not
measured now stay on the page as they were.
"""

from __future__ import annotations

import argparse
from importlib import import_module

from benchmarks.page import PAGE, kept, told, write

#: Name -> module, in the order of the page.
PARTS = {
    "trials": "benchmarks.trials",
    "cores": "benchmarks.cores",
    "reading": "benchmarks.reading",
    "books": "benchmarks.books",
    "demo": "benchmarks.demo",
    "studies": "benchmarks.studies.measure",
}


def main() -> None:
    """Measure the parts that were asked for, or all."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"some of {', '.join(PARTS)}; all if none is named")
    parser.add_argument("--write", action="store_true", help="write docs/reference/speed.md and its results")
    given = parser.parse_args()
    if unknown := set(given.parts) - set(PARTS):
        parser.error(f"no part is called {', '.join(sorted(unknown))}")
    found = kept()
    for name in given.parts or PARTS:
        found[name] = import_module(PARTS[name]).measured()
        print("\n".join(told(found[name])), flush=True)
    if given.write:
        write({name: found[name] for name in PARTS if name in found})
        print(f"written: {PAGE}")


if __name__ == "__main__":
    main()
