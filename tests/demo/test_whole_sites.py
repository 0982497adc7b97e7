"""Checks of whole sites on the invented pool: exactly the planned findings, none without a fault, every check planted."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd

from checks.findings import Stamp
from checks.registry import Subject, catalogue
from demo_site_uploads.simulator.plan_pool import clean_pool, faulty_pool
from pipelines.pool.site_checks import check_sites
from pipelines.study.file import load_study

DEMO = Path(__file__).resolve().parents[2] / "demo_site_uploads"


def found(pool: dict[str, pd.DataFrame]) -> set[tuple[str, str, str]]:
    """(site, check, column) of every finding; no check may crash."""
    reports = check_sites(load_study(DEMO / "study.yaml").study, pool, Stamp("test", "1"))
    assert [r for report in reports.values() for r in report.runs if r.status == "crashed"] == []
    findings = [finding for report in reports.values() for finding in report.findings]
    return {(f.site, f.check_name, f.place.partition(",")[0]) for f in findings}


def expected() -> set[tuple[str, str, str]]:
    with (DEMO / "expected_site_findings.csv").open(newline="", encoding="utf-8") as lines:
        return {(row["site"], row["check_name"], row["place"]) for row in csv.DictReader(lines)}


def test_the_findings_about_whole_sites_are_exactly_the_planned_ones() -> None:
    seen = found(faulty_pool())
    assert seen - expected() == set(), "found but not planned"
    assert expected() - seen == set(), "planned but not found"


def test_without_faults_no_site_gets_a_note() -> None:
    assert found(clean_pool()) == set()


def test_every_check_of_whole_sites_has_a_planned_fault() -> None:
    assert {check for _, check, _ in expected()} == {n for n, s in catalogue().items() if s.about is Subject.SITE}
