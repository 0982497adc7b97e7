"""Long tables: every row stands somewhere, every page can be reached, and pages of which nothing changed stay."""

from __future__ import annotations

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from pipelines.pages import further, write_pages
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.test_pages import read, write

TRIALS, DELIVERIES = 310, 120


@given(st.integers(0, 2_000), st.sampled_from(sorted(further.TITLES)))
def test_every_row_stands_on_one_page_and_no_page_is_long(count: int, kind: str) -> None:
    table = further.split("mill", kind, range(count))
    pages = [table.rows, *(page.rows for page in table.further)]
    assert sorted(row for rows in pages for row in rows) == list(range(count))
    assert max(map(len, pages)) <= further.STAY + further.EACH
    assert all(page.rows for page in table.further)
    assert [(page.first, page.last) for page in table.further] == [
        (p.rows[0] + 1, p.rows[-1] + 1) for p in table.further
    ]


@given(st.integers(0, 1_000), st.integers(1, 300))
def test_a_new_delivery_changes_no_full_page_of_older_ones(before: int, more: int) -> None:
    old, new = (further.split("mill", "deliveries", range(n)) for n in (before, before + more))
    assert new.further[: len(old.further)] == old.further
    assert new.rows[-1] == before + more - 1, "the newest stands on the site's own page"


def large(deliveries: int = DELIVERIES) -> small.Rows:
    return small.merged(
        small.study_rows(),
        {
            "deliveries": [
                small.delivery(f"mill-{n:03d}", "mill", n, received_utc=f"2026-03-01T{n // 60:02d}:{n % 60:02d}:00Z")
                for n in range(1, deliveries + 1)
            ],
            "standings": [small.standing("mill-001", f"T{n:03d}", "returned") for n in range(TRIALS)],
            "findings": [
                small.finding(f"f{n}", "mill-001", f"T{n:03d}", "marker_gaps_are_short") for n in range(TRIALS)
            ],
        },
    )


def test_of_a_large_site_every_sheet_and_delivery_is_reached_and_only_what_changed_is_made_again(
    tmp_path: Path,
) -> None:
    folder = write(tmp_path, large())
    sites = folder / "sites"
    assert {p.name for p in sites.iterdir()} == {
        "mill.html", "mill-returns-2.html", "mill-returns-3.html", "mill-returns-4.html", "way.html",
    }  # fmt: skip
    linked = [a.attributes["href"] for p in sites.glob("mill*") for a in read(p).all("a")]
    assert sorted(set(linked) & {f"../fix/T{n:03d}.html" for n in range(TRIALS)}) == sorted(
        f"../fix/T{n:03d}.html" for n in range(TRIALS)
    )
    assert {"../sites/mill-returns-2.html", "../sites/mill-returns-3.html"} <= set(linked)
    words = read(folder / "worklist.html").words
    assert "100 of 310 stand here, the oldest; all are on the site's page and in worklist.csv." in words
    marked = b"<!-- not made again -->"
    for path in folder.rglob("*.html"):
        path.write_bytes(path.read_bytes() + marked)
    warehouse = small.build(tmp_path / "grown.duckdb", large(further.STAY + further.EACH + 1))
    write_pages(small.Places(folder, warehouse), small.loaded_study())
    kept = {p.name for p in sites.iterdir() if p.read_bytes().endswith(marked)}
    assert kept == {"mill-returns-2.html", "mill-returns-3.html", "mill-returns-4.html"}
    assert "mill-deliveries-2.html" in {p.name for p in sites.iterdir()}
    assert "mill-100" in read(sites / "mill-deliveries-2.html").words
