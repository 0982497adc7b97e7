"""Which runners and which weeks the dose-responses of a plan are made of."""

from __future__ import annotations

from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipelines.pool.planned_doses import dose_rows
from pipelines.science.statistics.dose_response import Slope, slope
from schemas.plan import Exclusions, Plan, PlannedComparison, PlannedDose
from schemas.processing import Processing

STAMP = {"plan_sha256": "0" * 64, "plan_version": "1", "plan_state": "frozen"}
OTHER = PlannedComparison(outcome="step_length_m", visit="week_0", condition="unshod", reference_condition="shod")
SYMPTOMS = PlannedDose(response="symptom_severity_score", visit="week_2")
CONTACT = PlannedDose(response="contact_time_s", visit="week_2", condition="shod")
RUNNERS = [f"R{number:02}" for number in range(14)]
SITES = {runner: ("brack", "tarn")[number % 2] for number, runner in enumerate(RUNNERS)}
MINUTES = {runner: 300.0 + 40 * (number * 5 % 14) for number, runner in enumerate(RUNNERS)}
#: Weeks 0 and 3 are outside of what is asked, and would be seen in any sum.
WEEKS = {0: 9000.0, 1: 0.25, 2: 0.75, 3: 9000.0}


def warehouse(
    no_log: tuple[str, ...] = (), no_score: tuple[str, ...] = ()
) -> tuple[duckdb.DuckDBPyConnection, dict[str, float]]:
    """Tables of a study of two weeks; and each runner's mean severity over them."""
    rng = np.random.default_rng(3)
    scores = {runner: rng.integers(0, 40, 2).astype(float) for runner in RUNNERS}
    rows = [
        {
            "participant_id": runner,
            "week": week,
            "new_footwear_min": None if week == 2 and runner in no_log else MINUTES[runner] * share,
            "symptom_severity_score": (
                None if week == 1 and runner in no_score else scores[runner][week - 1] if week in (1, 2) else 99.0
            ),
        }
        for runner in RUNNERS
        for week, share in WEEKS.items()
    ]
    frames = {
        "transition_weeks": pd.DataFrame(rows),
        "visits": pd.DataFrame({"visit": ["week_0", "week_2", "week_9"], "planned_week": [0, 2, 9]}),
        "deliveries": pd.DataFrame({"delivery_id": ["brack-001", "tarn-001"], "site": ["brack", "tarn"]}),
        "reported_weeks": pd.DataFrame(
            [{"participant_id": r, "week": w, "delivery_id": f"{SITES[r]}-001"} for r in RUNNERS for w in WEEKS]
        ),
    }
    connection = duckdb.connect()
    for name, frame in frames.items():
        connection.register("frame", frame)
        connection.execute(f"CREATE TABLE {name} AS SELECT * FROM frame")
    return connection, {runner: float(own.mean()) for runner, own in scores.items()}


def trials(changes: dict[tuple[str, str], float]) -> pd.DataFrame:
    """A trial before and one after of each (runner, site), the change being known; a noted third one spoils it."""
    rows: list[dict[str, Any]] = []
    for (runner, site), change in changes.items():
        for visit, value, noted in (("week_0", 0.25, False), ("week_2", 0.25 + change, False), ("week_2", 9.0, True)):
            own = {"participant_id": runner, "site": site, "visit": visit, "value": value, "noted": noted}
            rows.append(own | {"trial_id": f"{runner}-{site}-{visit}-{noted}"})
    common = {"condition": "shod", "set_speed_m_per_s": 3.0, "event_method": "force", "outcome": "contact_time_s"}
    common |= {"doubt": np.nan, "condition_place": 1.0, "measured_speed": 3.0, "exact_set_speed": 3.0, "mass_kg": 70.0}
    common |= {"accepted_by_override": False, "noted_by_one": False, "sex": "female"}
    return pd.DataFrame(rows).assign(**common)


def rows_of(asked: PlannedDose, connection: duckdb.DuckDBPyConnection, found: pd.DataFrame | None = None) -> Any:
    plan = Plan(version="1", primary=(OTHER,), dose_responses=(asked,), exclude=Exclusions(noted=True))
    read = {("contact_time_s",): found}
    frame = dose_rows(
        connection,
        plan,
        Processing(),
        ["week_0", "week_2", "week_9"],
        lambda wanted: read[tuple(one.outcome for one in (*wanted.primary, *wanted.secondary))],
        STAMP,
    )
    return frame.iloc[0]


def expected(runners: list[str], responses: list[float], sites: list[str]) -> Slope:
    found = slope(np.array([MINUTES[r] / 600 for r in runners]), np.array(responses), np.array(sites))
    assert isinstance(found, Slope)
    return found


def test_symptoms_are_the_mean_and_minutes_the_sum_of_the_weeks_after_the_first_visit_until_the_asked_one() -> None:
    connection, means = warehouse()
    row = rows_of(SYMPTOMS, connection)
    other = expected(RUNNERS, [means[r] for r in RUNNERS], [SITES[r] for r in RUNNERS])
    assert row["estimate_value"] == pytest.approx(other.effect.estimate)
    assert row["lower_limit_value"] == pytest.approx(other.effect.lower)
    assert (row["degrees_of_freedom"], row["runner_count"], row["site_count"]) == (11, 14, 2)
    assert (row["smallest_dose_min"], row["largest_dose_min"]) == (300, 820)
    assert row["condition"] == "none"
    assert pd.isna(row["reason_null"])


def test_a_runner_with_a_week_missing_is_left_out_and_counted_on_the_side_that_is_missing() -> None:
    connection, means = warehouse(no_log=("R00", "R03"), no_score=("R01", "R02", "R03"))
    row = rows_of(SYMPTOMS, connection)
    kept = RUNNERS[4:]
    other = expected(kept, [means[r] for r in kept], [SITES[r] for r in kept])
    assert row["estimate_value"] == pytest.approx(other.effect.estimate)
    assert (row["runner_count"], row["lacking_dose_count"], row["lacking_response_count"]) == (10, 1, 2)
    assert row["lacking_both_count"] == 1


def test_of_an_outcome_the_response_is_one_change_per_runner_by_the_plans_exclusions() -> None:
    connection, _ = warehouse()
    changes = {(runner, SITES[runner]): 0.001 * (number * number % 9) for number, runner in enumerate(RUNNERS[:-1])}
    changes["R00", "tarn"] = 0.05  # travelled: one runner still, at the first of the two sites
    row = rows_of(CONTACT, connection, trials(changes))
    mean = {runner: np.mean([value for (r, _), value in changes.items() if r == runner]) for runner in RUNNERS[:-1]}
    other = expected(RUNNERS[:-1], [float(mean[r]) for r in RUNNERS[:-1]], [SITES[r] for r in RUNNERS[:-1]])
    assert row["estimate_value"] == pytest.approx(other.effect.estimate)
    assert (row["runner_count"], row["lacking_response_count"]) == (13, 1)


def test_where_nobody_has_both_the_row_says_why() -> None:
    connection, _ = warehouse()
    row = rows_of(PlannedDose(response="symptom_severity_score", visit="week_9"), connection)
    assert row["reason_null"] == "0 of at least 10 runners have dose and response"
    assert row[["estimate_value", "two_sided_p_value", "mean_dose_min"]].isna().all()
