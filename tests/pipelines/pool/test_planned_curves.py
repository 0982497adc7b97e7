"""Which curves of which trials the plan's comparisons of curves are made of."""

from __future__ import annotations

from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipelines.pool.planned_curves import curve_tables
from pipelines.science.statistics.curve_bands import band
from pipelines.science.statistics.curve_sites import across_sites
from schemas.plan import Plan, PlannedComparison, PlannedCurve

STAMP = {"plan_sha256": "0" * 64, "plan_version": "1", "plan_state": "frozen"}
ASKED = PlannedComparison(outcome="contact_time_s", visit="first", condition="unshod", reference_condition="shod")
KNEE = {"quantity": "knee_sagittal_angle_deg", "condition": "unshod"}
IN_CONDITIONS = PlannedCurve(**KNEE, visit="first", reference_condition="shod")
OVER_VISITS = PlannedCurve(**KNEE, visit="last", contrast="visit", reference_condition="unshod")
POINTS = 5


def curve(runner: int, visit: str, condition: str, trial: int, side: str) -> np.ndarray:
    """As different for each word as may be, so that a mean over the wrong rows is another one."""
    seed = [runner, len(visit), len(condition), trial, len(side)]
    return np.random.default_rng(seed).normal(10 * runner, 1, POINTS)


def warehouse(runners: int = 7) -> tuple[duckdb.DuckDBPyConnection, pd.DataFrame]:
    """Two trials of every runner in each condition and visit; the last runner was at a second site as well."""
    rows: list[dict[str, Any]] = []
    trials: list[dict[str, Any]] = []
    for runner in range(runners):
        for site in ("brack", "tarn")[: 1 + (runner == runners - 1)]:
            for visit in ("first", "last"):
                for condition in ("shod", "unshod"):
                    for number in (1, 2):
                        name = f"T{len(trials)}"
                        own = {"participant_id": f"R{runner}", "site": site, "visit": visit, "condition": condition}
                        own |= {"set_speed_m_per_s": 3.0, "accepted_by_override": False, "has_notes": False}
                        trials.append({"trial_id": name, "delivery_id": "D1", **own})
                        for side in ("left", "right"):
                            values = curve(runner, visit, condition, number, side) + (site == "tarn")
                            rows += [
                                {
                                    "trial_id": name,
                                    "side": side,
                                    "quantity": KNEE["quantity"],
                                    "point_number": p,
                                    "mean_value": v,
                                }
                                for p, v in enumerate(values)
                            ]
    frames = {
        "trials": pd.DataFrame(trials),
        "curves": pd.DataFrame(rows),
        "footfalls": pd.DataFrame([{"trial_id": t["trial_id"], "event_method": "force"} for t in trials]),
        "findings": pd.DataFrame([{"trial_id": "T0", "delivery_id": "D1", "weight": "notes", "check_name": "own"}]),
    }
    connection = duckdb.connect()
    for name, frame in frames.items():
        connection.register("frame", frame)
        connection.execute(f"CREATE TABLE {name} AS SELECT * FROM frame")
    connection.execute("CREATE SCHEMA made_from")
    connection.execute(
        "CREATE TABLE made_from.trial_values AS SELECT trial_id, 'speed_m_per_s' AS outcome, 3.0 AS value FROM trials"
    )
    return connection, frames["trials"]


def told(
    connection: duckdb.DuckDBPyConnection, one: PlannedCurve = IN_CONDITIONS, **plan: Any
) -> tuple[Any, pd.DataFrame]:
    made = Plan(version="1", primary=(ASKED,), curves=(one,), **plan)
    (_, row), (_, points) = curve_tables(connection, made, ("first", "last"), STAMP)
    return row.iloc[0], points


def by_hand(one: PlannedCurve, runners: int = 7, left_out: tuple[int, ...] = ()) -> np.ndarray:
    def mean(runner: int, visit: str, condition: str) -> np.ndarray:
        trials = [n for n in (1, 2) if not (runner == 0 and n in left_out and condition == "shod" and visit == "first")]
        return np.mean([curve(runner, visit, condition, n, side) for n in trials for side in ("left", "right")], axis=0)

    before = "first" if one.contrast == "visit" else one.visit
    return np.array(
        [mean(r, one.visit, one.condition) - mean(r, before, str(one.reference_condition)) for r in range(runners)]
    )


