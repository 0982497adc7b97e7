"""The worklist: what waits for whom, with its reason and its command; as a page, as CSV, and narrowed in a browser."""

from __future__ import annotations

import csv
import re
import shlex
from pathlib import Path

from pipelines.pages.completeness import completeness
from pipelines.pages.facts import read_facts
from pipelines.pages.worklist import CSV_HEAD, Worklist, new_in, worklist
from tests.command_line import command
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.conftest import Windows
from tests.pipelines.pages.reading_html import read
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
    assert new_in(found.send) == 1


def test_what_is_complete_is_counted_against_the_planned_runners_and_more_than_planned_fills_no_other_cell(
    tmp_path: Path,
) -> None:
    standings = [
        {**small.standing("mill-001", f"T{n}", "accepted"), "participant_id": f"P{n}", "visit": "first", "kind": "running",
         "condition": "shod" if n < 4 else "unshod"}
        for n in range(1, 5)
    ]  # fmt: skip
    rows = small.merged(
        small.study_rows(), {"deliveries": [small.delivery("mill-001", "mill", 1)], "standings": standings}
    )
    facts = read_facts(small.build(tmp_path / "warehouse.duckdb", rows), small.loaded_study().study)
    grid = completeness(facts, ["mill", "way"], {"mill": {"first": {"shod": 2, "unshod": 2}, "last": {"shod": 5}}})
    assert (grid.reached, grid.planned) == (2 + 1, 2 + 2 + 5)
    assert [(cell.planned, len(cell.runners)) for cell in grid.rows[0][2]] == [(2, 3), (2, 1)]
    assert all(cell.planned is None for site, _, cells in grid.rows if site == "way" for cell in cells)


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


def test_in_a_browser_the_lists_are_narrowed_and_sorted_and_ages_count_to_today(
    windows: Windows, tmp_path: Path
) -> None:
    path = write(tmp_path, small.example()) / "worklist.html"
    with windows.window() as desk:
        page = desk.open(path, "#site=mill")
        rows = page.locator("table[data-list] tbody tr")

        def shown() -> list[str]:
            return [row.locator("th").inner_text().split()[0] for row in rows.all() if row.is_visible()]

        assert set(shown()) == {"drift", "gap"}
        page.locator("[data-narrow] input").fill("NOBODY on it")
        assert shown() == ["drift"]
        ages = page.locator("[data-since]").all_text_contents()
        assert page.locator("output").inner_text() == f"1 of {len(ages)} rows"
        assert page.url.endswith("#site=mill&words=NOBODY+on+it")
        assert all(re.fullmatch(r"\d+ days|1 day|less than a day", age) for age in ages)
        page.locator("[data-narrow] input").fill("")
        page.get_by_label("Site").select_option("")
        assert len(page.locator("table[data-list] tbody tr:not([hidden])").all()) == len(ages)
        days = sorted({str(row.get_attribute("data-came")) for row in rows.all()})
        page.get_by_label("Came since").select_option(days[1])
        assert page.locator("tr[data-came]:not([hidden])").count() == sum(
            str(row.get_attribute("data-came")) >= days[1] for row in rows.all()
        )
        page.get_by_label("Came since").select_option("")
        page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
        table = page.locator("table[data-list]").last
        for order in (False, True):
            table.locator("th button").first.click()
            names = table.locator("tbody tr > :first-child").all_text_contents()
            assert names == sorted(names, reverse=order)
        assert desk.quiet() == []


def test_without_the_script_every_row_is_there_and_nothing_to_narrow_by_is_shown(tmp_path: Path) -> None:
    page = read(write(tmp_path, small.example()) / "worklist.html")
    (bar,) = [e for e in page.all("div") if "data-narrow" in e.attributes]
    assert "hidden" in bar.attributes
    rows = [
        row for table in page.all("table") if "data-list" in table.attributes for row in table.all("tbody")[0].all("tr")
    ]
    assert len(rows) == 5
    assert not [row for row in rows if "hidden" in row.attributes]
