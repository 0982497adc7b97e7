"""The pages in a real browser: they fit every screen, keep quiet, are usable by keyboard, and print well."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any, Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from pipelines.pages import write_pages
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.conftest import Windows
from tests.pipelines.pages.test_pages import hostile_rows

_WIDTHS = (320, 390, 768, 1280)
_MEASURED = """() => {
  const root = document.documentElement, sizes = [], shown = (e) => e.getClientRects().length > 0;
  for (const e of document.querySelectorAll("body *:not(svg *)"))
    if (shown(e) && [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())) sizes.push(parseFloat(getComputedStyle(e).fontSize));
  const scale = (t) => { const m = t.getScreenCTM(); return Math.hypot(m.a, m.b); };
  const labels = [...document.querySelectorAll("main svg text")].filter((t) => t.getBoundingClientRect().height > 0)
    .map((t) => parseFloat(getComputedStyle(t).fontSize) * scale(t));
  const over = [];
  for (const drawing of document.querySelectorAll("main svg:not(svg svg)")) {
    const boxes = [...drawing.querySelectorAll("text")].map((t) => [t.textContent, t.getBoundingClientRect()]).filter((b) => b[1].height > 0);
    boxes.forEach(([said, a], i) => boxes.slice(i + 1).forEach(([other, b]) => {
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left), down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (across > 1 && down > 3) over.push(said + " on " + other);
    }));
  }
  return { over, shown: root.scrollWidth, room: root.clientWidth, text: document.body.innerText.length,
    label: labels.length ? Math.min(...labels) : null, type: Math.min(...sizes) };
}"""


@pytest.fixture(scope="module", params=[small.example, hostile_rows], ids=["usual", "hostile"])
def written(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """All pages of a study, those of the safety lead too."""
    folder = tmp_path_factory.mktemp("browsed")
    places = small.Places(folder / "pages", small.build(folder / "warehouse.duckdb", request.param()))
    write_pages(places, small.loaded_study())
    return sorted(folder.rglob("*.html"))


def measured(windows: Windows, pages: list[Path]) -> list[dict[str, Any]]:
    rows = []
    with windows.window() as desk:
        for path in pages:
            desk.open(path)
            for width in _WIDTHS:
                desk.page.set_viewport_size({"width": width, "height": 844})
                rows.append({"page": path.name, "width": width, **desk.page.evaluate(_MEASURED)})
        assert desk.quiet() == [], "a page asked a host, wrote to the console or ran a text"
    return rows


def test_pages_fit_every_screen_keep_their_letters_readable_and_ask_nothing_of_anybody(
    windows: Windows, written: list[Path]
) -> None:
    seen = measured(windows, written)
    assert len(seen) == len(_WIDTHS) * len(written)
    assert all(row["text"] > 300 for row in seen), "a page did not load"
    assert not [row for row in seen if row["shown"] > row["room"]]
    assert not [row for row in seen if row["label"] is not None and row["width"] >= 390 and row["label"] < 12]
    assert not [row for row in seen if row["type"] < 12]
    assert not [(row["page"], row["over"]) for row in seen if row["over"]], "words of a drawing lie on each other"


def test_the_measurement_finds_a_page_that_is_too_wide_and_one_that_calls_a_host(
    windows: Windows, tmp_path: Path
) -> None:
    wide = tmp_path / "wide.html"
    wide.write_text('<!doctype html><div style="width:700px">wide</div>')
    assert [row["width"] for row in measured(windows, [wide]) if row["shown"] > row["room"]] == [320, 390]
    wide.write_text(
        '<!doctype html><main><svg width="90"><text y="20">one</text><text x="9" y="22">two</text></svg></main>'
    )
    assert {tuple(row["over"]) for row in measured(windows, [wide])} == {("one on two",)}
    wide.write_text('<!doctype html><img src="http://127.0.0.1:9/a.png" onerror="alert(1)">calls')
    with windows.window() as desk:
        desk.open(wide)
        assert "http://127.0.0.1:9/a.png" in desk.asked
        assert desk.dialogs == ["1"]


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1280, "dark")])
def test_no_rule_for_accessible_pages_is_broken(
    windows: Windows, written: list[Path], width: int, scheme: Literal["light", "dark"]
) -> None:
    axe, broken = Axe(), []
    with windows.window(width, color_scheme=scheme) as desk:
        for path in written:
            desk.open(path)
            found = axe.run(desk.page).response
            assert len(found["passes"]) > 5, "the rules did not look at anything"
            broken += [(path.name, v["id"], v["nodes"][0]["html"][:160]) for v in found["violations"]]
    assert broken == []


def test_the_rules_find_a_picture_without_words(windows: Windows, tmp_path: Path) -> None:
    bad = tmp_path / "bad.html"
    bad.write_text('<!doctype html><html lang="en"><title>t</title><main><h1>h</h1><img src="data:,"></main>')
    with windows.window() as desk:
        assert [v["id"] for v in Axe().run(desk.open(bad)).response["violations"]] == ["image-alt"]


def _everything_for_keys(page: Page) -> int:
    return int(
        page.evaluate(
            """() => [...document.querySelectorAll("a[href], summary, select, input, button, [tabindex='0']")]
            .filter((e) => e.checkVisibility()).length"""
        )
    )


def test_all_that_can_be_used_is_reached_by_the_keyboard_and_shows_where_it_is(
    windows: Windows, written: list[Path]
) -> None:
    for path in [p for p in written if p.name in ("index.html", "worklist.html")]:
        with windows.window() as desk:
            page = desk.open(path)
            page.keyboard.press("Tab")
            assert page.evaluate("document.activeElement.className") == "skip"
            reached = 1
            while reached < 2000:
                page.keyboard.press("Tab")
                now = page.evaluate(
                    """() => { const e = document.activeElement, s = getComputedStyle(e);
                    return e === document.body ? null : s.outlineStyle + " " + s.outlineWidth; }"""
                )
                if now is None:
                    break
                assert now == "solid 3px", path.name
                reached += 1
            assert reached >= _everything_for_keys(page), path.name


def test_a_copied_folder_works_from_another_place(windows: Windows, written: list[Path], tmp_path: Path) -> None:
    pages = next(path for path in written if path.name == "worklist.html").parent
    copied = shutil.copytree(pages, tmp_path / "a place with spaces ü")
    with windows.window() as desk:
        page = desk.open(copied / "index.html")
        with page.expect_download() as begun:
            page.click("a[download]")
        saved = begun.value.path().read_text(encoding="utf-8-sig")
        assert saved.splitlines()[0].startswith("Site,"), "a table comes out of the page itself"
        names = page.eval_on_selector_all("main a[href]:not([download])", "all => all.map((a) => a.href)")
        assert len(names) > 5
        for name in {name.partition("#")[0] for name in names}:
            assert page.goto(name) is not None
            assert "a%20place" in page.url
            assert page.locator("h1").count() == 1
        assert desk.quiet() == []


def test_a_sheet_with_one_finding_prints_on_one_page_and_in_dark_ink_on_white(windows: Windows, tmp_path: Path) -> None:
    places = small.Places(tmp_path / "pages", small.build(tmp_path / "warehouse.duckdb", small.example()))
    write_pages(places, small.loaded_study())
    (sheet,) = [p for p in (places.folder / "fix").iterdir() if p.stem.startswith("drift")]
    with windows.window(color_scheme="dark") as desk:
        page = desk.open(sheet)
        printed = page.pdf(format="A4", print_background=True)
        assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
        page.emulate_media(media="print")
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
