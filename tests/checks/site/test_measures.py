"""Checks of how a site reads and writes its measures: planted faults, and what must not be taken for one."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from demo_site_uploads.simulator.faults_pool import copied_masses, rounded
from pipelines.science.statistics.windows import last_digits, most_divergence, most_heaped
from tests.checks.running_checks import Case, run, status
from tests.checks.site_cases import a_pool, clean, of_pool, with_fault

DIGITS, COPIED = "last_digits_show_no_preference", "masses_are_weighed_anew_at_each_visit"
PLANTED = {
    DIGITS: Case(with_fault(rounded, "mill", "mass_kg", 0.5), "mass_kg"),
    COPIED: Case(with_fault(copied_masses, "mill"), "mass_kg"),
}
CLEAN = dict.fromkeys(PLANTED, clean)


def with_digits(column: str, digits: list[int], step: float) -> pd.DataFrame:
    """Runners of mill whose values end in these digits."""
    count = len(digits)
    plain = {"mass_kg": 60.0, "stature_m": 1.7, "leg_length_m": 0.9}
    rows = pd.DataFrame({"site": "mill", "participant_id": [f"p{n}" for n in range(count)], **plain})
    rows[column] = np.round((10 * np.arange(60, 60 + count) + digits) * step, 3)
    return rows


def judged(column: str, digits: list[int], step: float) -> list[str]:
    pool = a_pool()
    sessions = pool["sessions"][pool["sessions"]["site"] != "mill"]
    others = {"mass_kg", "stature_m", "leg_length_m"} - {column}
    runners = with_digits(column, digits, step)
    runners[list(others)] = np.nan
    report = run(DIGITS, of_pool({**pool, "runners": runners, "sessions": sessions}))
    return [f.place for f in report.findings]


@pytest.mark.parametrize(("heaped", "found"), [(6, []), (7, ["stature_m"]), (10, ["stature_m"])])
def test_heaping_counts_from_the_number_that_chance_does_not_reach(heaped: int, found: list[str]) -> None:
    """Of ten even digits seven or more on 0 and 5 come with probability 0.00086, eight or more 0.00008."""
    digits = [0, 5] * (heaped // 2) + [0] * (heaped % 2) + [3, 7, 1, 4][: 10 - heaped]
    expected = found if heaped >= most_heaped(10, 0.2, 0.0005) + 1 else []
    assert judged("stature_m", digits, 0.01) == expected


def test_seven_of_seven_values_on_whole_and_half_are_found() -> None:
    assert judged("leg_length_m", [0, 5, 0, 5, 5, 0, 0], 0.01) == ["leg_length_m"]


def test_preferred_digits_other_than_0_and_5_are_found_in_a_large_site() -> None:
    """Even digits only, 60 values: no heap on 0 and 5 beyond chance, but chi-square of 60 on 9 degrees of freedom."""
    assert judged("stature_m", [0, 2, 4, 6, 8] * 12, 0.01) == ["stature_m"]
    assert judged("stature_m", list(range(10)) * 6, 0.01) == []


def test_the_message_counts_digits_and_names_the_step() -> None:
    (finding,) = run(DIGITS, PLANTED[DIGITS].context()).findings
    assert "values of mass end in 0 or 5" in finding.seen
    assert "counting 0.1 kg" in finding.expected


def test_digits_are_read_as_written_not_as_binary_fractions() -> None:
    assert last_digits(np.array([68.4, 68.5, 70.0, 64.3]), 0.1).tolist() == [4, 5, 0, 3]
    assert last_digits(np.array([1.74, 1.8, 2.0]), 0.01).tolist() == [4, 0, 0]


def test_the_limit_of_divergence_is_that_of_chi_square() -> None:
    """Critical value of chi-square, 9 degrees of freedom, 5 %: 16.919 (any table)."""
    assert 2 * 100 * most_divergence(100, 0.05) == pytest.approx(16.919, abs=0.001)


def test_equal_digits_are_rarely_taken_for_preferred_ones() -> None:
    """Share of 4000 clean sites of 8 or 20 or 60 values beyond either limit: at most twice what the limit says."""
    rng = np.random.default_rng(5)
    for count in (8, 20, 60):
        digits = rng.integers(0, 10, (4000, count))
        heaped = (np.isin(digits, (0, 5)).sum(axis=1) > most_heaped(count, 0.2, 0.0005)).mean()
        assert heaped <= 0.001
    shares = np.apply_along_axis(np.bincount, 1, digits, minlength=10) / count
    divergence = np.sum(np.where(shares > 0, shares * np.log(np.where(shares > 0, shares, 1) / 0.1), 0), axis=1)
    assert (divergence > most_divergence(count, 0.0005)).mean() <= 0.003


@pytest.mark.parametrize("visits", [1, 2])
def test_masses_are_compared_from_eight_pairs_of_visits(visits: int) -> None:
    pool = a_pool(runners=8)
    sessions = pool["sessions"]
    few = sessions[sessions["study_day"] < 35 * visits]
    assert status(COPIED, of_pool({**pool, "sessions": few})) == ("skipped" if visits == 1 else "pass")


def test_some_equal_masses_are_chance() -> None:
    pool = a_pool()
    copied = copied_masses(pool, "mill")["sessions"]
    some = copied["participant_id"].isin([f"mill-{n:03d}" for n in range(6)])
    sessions = pool["sessions"].where(~some, copied)
    assert status(COPIED, of_pool({**pool, "sessions": sessions})) == "pass"
