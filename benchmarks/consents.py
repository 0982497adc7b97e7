"""``python -m benchmarks.consents``: 10,000 random consent histories before the gate, and 10,000 malformed ones.

Exit code 1 if one leaks.

``--bytes N`` takes N deliveries of 12 runners each the whole way as well, freezes a release, withdraws some runners by
command, freezes another, and searches every byte and value of the depot and its releases.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from tests.trust.consents_in_bytes import search
from tests.trust.test_random_consents import RUNNERS_EACH, examine

DELIVERIES = 500


def main() -> int:
    """Print what was kept out and what passed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bytes", type=int, default=0, metavar="N", help="deliveries to take the whole way")
    asked = parser.parse_args()
    for spoilt, what in ((False, "histories"), (True, "malformed histories")):
        try:
            kept_out, passed = examine(DELIVERIES, spoilt=spoilt)
        except AssertionError as leak:
            print(f"What passed of {what} is not what may pass: {leak}")
            return 1
        told = ", ".join(f"{count} {name}" for name, count in passed.items())
        count = DELIVERIES * RUNNERS_EACH
        print(f"{count} {what}: {kept_out} runners' trials kept out; passed: {told}; unconsented: 0.")
    return _bytes(asked.bytes) if asked.bytes else 0


def _bytes(deliveries: int) -> int:
    with tempfile.TemporaryDirectory(prefix="manystrides-consents-") as folder:
        done = search(Path(folder), deliveries, seed=20261125, withdrawals=3)
    print(
        f"{deliveries} deliveries with {done.histories} histories taken whole, {done.withdrawn} withdrawn by command, "
        f"{done.files} live files searched, {done.kept} runners' trials rightly kept, {len(done.leaks)} leaks."
    )
    for leak in done.leaks:
        print(f"  {leak}")
    return 1 if done.leaks else 0


if __name__ == "__main__":
    sys.exit(main())
