"""How large and how high the pages of a depot are, in Debian's Chromium; exit code 1 if one is over an aim.

    .venv/bin/python -m benchmarks.page_sizes DEPOT [--of-each NUMBER]

Aims: below 1.5 MB, and below 3,000 px at 1280 px before anything is unfolded. Of folders with many pages the largest
are opened.
"""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Iterator
from pathlib import Path

from playwright.sync_api import sync_playwright

_MOST_BYTES, _MOST_PX, _WIDTH = 1_500_000, 3_000, 1280
_FOLDERS = ("sites", "deliveries", "checks", "fix")


def chosen(depot: Path, of_each: int) -> Iterator[Path]:
    """All pages at the top, the safety lead's, and the largest of each folder."""
    yield from sorted((depot / "pages").glob("*.html"))
    yield from sorted((depot / "safety").glob("*.html"))
    for folder in _FOLDERS:
        own = (depot / "pages" / folder).glob("*.html")
        yield from sorted(own, key=lambda page: -page.stat().st_size)[:of_each]


def main() -> int:
    """Print the table; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.page_sizes", description=__doc__)
    parser.add_argument("depot", type=Path)
    parser.add_argument("--of-each", type=int, default=5)
    given = parser.parse_args()
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    over = 0
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": _WIDTH, "height": 900})
        for path in chosen(given.depot, given.of_each):
            page.goto(path.resolve().as_uri())
            height, size = page.evaluate("document.documentElement.scrollHeight"), path.stat().st_size
            marks = [word for word, much in (("SIZE", size > _MOST_BYTES), ("HEIGHT", height > _MOST_PX)) if much]
            over += bool(marks)
            name = str(path.relative_to(given.depot))
            print(f"{name:60.60} {size / 1e3:8.0f} kB {height:7d} px  {' '.join(marks)}".rstrip())
        browser.close()
    print(f"{over} over an aim")
    return int(over > 0)


if __name__ == "__main__":
    raise SystemExit(main())
