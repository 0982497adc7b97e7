"""Decisions of a data manager and thresholds of one laboratory, as the pages show them."""

from __future__ import annotations

from pathlib import Path

import pytest

from checks.registry import catalogue
from pipelines.pages.decisions import own_thresholds
from pipelines.pages.facts import read_facts
from tests.builders import a_study
from tests.checks.test_limits import a_study_with
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.test_pages import read, table, write

CHECK = "plates_read_zero_unloaded"
THRESHOLD = next(iter(catalogue()[CHECK].limits))


def decided(delivery_id: str, trial: str, check: str = CHECK, **more: object) -> dict:
    return {
        "delivery_id": delivery_id,
        "trial_id": trial,
        "site": delivery_id.split("-")[0],
        "check_name": check,
        "finding_count": 1,
        "reason": f"Checked {trial} & <i>fine</i>.",
        "decided_by": "Ann Dale",
        "decided_utc": "2026-03-15T08:00:00+00:00",
        **more,
    }


def rows(*overrides: dict) -> small.Rows:
    return small.merged(small.example(), {"overrides": list(overrides)})


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    own = rows(
        decided("mill-002", "old"),
        decided("mill-002", "gap", "speed_keeps_to_the_protocol", reason="Not secret-trial, though."),
        decided("mill-002", "secret-trial"),
    )
    for row in own["standings"]:
        row["accepted_by_override"] = (row["delivery_id"], row["trial_id"]) == ("mill-002", "old")
    study = a_study_with({CHECK: {THRESHOLD: 12}}, mill={CHECK: {THRESHOLD: 14.5}})
    return write(tmp_path_factory.mktemp("decided"), own, sites=study.sites, limits=study.limits)


@pytest.mark.parametrize("page", ["checks.html", "sites/mill.html"])
def test_a_decision_is_shown_with_check_reason_name_and_day(pages: Path, page: str) -> None:
    old = [row for row in table(read(pages / page), "A data manager set") if row[0].startswith("old")]
    ((*_, why, who),) = old
    assert why == "Checked old & <i>fine</i>."
    assert who.split() == ["Ann", "Dale", "2026-03-15"]


def test_a_trial_that_still_goes_back_is_told_so_and_its_sheet_says_what_is_settled(pages: Path) -> None:
    (gap,) = [r for r in table(read(pages / "checks.html"), "A data manager set") if r[0].startswith("gap")]
    assert "goes back for another check" in gap[0]
    assert "the data manager set it aside" in read(pages / "fix" / "gap.html").words


def test_a_withheld_trial_is_named_neither_by_its_own_decision_nor_in_a_reason(pages: Path) -> None:
    for path in pages.rglob("*.html"):
        assert "secret-trial" not in path.read_text()
    assert "(a withheld trial)" in read(pages / "checks.html").words


def test_the_cell_of_a_runner_counts_trials_accepted_in_spite_of_a_finding(pages: Path) -> None:
    words = " ".join(read(pages / "sites" / "mill.html").words.split())
    assert "1 in spite of a finding" in words
    assert "in spite of a finding" not in read(pages / "sites" / "way.html").words


def test_a_site_without_decisions_and_own_thresholds_has_no_such_part(pages: Path) -> None:
    words = read(pages / "sites" / "way.html").words
    assert "Accepted in spite" not in words
    assert "Thresholds of your own" not in words


def test_an_own_threshold_stands_beside_the_studys_with_reason_and_day(pages: Path) -> None:
    ((_, here, elsewhere, why, since),) = table(read(pages / "sites" / "mill.html"), "Set in the study file")
    assert here.split()[0] == "14.5"
    assert elsewhere.split()[0] == "12"
    assert (why, since) == ("x", "2026-03-02")


def test_without_a_threshold_of_the_study_the_default_is_the_usual_one() -> None:
    study = a_study_with(mill={CHECK: {THRESHOLD: 14.5}})
    (own,) = own_thresholds(study, "mill")
    assert own.usual == catalogue()[CHECK].defaults[THRESHOLD]
    assert own_thresholds(study, "way") == own_thresholds(study, "nowhere") == []


def test_the_newest_decision_comes_first(tmp_path: Path) -> None:
    own = rows(decided("mill-001", "old"), decided("mill-002", "old", decided_utc="2026-03-16T08:00:00+00:00"))
    facts = read_facts(small.build(tmp_path / "w.duckdb", own), a_study())
    assert [o.delivery_id for o in facts.set_aside] == ["mill-002", "mill-001"]
    assert [o.superseded for o in facts.set_aside] == [False, True]