@pytest.mark.parametrize("one", [IN_CONDITIONS, OVER_VISITS], ids=["conditions", "visits"])
def test_each_runner_counts_once_with_the_mean_of_sides_trials_and_sites(one: PlannedCurve) -> None:
    row, points = told(warehouse()[0], one)
    expected = band(by_hand(one))
    assert (row["runner_count"], row["site_count"], row["pattern_count"]) == (7, 2, 128)
    assert points["estimate_value"].tolist() == pytest.approx(expected.mean.tolist())
    assert points["upper_limit_value"].tolist() == pytest.approx(expected.upper.tolist())
    assert row["two_sided_p_value"] == expected.p_value
    assert row["reference_visit"] == "first"


def test_trials_that_the_plan_leaves_out_are_in_no_curve() -> None:
    changes = (
        ({"exclude": {"notes_of": ["no_impossible_joint"]}}, "UPDATE findings SET check_name = 'no_impossible_joint'"),
        ({"exclude": {"noted": True}}, "UPDATE trials SET has_notes = true WHERE trial_id = 'T0'"),
        (
            {"exclude": {"accepted_by_override": True}},
            "UPDATE trials SET accepted_by_override = true WHERE trial_id = 'T0'",
        ),
        (
            {"exclude": {"largest_speed_off_fraction": 0.1}},
            "UPDATE made_from.trial_values SET value = 3.6 WHERE trial_id = 'T0'",
        ),
    )
    without = by_hand(IN_CONDITIONS, left_out=(1,)).mean(axis=0)
    for plan, sql in changes:
        connection, _ = warehouse()
        connection.execute(sql)
        whole = told(connection)[1]["estimate_value"].tolist()
        assert whole == pytest.approx(by_hand(IN_CONDITIONS).mean(axis=0).tolist())
        assert told(connection, **plan)[1]["estimate_value"].tolist() == pytest.approx(without.tolist()), plan


def test_no_side_by_force_is_paired_with_one_by_markers_and_a_site_has_one_method() -> None:
    connection, trials = warehouse(9)

    def by_markers(runner: int, *conditions: str) -> None:
        names = trials.query(
            "participant_id == @who and condition in @conditions",
            local_dict={"who": f"R{runner}", "conditions": conditions},
        )["trial_id"]
        connection.execute("UPDATE footfalls SET event_method = 'markers' WHERE list_contains(?, trial_id)", [[*names]])

    by_markers(0, "shod")
    by_markers(1, "shod", "unshod")
    row, points = told(connection)
    assert row["runner_count"] == 7
    assert told(connection, event_methods=["markers"])[0]["runner_count"] == 1
    assert points["estimate_value"].tolist() == pytest.approx(by_hand(IN_CONDITIONS, 9)[2:].mean(axis=0).tolist())
    for runner in range(9):
        by_markers(runner, "shod", "unshod")
    assert told(connection)[0]["runner_count"] == 9, "by markers everywhere"


def test_with_few_runners_or_none_there_is_a_reason_and_no_point() -> None:
    row, points = told(warehouse(5)[0])
    assert row["reason_null"] == "5 of at least 6 runners have the whole curve on both sides"
    assert points.empty
    other = IN_CONDITIONS.model_copy(update={"quantity": "no_such_curve"})
    assert told(warehouse(6)[0], other)[0]["reason_null"].startswith("0 of at least 6 runners")


def test_where_there_are_four_sites_each_counts_once_and_a_runner_at_one_of_them() -> None:
    connection, _ = warehouse(9)
    for runner, site in enumerate(("brack", "brack", "corrie", "corrie", "derwent", "derwent", "esk", "esk")):
        connection.execute("UPDATE trials SET site = ? WHERE participant_id = ?", [site, f"R{runner}"])
    row, points = told(connection)
    own = by_hand(IN_CONDITIONS, 9)
    sites = np.array([own[:2].mean(0), own[2:4].mean(0), own[4:6].mean(0), own[6:8].mean(0), own[8]])
    assert points["sites_mean_value"].tolist() == pytest.approx(sites.mean(axis=0).tolist()), "R8 at tarn, not at brack"
    by_hands = across_sites(own, np.array([0, 0, 1, 1, 2, 2, 3, 3, 4]))
    assert row["sites_threshold_index"] == pytest.approx(by_hands.threshold)
    assert pd.isna(row["sites_reason_null"])
    assert row["site_count"] == 5


def test_with_fewer_sites_the_row_says_why_there_is_no_band_over_them() -> None:
    row, points = told(warehouse()[0])
    assert row["sites_reason_null"].startswith("2 of at least 4 sites")
    assert points["sites_upper_limit_value"].isna().all()
    assert points["upper_limit_value"].notna().all()
