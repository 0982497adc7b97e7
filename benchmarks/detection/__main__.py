"""``python -m benchmarks.detection [--full] [--check NAME ... [--clean]] [--write] [--real]``: faults that are seen."""

from __future__ import annotations

import argparse
import sys
import time

from benchmarks.detection.measure import (
    CLEAN_FULL,
    CLEAN_QUICK,
    FULL,
    QUICK,
    Result,
    measure,
    measured_in_real,
    wrong_findings,
)
from benchmarks.detection.page import PAGE, RESULTS, kept, merged, write
from checks.registry import catalogue


def main() -> int:
    """Measure, tell, and with --write keep; ends with code 1 if a check crashed."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.detection", description=__doc__)
    parser.add_argument("--full", action="store_true", help=f"{FULL} trials for each size instead of {QUICK}")
    parser.add_argument("--check", action="append", default=[], metavar="NAME", help="only this check; may be repeated")
    parser.add_argument("--clean", action="store_true", help="with --check: look at clean trials, too")
    parser.add_argument("--write", action="store_true", help="write docs/reference/detection.md and its results")
    parser.add_argument("--real", action="store_true", help="only the real recordings, into the results that are kept")
    given = parser.parse_args()
    if unknown := set(given.check) - set(catalogue()):
        parser.error(f"no check is called {', '.join(sorted(unknown))}")
    start = time.monotonic()
    if given.real:
        write(measured_in_real(kept(), lambda line: print(line, flush=True)))
        print(f"written: {PAGE} ({time.monotonic() - start:.0f} s)")
        return 0
    trials, amounts = (FULL, CLEAN_FULL) if given.full else (QUICK, CLEAN_QUICK)
    result = measure(trials, amounts, given.check, lambda line: print(line, flush=True), clean=given.clean)
    for where, name, weight, seen in wrong_findings(result):
        print(f"FALSE ALARM {where}: {name} ({weight}): {seen}")
    if given.write:
        write(merged(kept(), result) if given.check and RESULTS.exists() else result)
        print(f"written: {PAGE}")
    print(f"{time.monotonic() - start:.0f} s")
    return _told_of_crashes(result)


def _told_of_crashes(result: Result) -> int:
    crashed = [row["check"] for row in result["plants"] for one in row["sizes"] if one["crashed"]]
    crashed += [name for seen in (result["clean"], result["real_clean"]) for name in seen.get("crashed", ())]
    for name in sorted(set(crashed)):
        print(f"CRASHED {name}")
    return int(bool(crashed))


if __name__ == "__main__":
    sys.exit(main())
