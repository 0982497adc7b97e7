"""What pages say about whole sites: notes, windows, control charts; on the site's page, the overview and their own."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.pages import write_pages
from pipelines.pages.charts.control import MOST_DRAWN, control_chart_drawing, summary
from pipelines.pages.whole_sites import Point
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.reading_html import Element, read

NOTE = "A site's runners have, in the middle, the outcomes of the other sites' runners"


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("whole")
    places = small.Places(folder / "pages", small.build(folder / "warehouse.duckdb", small.example()))
    return write_pages(places, small.loaded_study()).parent


def table(page: Element, caption: str) -> list[list[str]]:
    (found,) = [t for t in page.all("table") if t.all("caption")[0].words.startswith(caption)]
    return [[cell.words for cell in row.all("th", "td")] for row in found.all("tbody")[0].all("tr")]


def test_a_site_page_shows_its_note_with_the_sign_and_what_to_do(pages: Path) -> None:
    ((what, seen, remedy),) = table(read(pages / "sites" / "mill.html"), "What stands out")
    assert what == f"○ {NOTE} foot_strike_angle_deg, first, shod"
    assert seen == "Seen s-mill. Expected: Expected s-mill."
    assert remedy == "Remedy s-mill."
    assert "Nothing has been compared yet" in read(pages / "sites" / "way.html").words


def test_a_note_on_a_site_is_no_reason_for_return_and_stands_in_no_table_of_a_delivery(pages: Path) -> None:
    page = read(pages / "sites" / "mill.html")
    captions = [t.all("caption")[0].words for t in page.all("table") if "Seen s-mill." in t.words]
    assert captions == ["What stands out against the other sites or against earlier sessions."]


def test_the_overview_counts_notes_and_leads_to_the_page_of_expectations(pages: Path) -> None:
    page = read(pages / "index.html")
    assert "1 noted on whole sites" in page.words
    for place in ("index.html", "sites/mill.html"):
        assert [a for a in read(pages / place).all("a") if a.attributes["href"].endswith("expectations.html")], place


def test_the_page_of_expectations_shows_every_window_what_was_seen_and_what_could_not_be_judged(pages: Path) -> None:
    page = read(pages / "expectations.html")
    rows = table(page, "Median: window and what was seen")
    assert rows == [
        ["foot strike angle first, shod", "2", "16", "21.25", "deg", "▲ no"],
        ["foot strike angle first, shod", "2", "16", "9.5", "deg", "● yes"],
    ]
    assert "1 of 2 expectations not met" in page.words
    assert "skipped: fewer than 6 values" in page.words
    assert "Great Expectations 1.24" in page.words


def chart(page: Element, title: str) -> Element:
    return next(s for s in page.all("svg") if s.all("title") and s.all("title")[0].words.startswith(title))


def test_a_control_chart_says_in_words_what_it_draws(pages: Path) -> None:
    page = read(pages / "sites" / "mill.html")
    force = chart(page, "Force as a part of body weight").all("desc")[0].words
    assert "13 sessions between 0.996 and 1.041" in force
    assert "limits 0.99 and 1.01" in force
    assert "Beyond the limits: session 12 (1.04, above), session 13 (1.041, above)" in force
    assert "Too few sessions for limits" in chart(page, "Drift of the second clock").all("desc")[0].words
    rows = table(page, "13 sessions")
    assert rows[0][-2:] == ["1", "among the first"]
    assert rows[10][-2:] == ["1.001", "within"]
    assert rows[12][-2:] == ["1.041", "above"]


def points(values: list[float], *, with_limits: bool = True) -> list[Point]:
    limits = (1.0, 0.99, 1.01) if with_limits else (None, None, None)
    return [
        Point("mill", "force_scale_ratio", n, f"S{n}", "mill-001", value, "", *limits, n <= 10)
        for n, value in enumerate(values, 1)
    ]


def drawn(own: list[Point]) -> str:
    return str(control_chart_drawing(own, "c"))


def test_points_beyond_a_limit_differ_in_shape_and_not_only_in_colour() -> None:
    """A path drawn in the colour of a point beyond the limit is a triangle: no arc in it, unlike a ring or a dot."""
    steady, jumped = drawn(points([1.0] * 12)), drawn(points([1.0] * 10 + [1.05, 0.95]))
    red = [shape for shape in re.findall(r"<path [^>]*>", jumped) if "#D55E00" in shape]
    assert len(red) == 2
    assert not any("A" in re.search(r' d="([^"]*)"', shape)[1] for shape in red)  # type: ignore[index]
    assert "#D55E00" not in steady
    assert "limit" in steady
    assert "centre" in steady


def test_without_limits_none_are_drawn_or_told() -> None:
    own = points([1.0, 1.1, 0.9], with_limits=False)
    assert ">limit<" not in drawn(own)
    assert "Too few sessions for limits" in summary(own)


def test_sessions_the_limits_were_made_from_are_never_beyond_them() -> None:
    first = points([1.5, *[1.0] * 9])
    assert [p.beyond for p in first] == [None] * 10
    assert replace(first[0], is_baseline=False).beyond == "above"


def test_of_very_many_sessions_the_newest_are_drawn() -> None:
    many = points([1.0] * (MOST_DRAWN + 25))
    assert f"{MOST_DRAWN} sessions" in drawn(many)


@pytest.mark.parametrize("values", [[1.0], [1.0, 1.0], [0.0] * 12], ids=["one", "two the same", "all zero"])
def test_flat_and_short_charts_can_be_drawn(values: list[float]) -> None:
    assert drawn(points(values, with_limits=False)).startswith("<svg")
