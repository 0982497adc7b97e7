"""Beside every table of a page the same table as CSV, in the page itself: it goes wherever the page goes.

A link that carries its content needs no file beside the page, no network and no script. What a cell says in small
letters follows after a semicolon; drawings are left out.
"""

from __future__ import annotations

import csv
import io
import re
from html.parser import HTMLParser
from urllib.parse import quote

from markupsafe import Markup, escape

_TABLE = re.compile(r"<table\b.*?</table>", re.DOTALL)
_HEADING = re.compile(r"<h[1-4]\b[^>]*>(.*?)</h[1-4]>", re.DOTALL)
_TAG = re.compile(r"<[^>]+>")
#: Begins of a cell that a spreadsheet would take for a formula, and numbers, which may begin so.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d+)?")
_MOST_NAME = 60
#: Before a table's text, so that spreadsheets read its letters as UTF-8.
UTF8_MARK = "\ufeff"


def with_csv(page: str) -> Markup:
    """The content of a page, as HTML of ours, with a link to its CSV below each table."""
    done, at, title, names = [], 0, "Table", set[str]()
    for table in _TABLE.finditer(page):
        before = page[at : table.start()]
        if headings := _HEADING.findall(before):
            title = _plain(headings[-1])
        done += [before, table[0], _link(title, _file_name(title, names), csv_of(table[0]))]
        at = table.end()
    return Markup("".join([*done, page[at:]]))


def csv_of(table: str) -> str:
    """One table of HTML as CSV. No cell begins so that a spreadsheet would take it for a formula."""
    reader = _Reader()
    reader.feed(table)
    reader.close()
    text = io.StringIO()
    csv.writer(text).writerows([harmless(_number(cell)) for cell in row] for row in reader.rows if row)
    return text.getvalue()


def harmless(cell: str) -> str:
    """A cell that a spreadsheet shows and does not carry out."""
    return f"'{cell}" if cell.startswith(_FORMULA) and not _NUMBER.fullmatch(cell) else cell


class _Reader(HTMLParser):
    """Rows of cells as text; a cell over several columns leaves the others empty."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.rows: list[list[str]] = []
        self._parts: list[str] | None = None
        self._empty, self._drawing = 0, 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self._parts, self._empty = [], int(said.get("colspan") or 1) - 1
        elif tag == "svg":
            self._drawing += 1
        elif self._parts is not None and (tag in ("br", "p", "li", "div", "summary") or _small(said)):
            self._parts.append("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "svg":
            self._drawing -= 1
        elif tag in ("td", "th") and self._parts is not None:
            said = (" ".join(line.split()) for line in "".join(self._parts).split("\n"))
            self.rows[-1] += ["; ".join(filter(None, said)), *[""] * self._empty]
            self._parts = None

    def handle_data(self, data: str) -> None:
        if self._parts is not None and not self._drawing:
            self._parts.append(data.replace("\n", " "))


def _small(said: dict[str, str | None]) -> bool:
    return "minor" in (said.get("class") or "").split()


def _number(cell: str) -> str:
    """A number as programs read it: one minus of the keyboard, no commas between thousands."""
    plain = cell.replace("−", "-")
    return plain.replace(",", "") if _THOUSANDS.fullmatch(plain) else plain


def _link(title: str, name: str, content: str) -> str:
    data = "data:text/csv;charset=utf-8," + quote(UTF8_MARK + content)
    hidden = f'<span class="hidden">: {escape(title)}</span>'
    return f'<p class="ascsv"><a download="{name}" href="{data}">This table as CSV{hidden}</a></p>'


def _file_name(title: str, taken: set[str]) -> str:
    stem = re.sub(r"[^a-z0-9]+", "-", title.casefold()).strip("-")[:_MOST_NAME].rstrip("-") or "table"
    name, number = stem, 1
    while name in taken:
        number += 1
        name = f"{stem}-{number}"
    taken.add(name)
    return f"{name}.csv"


def _plain(html: str) -> str:
    return " ".join(str(Markup(_TAG.sub("", html)).unescape()).split())
