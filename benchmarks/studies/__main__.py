"""``python -m benchmarks.studies --sizes 200,2000,10000``: what nothing new, one new delivery and a question cost.

The demonstration without one delivery is taken in (a minute), then multiplied until it has about so many trials, and
its warehouse and pages are made. Every run is the real command in a process of its own. The ten questions are asked of
the largest study. ``--keep FOLDER`` keeps what was made, and takes the demonstration from there if it is there.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from tempfile import TemporaryDirectory

from benchmarks.studies.measure import Size, answered, measure

SIZES = (200, 2_000, 10_000)


def main() -> None:
    """Measure and tell, line by line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.studies", description=__doc__)
    parser.add_argument("--sizes", default=",".join(map(str, SIZES)), help="numbers of trials, with commas between")
    parser.add_argument("--keep", type=Path, help="a folder to work in")
    given = parser.parse_args()
    sizes = [int(size) for size in given.sizes.split(",")]
    with TemporaryDirectory(prefix="manystrides-studies-") as folder:
        place = given.keep or Path(folder)
        measured: list[Size] = []
        for size in sizes:
            measured.append(measure(place, size))
            print(*(row.line() for row in measured[-1].rows()), sep="\n", flush=True)
        print(*(row.line() for row in answered(measured[-1]).rows()), sep="\n", flush=True)


if __name__ == "__main__":
    main()
