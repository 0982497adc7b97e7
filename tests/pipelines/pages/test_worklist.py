"""The worklist: what waits for whom, with its reason and its command; as a page, as CSV, and narrowed in a browser."""

from __future__ import annotations

import csv
import json
import re
import shlex
from pathlib import Path

import pytest

from pipelines.pages.facts import read_facts
from pipelines.pages.worklist import CSV_HEAD, Worklist, worklist
from tests.command_line import command
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.reading_html import read
from tests.pipelines.pages.test_browser import CHROMIUM, told_by_browser
from tests.pipelines.pages.test_pages import SAYS, hostile_rows, write


def of(tmp_path: Path, rows: small.Rows) -> Worklist:
    return worklist(read_facts(small.build(tmp_path / "warehouse.duckdb", rows), small.loaded_study().study))


def test_what_a_laboratory_can_mend_is_to_send_and_what_nobody_else_can_settle_is_to_decide(tmp_path: Path) -> None:
    found = of(tmp_path, small.example())
    assert {(row.trial_id or row.delivery_id, row.site) for row in found.send} == {
        ("drift", "mill"), ("gap", "mill"), ("way-002", "way"),
    }  # fmt: skip
    assert {row.trial_id or row.delivery_id for row in found.decide} == {"crash", "unknown-1"}
    assert not [row for row in (*found.decide, *found.noted) if row.commands]


def test_each_row_says_what_was_seen_and_expected_and_its_command_is_one_that_can_be_typed(tmp_path: Path) -> None:
    (drift,) = [row for row in of(tmp_path, small.example()).send if row.trial_id == "drift"]
    assert drift.finding is not None
    assert drift.finding.seen == "Plate 1 reads 180 N with nobody on it."
    assert drift.check == SAYS["plates_read_zero_unloaded"]
    words = shlex.split(drift.commands[0])
    assert words == [
        "manystrides", "accept", "drift", "--check", "plates_read_zero_unloaded", "--why", "REASON", "--as", "NAME",
    ]  # fmt: skip
    done = command(*words[1:], "--study", tmp_path / "nowhere.yaml")
    assert "nowhere.yaml" in done.stderr, "the command is understood, and fails only since there is no such study"


def test_the_oldest_comes_first_and_only_the_newest_day_is_new(tmp_path: Path) -> None:
    rows = small.merged(
        small.study_rows(),
        {
            "deliveries": [
                small.delivery("mill-002", "mill", 2, received_utc="2026-03-21T08:00:00+00:00"),
                small.delivery("mill-001", "mill", 1, received_utc="2026-03-01T08:00:00+00:00"),
            ],
            "standings": [
                small.standing("mill-002", "young", "returned"),
                small.standing("mill-001", "old", "returned"),
            ],
        },
    )
    found = of(tmp_path, rows)
    assert [(row.trial_id, row.is_new) for row in found.send] == [("old", False), ("young", True)]
    assert found.new == 1


def test_notes_on_accepted_trials_are_listed_and_what_was_set_aside_is_not(tmp_path: Path) -> None:
    rows = small.merged(
        small.study_rows(),
        {
            "deliveries": [small.delivery("mill-001", "mill", 1)],
            "standings": [small.standing("mill-001", "T1", "accepted"), small.standing("mill-001", "T2", "accepted")],
            "findings": [small.finding("f1", "mill-001", "T1", "marker_gaps_are_short", "notes")],
        },
    )
    assert [(row.trial_id, row.finding and row.finding.seen) for row in of(tmp_path, rows).noted] == [
        ("T1", "Seen f1.")
    ]


def test_a_hostile_id_is_one_word_of_its_command_and_no_formula_of_the_table(tmp_path: Path) -> None:
    rows = hostile_rows()
    rows["standings"][0]["trial_id"] = "=HYPERLINK('x'); rm -rf $HOME"
    for finding in rows["findings"]:
        if finding["trial_id"] is not None:
            finding["trial_id"] = "=HYPERLINK('x'); rm -rf $HOME"
    rows["check_runs"] = []
    folder = write(tmp_path, rows)
    with (folder / "worklist.csv").open(encoding="utf-8", newline="") as stream:
        told = list(csv.DictReader(stream))
    assert tuple(told[0]) == CSV_HEAD
    (row,) = [row for row in told if row["task"] == "send" and row["trial_id"]]
    assert row["trial_id"] == "'=HYPERLINK('x'); rm -rf $HOME"
    assert shlex.split(row["command"].partition("; manystrides")[0])[2] == "=HYPERLINK('x'); rm -rf $HOME"


_NARROWED = """<!doctype html><meta charset="utf-8"><pre id="out"></pre><script>
const frame = document.createElement("iframe");
frame.src = PAGE;
frame.onload = () => {
  const page = frame.contentDocument, rows = [...page.querySelectorAll("table[data-list] tbody tr")];
  const shown = () => rows.filter((row) => !row.hidden).map((row) => row.querySelector("th").innerText.split(" ")[0]);
  const out = { ages: [...page.querySelectorAll("[data-since]")].map((mark) => mark.textContent), first: shown() };
  const words = page.querySelector("[data-narrow] input");
  words.value = "NOBODY on it";
  words.dispatchEvent(new frame.contentWindow.Event("input"));
  Object.assign(out, { narrowed: shown(), said: page.querySelector("output").textContent, hash: frame.contentWindow.location.hash });
  words.value = "";
  words.dispatchEvent(new frame.contentWindow.Event("input"));
  const table = rows[rows.length - 1].closest("table"), button = table.querySelector("th button");
  const order = () => [...table.tBodies[0].rows].map((row) => row.cells[0].textContent.trim());
  button.click();
  out.up = order();
  button.click();
  out.down = order();
  document.getElementById("out").textContent = JSON.stringify(out);
};
document.body.append(frame);
</script>"""


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine; .ci/run installs it")
def test_in_a_browser_the_lists_are_narrowed_and_sorted_and_ages_count_to_today(tmp_path: Path) -> None:
    page = write(tmp_path, small.example()) / "worklist.html"
    out = told_by_browser(tmp_path, _NARROWED.replace("PAGE", json.dumps(f"{page.as_uri()}#site=mill")))
    assert {name.split()[0] for name in out["first"]} == {"drift", "gap"}
    assert [name.split()[0] for name in out["narrowed"]] == ["drift"]
    assert out["said"] == f"1 of {len(out['ages'])} rows"
    assert out["hash"] == "#site=mill&words=NOBODY+on+it"
    assert all(re.fullmatch(r"\d+ days|1 day|less than a day", age) for age in out["ages"])
    assert out["up"] == sorted(out["up"])
    assert out["down"] == sorted(out["down"], reverse=True)


def test_without_the_script_every_row_is_there_and_nothing_to_narrow_by_is_shown(tmp_path: Path) -> None:
    page = read(write(tmp_path, small.example()) / "worklist.html")
    (bar,) = [e for e in page.all("div") if "data-narrow" in e.attributes]
    assert "hidden" in bar.attributes
    rows = [
        row for table in page.all("table") if "data-list" in table.attributes for row in table.all("tbody")[0].all("tr")
    ]
    assert len(rows) == 5
    assert not [row for row in rows if "hidden" in row.attributes]
