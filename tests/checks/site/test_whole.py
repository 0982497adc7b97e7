"""Checks of a whole site against the others: planted faults, sizes that matter, and what must not be taken for one."""

from __future__ import annotations

import numpy as np
import pytest

from checks.site.pool import comparable, outcome_cells
from demo_site_uploads.simulator.faults_pool import alike, left_out, shifted
from pipelines.science.statistics.windows import median_window, spread_window
from tests.checks.running_checks import Case, run, status
from tests.checks.site_cases import a_pool, clean, of_pool, with_fault

CENTRE, SPREAD = "outcomes_centre_among_the_other_sites", "values_spread_as_at_the_other_sites"
MISSING = "values_are_missing_no_more_often_than_elsewhere"
PLANTED = {
    # 24 degrees are four spreads between runners, about the angle of a standing foot that was not taken off
    CENTRE: Case(
        with_fault(shifted, "mill", "foot_strike_angle_deg", 24.0), "foot_strike_angle_deg, first, shod, 3.0 m/s"
    ),
    SPREAD: Case(with_fault(alike, "runners", "mill", "stature_m", 0.0), "stature_m"),
    MISSING: Case(
        with_fault(left_out, "runner_means", "mill", "foot_strike_angle_deg", 0.75),
        "foot_strike_angle_deg, first, shod, 3.0 m/s",
    ),
}
CLEAN = dict.fromkeys(PLANTED, clean)


@pytest.mark.parametrize(("degrees", "found"), [(12.0, "pass"), (36.0, "found"), (-36.0, "found")])
def test_a_shift_counts_from_several_spreads_between_runners(degrees: float, found: str) -> None:
    assert status(CENTRE, of_pool(shifted(a_pool(), "mill", "foot_strike_angle_deg", degrees))) == found


def test_one_cause_is_one_note_that_says_how_many_comparisons_are_off() -> None:
    (finding,) = run(CENTRE, of_pool(shifted(a_pool(), "mill", "foot_strike_angle_deg", 48.0))).findings
    assert "4 of 4 comparisons" in finding.seen


def test_a_shift_at_another_site_is_not_this_sites() -> None:
    """With two others, one of them far off, the window reaches as far: nobody blames the third."""
    assert status(CENTRE, of_pool(shifted(a_pool(), "way", "foot_strike_angle_deg", 60.0))) == "pass"


@pytest.mark.parametrize(("factor", "found"), [(0.6, "pass"), (1.6, "pass"), (0.1, "found"), (8.0, "found")])
def test_a_spread_counts_when_it_is_several_times_too_small_or_too_large(factor: float, found: str) -> None:
    assert status(SPREAD, of_pool(alike(a_pool(), "runner_means", "mill", "contact_time_s", factor))) == found


@pytest.mark.parametrize(("share", "found"), [(0.2, "pass"), (0.6, "found"), (1.0, "found")])
def test_missing_values_count_when_chance_does_not_leave_out_so_many(share: float, found: str) -> None:
    assert status(MISSING, of_pool(left_out(a_pool(), "runners", "mill", "leg_length_m", share))) == found


def test_a_laboratory_without_plates_is_not_asked_for_force() -> None:
    from dataclasses import replace

    pool = a_pool(without_force=["mill"])
    context = of_pool(pool)
    study = context.study
    profile = study.sites["mill"].profile.model_copy(update={"force_rate_hz": None, "plate_types": ()})
    site = study.sites["mill"].model_copy(update={"profile": profile})
    plain = replace(context, study=study.model_copy(update={"sites": {**study.sites, "mill": site}}))
    assert status(MISSING, plain) == "pass"
    assert status(MISSING, context) == "found", "with plates in its profile the same gap is one"


def test_a_site_left_out_everywhere_makes_no_gap_at_the_others() -> None:
    assert status(MISSING, of_pool(left_out(a_pool(), "runners", "way", "leg_length_m", 1.0))) == "pass"


@pytest.mark.parametrize("name", [CENTRE, SPREAD, MISSING])
def test_with_too_few_runners_nothing_is_judged(name: str) -> None:
    (ended,) = run(name, of_pool(a_pool(runners=3))).runs
    assert ended.status == "skipped"
    assert "few" in ended.reason


@pytest.mark.parametrize("name", [CENTRE, SPREAD])
def test_against_one_other_site_nothing_is_judged(name: str) -> None:
    pool = a_pool()
    two = {table: rows[rows["site"] != "way"] for table, rows in pool.items()}
    assert status(name, of_pool(two)) == "skipped"


@pytest.mark.parametrize("name", [CENTRE, SPREAD, MISSING])
def test_a_site_without_any_row_is_skipped(name: str) -> None:
    assert status(name, of_pool(a_pool(), "nowhere")) == "skipped"


def test_values_that_are_all_the_same_everywhere_are_not_judged() -> None:
    pool = a_pool()
    means = pool["runner_means"].copy()
    means["contact_time_s"] = 0.24
    report = run(CENTRE, of_pool({**pool, "runner_means": means}))
    assert report.runs[0].status == "pass"
    assert "contact_time_s" not in {answer.expected.column for _, answer in report.evidence}


def alarms(seed: int, runners: int) -> tuple[bool, bool]:
    """Whether any median, any spread of mill lies beyond its window in a pool without a fault; without the engine."""
    centre = spread = False
    pool = a_pool(seed, runners)
    for cell in comparable(outcome_cells(pool), "mill", 4, 2):
        own, others = cell.values["mill"], cell.others("mill", 4)
        around = median_window(len(own), others, 3.0, 1e-4)
        usual = spread_window(len(own), list(others.values()), 3.0, 1e-4)
        assert around is not None
        assert usual is not None
        centre |= not around[0] <= float(np.median(own)) <= around[1]
        spread |= not usual[0] <= float(np.std(own, ddof=1)) <= usual[1]
    return centre, spread


@pytest.mark.parametrize("runners", [4, 12])
def test_of_a_hundred_sites_without_a_fault_at_most_three_get_a_note(runners: int) -> None:
    """Measured over 32 cells a site: at most 1 % of 300 pools of the demo's size, 72 cells, at 4 to 20 runners."""
    found = np.array([alarms(seed, runners) for seed in range(100)])
    assert found.sum(axis=0).max() <= 3
