"""The pages in a real browser, at the width of a phone and of a desk: nothing sticks out to the side.

A page of the test's own shows each in a frame of that width and measures it from outside.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from pipelines.pages import write_pages
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.test_pages import hostile_rows

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--allow-file-access-from-files",
    "--virtual-time-budget=20000",
]
pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no Chromium on this machine, so pages cannot be measured; .ci/run installs it"
)

_MEASURE = """<!doctype html><meta charset="utf-8"><body><pre id="out"></pre><script>
const pages = PAGES, out = [];
async function measure(page, width) {
  const frame = document.createElement("iframe");
  frame.style.cssText = `border:0;width:${width}px;height:844px`;
  frame.src = page;
  const loaded = new Promise(done => frame.onload = done);
  document.body.append(frame);
  await loaded;
  const doc = frame.contentDocument, root = doc.documentElement;
  const small = [...doc.querySelectorAll("main svg text")].filter(t => t.getBoundingClientRect().height > 0)
    .map(t => t.getBoundingClientRect().height);
  out.push({page, width, shown: root.scrollWidth, room: root.clientWidth, text: doc.body.innerText.length,
    lowest: small.length ? Math.min(...small.filter(h => h > 0)) : null});
  frame.remove();
}
(async () => {
  for (const page of pages) for (const width of [320, 390, 768, 1280]) await measure(page, width);
  document.getElementById("out").textContent = JSON.stringify(out);
})();
</script>"""


def told_by_browser(folder: Path, page: str) -> Any:
    """What a page of a test's own wrote as JSON into its element ``out``."""
    wrapper = folder / "measure.html"
    wrapper.write_text(page, encoding="utf-8")
    done = subprocess.run(
        [str(CHROMIUM), *FLAGS, f"--user-data-dir={folder / 'profile'}", "--dump-dom", wrapper.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    found = re.search(r'<pre id="out">(.+?)</pre>', done.stdout, re.DOTALL)
    assert found, done.stdout[:500] + done.stderr[-500:]
    return json.loads(unescape(found[1]))


def measured(folder: Path, pages: list[Path]) -> list[dict]:
    return told_by_browser(folder, _MEASURE.replace("PAGES", json.dumps([p.as_uri() for p in pages])))


@pytest.mark.parametrize("rows", [small.example, hostile_rows], ids=["usual", "hostile"])
def test_no_page_is_wider_than_the_screen_and_chart_labels_stay_readable(rows, tmp_path: Path) -> None:
    places = small.Places(tmp_path / "pages", small.build(tmp_path / "warehouse.duckdb", rows()))
    write_pages(places, small.loaded_study())
    pages = sorted(places.folder.rglob("*.html"))
    seen = measured(tmp_path, pages)
    assert len(seen) == 4 * len(pages)
    assert all(row["text"] > 300 for row in seen), "a page did not load"
    assert not [row for row in seen if row["shown"] > row["room"]]
    assert not [row for row in seen if row["lowest"] is not None and row["width"] >= 390 and row["lowest"] < 9]


def test_the_measurement_finds_a_page_that_is_too_wide(tmp_path: Path) -> None:
    wide = tmp_path / "wide.html"
    wide.write_text('<!doctype html><div style="width:700px">wide</div>')
    assert [row["width"] for row in measured(tmp_path, [wide]) if row["shown"] > row["room"]] == [320, 390]
