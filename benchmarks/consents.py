"""``python -m benchmarks.consents``: 10,000 random consent histories before the gate; exit code 1 if one leaks."""

from __future__ import annotations

import sys

from tests.trust.test_random_consents import RUNNERS_EACH, examine

DELIVERIES = 500


def main() -> int:
    """Print what was kept out and what passed."""
    try:
        kept_out, passed = examine(DELIVERIES)
    except AssertionError as leak:
        print(f"What passed is not what may pass: {leak}")
        return 1
    told = ", ".join(f"{count} {name}" for name, count in passed.items())
    print(
        f"{DELIVERIES * RUNNERS_EACH} histories: {kept_out} runners' trials kept out; passed: {told}; unconsented: 0."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
