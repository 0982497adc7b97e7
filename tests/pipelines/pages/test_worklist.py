"""The worklist: what waits for whom, with its reason and its command; as a page, as CSV, and narrowed in a browser."""

from __future__ import annotations

import csv
import re
import shlex
from dataclasses import replace
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

from pipelines.pages import write_pages
from pipelines.pages.completeness import completeness
from pipelines.pages.facts import read_facts
from pipelines.pages.typed import Typed
from pipelines.pages.worklist import CSV_HEAD, Worklist, new_in, worklist
from tests.command_line import command
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.conftest import Windows
from tests.pipelines.pages.reading_html import read
from tests.pipelines.pages.test_pages import SAYS, hostile_rows, write


def of(tmp_path: Path, rows: small.Rows) -> Worklist:
    facts = read_facts(small.build(tmp_path / "warehouse.duckdb", rows), small.loaded_study().study)
    return worklist(facts, Typed(Path("/srv/the depot"), Path("/srv/study.yaml")))


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
        "--study", "/srv/study.yaml", "--depot", "/srv/the depot",
    ]  # fmt: skip
    done = command(*words[1:])
    assert "/srv/study.yaml" in done.stderr, "the command is understood, and fails only since there is no such study"


def test_a_parcel_holds_no_command_and_no_place_of_the_depot(tmp_path: Path) -> None:
    facts = read_facts(small.build(tmp_path / "warehouse.duckdb", small.example()), small.loaded_study().study)
    assert not [row for row in worklist(facts).waiting if row.commands]


def test_a_bag_in_another_sites_inbox_is_the_data_managers_to_decide(tmp_path: Path) -> None:
    bag = small.delivery("misplaced-bag", "way", None, "stopped", named_site="mill")
    found = of(tmp_path, small.merged(small.study_rows(), {"deliveries": [bag]}))
    assert [(row.delivery_id, row.site, row.named_site) for row in found.decide] == [("misplaced-bag", "way", "mill")]
    assert found.send == ()


def test_a_stopped_delivery_waits_no_longer_when_its_content_was_taken_in(tmp_path: Path) -> None:
    stopped = small.delivery("way-unnumbered-bag", "way", None, "stopped")
    rows = {"deliveries": [stopped, small.delivery("way-001", "way", 1)]}
    assert len(of(tmp_path, small.merged(small.study_rows(), rows)).send) == 1
    rows["deliveries"][1]["fingerprint_sha256"] = stopped["fingerprint_sha256"]
    (tmp_path / "b").mkdir()
    assert of(tmp_path / "b", small.merged(small.study_rows(), rows)).waiting == ()


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
    with (folder / "worklist.csv").open(encoding="utf-8-sig", newline="") as stream:
        told = list(csv.DictReader(stream))
    assert tuple(told[0]) == CSV_HEAD
    (row,) = [row for row in told if row["task"] == "send" and row["trial_id"]]
    assert row["trial_id"] == "'=HYPERLINK('x'); rm -rf $HOME"
    assert shlex.split(row["command"].partition("; manystrides")[0])[2] == "=HYPERLINK('x'); rm -rf $HOME"


def test_texts_that_wait_for_a_look_are_to_decide_with_the_command_that_lists_them(tmp_path: Path) -> None:
    places, loaded = small.Places(tmp_path / "pages", tmp_path / "warehouse.duckdb"), small.loaded_study()
    small.build(places.warehouse, small.study_rows())
    facts = replace(read_facts(places.warehouse, loaded.study), held_texts=2)
    folder = write_pages(places, loaded, facts=facts).parent
    page = read(folder / "worklist.html").words
    assert "To decide (2)" in page
    assert "2 texts of deliveries wait for a look: they are shown nowhere" in page
    assert f"manystrides texts list --depot {tmp_path}" in page
    assert "2 to decide" in read(folder / "index.html").words


def test_a_table_for_a_spreadsheet_begins_with_the_mark_that_makes_its_letters_right(tmp_path: Path) -> None:
    folder = write(tmp_path, small.example())
    assert (folder / "worklist.csv").read_bytes().startswith(b"\xef\xbb\xbftask,")
    page = (folder / "worklist.html").read_text(encoding="utf-8")
    assert page.count("data:text/csv;charset=utf-8,%EF%BB%BF") == page.count("data:text/csv") > 1


