"""What travelling runners say of sites: offsets that were put in come out, and too few runners say nothing."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.statistics.reliability import reliability
from pipelines.science.statistics.travelling import travelling_tables
from schemas.convert.to_arrow import to_arrow_table
from schemas.outcomes_reliability import RELIABILITY, SITE_AGREEMENT
from schemas.processing import Processing
from tests.pipelines.science.measured import measured

SIDES = (("brack", 0.01), ("corrie", -0.009))
OFFSETS = {"brack": 0.0, "corrie": 0.01, "tarn": -0.02}


def travelled(count: int, noise: float = 0.002, seed: int = 1, offsets: Mapping[str, float] = OFFSETS) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    level = rng.normal(0.25, 0.02, count)
    rows = [
        (f"T{i}", site, "unshod", level[i] + offset + rng.normal(0, noise))
        for i in range(count)
        for site, offset in offsets.items()
    ]
    return measured(rows)


def tables(means: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    found = travelling_tables(means, Processing())
    for table, frame in zip((RELIABILITY, SITE_AGREEMENT), found, strict=True):
        stamped = frame.assign(code_version="0", study_version="0")
        assert to_arrow_table(table, stamped).num_rows == len(frame)
        assert not frame.duplicated(list(table.key)).any()
    return found


def test_what_a_site_adds_is_found_with_an_interval_that_holds_it() -> None:
    _, pairs = tables(travelled(8))
    row = pairs.set_index(["site", "other_site"]).loc[("corrie", "tarn")]
    assert row["bias_lower_value"] < 0.03 < row["bias_upper_value"]
    assert row["sd_value"] == pytest.approx(0.002 * np.sqrt(2), rel=0.5)
    assert row["low_limit_value"] < row["bias_value"] < row["high_limit_value"]
    assert (row["runner_count"], row["event_method"], row["other_event_method"]) == (8, "force", "force")


def test_sites_that_add_of_their_own_lower_agreement_and_leave_consistency() -> None:
    each, _ = tables(travelled(8))
    row = each.iloc[0]
    assert row["icc_3_1_ratio"] > 0.97
    assert row["icc_2_1_ratio"] < row["icc_3_1_ratio"] - 0.1
    assert row["between_site_sd_value"] == pytest.approx(0.0153, abs=0.002)
    assert row["measurement_error_at_one_site_value"] == pytest.approx(0.002, rel=0.4)
    assert row["smallest_detectable_change_value"] == pytest.approx(2.77 * row["measurement_error_value"], rel=0.01)
    assert (row["runner_count"], row["site_count"], row["sites"]) == (8, 3, "brack, corrie, tarn")


def test_one_traveller_says_nothing_and_runners_who_stayed_are_not_there() -> None:
    stayed = measured([("R1", "brack", "unshod", 0.3)])
    each, pairs = tables(pd.concat([travelled(1), stayed]))
    assert each["reason_null"].tolist() == ["at most 1 of at least 3 runners were at the same two sites"]
    assert pairs["bias_value"].isna().all()
    assert set(pairs["reason_null"]) == {"1 of at least 3 runners were at both sites"}
    for empty in tables(stayed):
        assert empty.empty


def test_a_site_at_which_too_few_of_them_were_is_left_out_of_the_reliability() -> None:
    rows = travelled(5)
    each, pairs = tables(rows[(rows["site"] != "tarn") | (rows["participant_id"] == "T0")])
    assert each["sites"].tolist() == ["brack, corrie"]
    assert each["runner_count"].tolist() == [5]
    assert len(pairs) == 3


@pytest.mark.parametrize(
    ("groups", "sites", "runners"),
    [
        ({"AB": 6, "CD": 4, "CE": 4}, "A, B", 6),
        ({"AB": 12, "AC": 5, "CD": 5, "DE": 5, "CE": 5}, "A, B", 12),
        ({"ABC": 4, "AB": 20}, "A, B, C", 4),
        ({"ABCD": 2, "ABC": 1, "DE": 9}, "A, B, C", 3),
        ({"ABC": 2, "ACD": 2}, "A, C", 4),
    ],
)
def test_the_largest_set_of_sites_with_enough_common_runners_is_taken_and_of_two_the_one_with_most(
    groups: dict[str, int], sites: str, runners: int
) -> None:
    parts = [
        travelled(count, seed=n, offsets=dict.fromkeys(where, 0.0)).assign(number=n)
        for n, (where, count) in enumerate(groups.items())
    ]
    rows = pd.concat(parts)
    rows["participant_id"] = rows["participant_id"] + rows.pop("number").astype(str)
    each, pairs = tables(rows)
    row = each.iloc[0]
    assert (row["sites"], row["runner_count"]) == (sites, runners)
    assert row["travelling_runner_count"] == sum(groups.values())
    both = pairs.set_index(["site", "other_site"])["runner_count"]
    assert both.to_dict() == {
        pair: sum(count for where, count in groups.items() if set(pair) <= set(where)) for pair in both.index
    }


def test_sites_that_find_events_by_different_methods_are_told() -> None:
    rows = travelled(4)
    rows["event_method"] = np.where(rows["site"] == "tarn", "sensor", "force")
    _, pairs = tables(rows)
    row = pairs.set_index(["site", "other_site"]).loc[("brack", "tarn")]
    assert (row["event_method"], row["other_event_method"]) == ("force", "sensor")


@given(st.integers(0, 10_000), st.floats(0.1, 100), st.floats(-5, 5))
def test_unit_and_level_change_no_correlation(seed: int, factor: float, shift: float) -> None:
    values = np.random.default_rng(seed).normal(size=(6, 3)) + np.arange(6)[:, None]
    plain, other = reliability(values), reliability(factor * (values + shift))
    assert plain is not None
    assert other is not None
    assert other.absolute.value == pytest.approx(plain.absolute.value, abs=1e-6)
    assert other.error == pytest.approx(factor * plain.error, rel=1e-6)
    assert plain.absolute.lower < plain.absolute.value < plain.absolute.upper


@given(st.integers(0, 10_000), st.integers(2, 6), st.integers(2, 4), st.floats(0, 2), st.floats(0, 2))
def test_an_interval_holds_its_estimate_between_the_bounds_of_a_correlation_or_is_not_there(
    seed: int, runners: int, sites: int, of_runners: float, of_sites: float
) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(size=(runners, sites)) + of_sites * rng.normal(size=sites)
    found = reliability(values + of_runners * rng.normal(size=(runners, 1)))
    assert found is not None
    for one in (found.absolute, found.consistent):
        assert (one.lower is None) == (one.upper is None) == (one is found.absolute and one.value < 0)
        if one.lower is not None and one.upper is not None:
            assert -1 / (sites - 1) - 1e-12 <= one.lower <= one.value + 1e-12
            assert one.value - 1e-12 <= one.upper <= 1
            assert one.upper - one.lower > 1e-3, "of so few runners no interval is a point"


def test_a_row_whose_agreement_is_below_zero_says_why_it_has_no_interval() -> None:
    """Two sites that say nearly the opposite of each runner."""
    signs = {"T0": 1.0, "T1": -1.0, "T2": 0.5, "T3": -0.5}
    rows = measured([(who, site, "unshod", 0.25 + s * way) for who, s in signs.items() for site, way in SIDES])
    each, _ = tables(rows)
    row = each.iloc[0]
    assert row["icc_2_1_ratio"] < 0
    assert pd.isna(row["icc_2_1_lower_ratio"])
    assert pd.isna(row["icc_2_1_upper_ratio"])
    assert row["interval_reason_null"].startswith("the estimate is below zero")
    assert pd.isna(row["reason_null"])
    assert pd.isna(tables(travelled(8))[0]["interval_reason_null"]).all()


def test_what_does_not_vary_has_no_reliability() -> None:
    assert reliability(np.ones((4, 3))) is None
