"""Every table of a page is there as CSV, in the page itself, as programs read it."""

from __future__ import annotations

import csv
import io
import re
from itertools import chain
from urllib.parse import unquote

from hypothesis import given
from hypothesis import strategies as st
from markupsafe import escape

from pipelines.pages.table_csv import UTF8_MARK, csv_of, harmless, with_csv


def rows(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


def table(cells: list[list[str]]) -> str:
    return "<table>" + "".join("<tr>" + "".join(f"<td>{c}</td>" for c in row) + "</tr>" for row in cells) + "</table>"


def test_numbers_are_as_programs_read_them_and_what_stands_small_follows_after_a_semicolon() -> None:
    cells = [["−0.0074 s <span class='minor'>−0.0087 to −0.0061</span>", "1,506", "−12", "a<br>b"]]
    assert rows(csv_of(table(cells))) == [["'-0.0074 s; -0.0087 to -0.0061", "1506", "-12", "a; b"]]


def test_drawings_are_left_out_and_a_cell_over_two_columns_leaves_the_second_empty() -> None:
    cells = "<table><tr><th colspan='2'>wide<svg><text>drawn</text></svg></th><th>next</th></tr></table>"
    assert rows(csv_of(cells)) == [["wide", "", "next"]]


@given(st.lists(st.lists(st.text(st.characters(exclude_categories=["C"])), min_size=2, max_size=3), min_size=1))
def test_whatever_stands_in_a_table_comes_out_of_the_link_and_is_no_formula(cells: list[list[str]]) -> None:
    page = with_csv("<h2>Site &amp; visit</h2>" + table([[str(escape(c)) for c in row] for row in cells]))
    (link,) = re.findall(r'<a download="site-visit.csv" href="data:text/csv;charset=utf-8,([^"]*)">', page)
    found = rows(unquote(link).removeprefix(UTF8_MARK))
    assert [len(row) for row in found] == [len(row) for row in cells]
    for was, now in zip(chain(*cells), chain(*found), strict=True):
        assert "".join(was.replace("−", "-").split()).replace(",", "") in "".join(now.split()).replace(",", "")
        assert now == harmless(now)
        assert now[:1] not in ("=", "@")


def test_two_tables_below_one_heading_have_two_names() -> None:
    page = with_csv("<h1>Page</h1><h2>Sites</h2><table></table><p>between</p><table></table>")
    assert re.findall(r'download="([^"]+)"', page) == ["sites.csv", "sites-2.csv"]
    assert page.index("between") > page.index("sites.csv")
