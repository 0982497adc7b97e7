"""Makes the inbox of the demonstration: ``python -m demo_site_uploads.simulator.generate [--out DIR]``.

Running it again gives the same bytes. The older inbox is replaced only once the new one is whole.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from demo_site_uploads.simulator.labs import HERE
from demo_site_uploads.simulator.plan import deliveries


def generate(out: Path) -> Path:
    """Write all deliveries into ``out``/inbox; returns that folder."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=out) as work:
        fresh = Path(work) / "inbox"
        for delivery in deliveries():
            delivery.pack(fresh, Path(work))
        inbox = out / "inbox"
        if inbox.exists():
            inbox.rename(Path(work) / "older")
        fresh.rename(inbox)
    return inbox


def main(arguments: list[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description="Makes the invented deliveries of the demonstration.")
    parser.add_argument(
        "--out", type=Path, default=HERE, help="folder that gets the inbox (default: demo_site_uploads)"
    )
    inbox = generate(parser.parse_args(arguments).out)
    files = [p for p in inbox.rglob("*") if p.is_file()]
    print(f"{len(files)} files, {sum(p.stat().st_size for p in files) / 1e6:.2f} MB in {inbox}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
