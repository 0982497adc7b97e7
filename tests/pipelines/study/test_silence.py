"""A site is silent once nothing has come of it for longer than the study file plans, and not before."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from pipelines.depot.store import Store
from pipelines.pages.build import write_pages
from pipelines.pages.facts import read_facts
from pipelines.pages.letter import letter
from pipelines.pages.parcel import facts_of
from pipelines.pages.worklist import worklist
from pipelines.study.silence import Silent, silent_sites
from schemas.study import Study
from tests.pipelines.pages import small_warehouse as small

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def a_study(**days: int) -> Study:
    study = small.loaded_study().study
    sites = {n: site.model_copy(update={"silent_after_days": days.get(n)}) for n, site in study.sites.items()}
    return study.model_copy(update={"sites": sites})


def ago(**time: float) -> str:
    return (NOW - timedelta(**time)).isoformat()


@given(st.lists(st.floats(0, 200), min_size=1), st.integers(1, 100))
def test_the_newest_delivery_alone_decides(ages: list[float], planned: int) -> None:
    came = [("mill", ago(days=age)) for age in ages]
    silent = silent_sites(a_study(mill=planned), came, NOW)
    newest = datetime.fromisoformat(ago(days=min(ages)))
    assert [one.site for one in silent] == (["mill"] if NOW - newest > timedelta(days=planned) else [])


def test_a_site_without_a_plan_or_without_any_delivery_is_not_silent_and_an_unread_time_is_none() -> None:
    came = [("mill", ago(days=400)), (None, ago(days=1)), ("mill", "yesterday")]
    assert silent_sites(a_study(way=1), came, NOW) == ()
    (one,) = silent_sites(a_study(mill=30), came, NOW)
    assert (one.site, one.planned_days, one.since) == ("mill", 30, (NOW - timedelta(days=400)).date())


def test_the_overview_and_the_letter_of_that_site_alone_tell_it(tmp_path: Path) -> None:
    class Places:
        root = tmp_path
        pages, safety = Store.on_disk(tmp_path / "pages"), Store.on_disk(tmp_path / "safety")
        warehouse = small.build(tmp_path / "w.duckdb", small.example())

    loaded, quiet = small.loaded_study(), Silent("mill", NOW.date(), 30)
    facts = replace(read_facts(Places.warehouse, loaded.study), silent=(quiet,))
    page = write_pages(Places(), loaded, facts=facts).read_text(encoding="utf-8")
    assert "Nothing has come from mill since 2026-06-01" in page
    for site, told in (("mill", True), ("way", False)):
        own = facts_of(facts, site)
        text = " ".join(letter(own, worklist(own), site, "T", invented=False).split())
        assert ("since 2026-06-01, though the study expects something of it at least every 30 days" in text) == told