def test_in_a_browser_an_address_keeps_what_is_narrowed_sorted_and_led_to(windows: Windows, tmp_path: Path) -> None:
    again = [
        small.standing("mill-001", "again", "returned", superseded=True),
        small.standing("mill-003", "again", "accepted"),
    ]
    rows = small.merged(
        small.example(),
        {"deliveries": [small.delivery("mill-003", "mill", 3)], "standings": again,
         "findings": [small.finding("a1", "mill-001", "again", "marker_gaps_are_short")]},
    )  # fmt: skip
    path = write(tmp_path, rows) / "worklist.html"
    with windows.window() as desk:
        page = desk.open(path)

        def shown() -> set[str]:
            found = page.locator("table[data-list] tbody tr:not([hidden]) > th").all_text_contents()
            return {text.split()[0] for text in found}

        def narrowed() -> dict[str, str]:
            return dict(parse_qsl(urlsplit(page.url).fragment))

        assert "again" in shown(), "what is done is in the lists, too"
        page.get_by_label("Reason").select_option(SAYS["marker_gaps_are_short"])
        gaps = shown()
        assert {"again", "gap"} <= gaps
        assert "drift" not in gaps
        page.locator("nav a[href='#send']").click()
        page.wait_for_function("location.hash.includes('at=send')")
        assert shown() == gaps, "a link within the page leaves what is narrowed"
        page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
        page.locator("table[data-list] th[data-key=trial] button").last.click()
        page.locator("table[data-list] th[data-key=trial] button").last.click()
        kept = narrowed()
        assert kept == {
            "check": SAYS["marker_gaps_are_short"], "sort": "trial", "order": "down", "at": "send",
        }  # fmt: skip
        page.reload()
        assert (shown(), narrowed()) == (gaps, kept)
        assert set(page.locator("th[data-key=trial]").evaluate_all("all => all.map((e) => e.ariaSort)")) == {
            "descending"
        }
        page.evaluate("location.hash = 'site=way&came=2031-01-01'")
        page.wait_for_function("document.querySelector('output').textContent.startsWith('0 of')")
        assert narrowed() == {"site": "way", "came": "2031-01-01"}, "what no row has is not forgotten"
        page.evaluate("location.hash = 'subject=P1'")
        page.wait_for_function("!document.querySelector('output').textContent.startsWith('0 of')")
        assert shown() == {"again", "old"}, "the trials of one runner"
        page.evaluate("location.hash = 'waiting=7'")
        page.wait_for_function("document.querySelector('output').textContent")
        assert "again" not in shown(), "what is done does not wait"
        assert "gap" in shown()
        visits = page.get_by_label("Visit").locator("option").all_text_contents()
        assert visits[:2] == ["all", "first (week 0)"], "in the order of the plan"
        assert desk.quiet() == []


def test_in_a_browser_the_lists_are_narrowed_and_sorted_and_ages_count_to_today(
    windows: Windows, tmp_path: Path
) -> None:
    path = write(tmp_path, small.example()) / "worklist.html"
    with windows.window() as desk:
        page = desk.open(path, "#site=mill")
        rows = page.locator("table[data-list] tbody tr")

        def shown() -> list[str]:
            return [row.locator("th").inner_text().split()[0] for row in rows.all() if row.is_visible()]

        assert set(shown()) == {"drift", "gap", "old"}
        page.locator("[data-narrow] input").fill("NOBODY on it")
        assert shown() == ["drift"]
        ages = page.locator("[data-since]").all_text_contents()
        assert page.locator("output").inner_text() == f"1 of {rows.count()} rows"
        assert page.url.endswith("#site=mill&words=NOBODY+on+it")
        assert all(re.fullmatch(r"\d+ days|1 day|less than a day", age) for age in ages)
        page.locator("[data-narrow] input").fill("")
        page.locator("[data-narrow] select").first.select_option("")
        assert len(page.locator("table[data-list] tbody tr:not([hidden])").all()) == rows.count()
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
    assert len(rows) == 6
    assert not [row for row in rows if "hidden" in row.attributes]
