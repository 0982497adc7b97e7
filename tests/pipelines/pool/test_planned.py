"""Which trials the plan's comparisons are made of, and in what place of its session each condition was run."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipelines.depot.plans import Frozen
from pipelines.pool.beside import Beside
from pipelines.pool.planned import begin_plan, trials_of
from pipelines.science.statistics.planned import planned_answers
from pipelines.study.file import load_study
from pipelines.study.plan import LoadedPlan
from schemas.catalogue import TABLES
from schemas.compared import OF_ENERGY
from schemas.convert.to_duckdb import create_table_sql
from schemas.plan import Plan, PlannedComparison, PlannedCurve
from schemas.processing import ContrastProcessing, Processing
from tests.delivery_builders import STUDY

STAMP = {"plan_sha256": "0" * 64, "plan_version": "1", "plan_state": "frozen"}
PROCESSING = Processing(contrasts=ContrastProcessing(reference_condition="cushioned"))
IMPACT, CONTACT = (
    PlannedComparison(outcome=name, visit="first", condition="thin_soled", reference_condition="cushioned")
    for name in ("impact_peak_bw", "contact_time_s")
)
EFFECT, OF_A_PLACE = 1.0, 1.0
BETWEEN, LAST = ("cushioned", "unshod", "thin_soled"), ("thin_soled", "cushioned", "unshod")


def warehouse(sessions: list[tuple[str, tuple[str, ...], tuple[str, ...]]]) -> duckdb.DuckDBPyConnection:
    """One trial in each condition of (runner, conditions in the order they were run, conditions that went back).

    Unshod trials have no impact peak. Each place later adds ``OF_A_PLACE`` to all values, the thin sole ``EFFECT``.
    """
    trials: list[dict[str, Any]] = []
    values: list[dict[str, Any]] = []
    rng = np.random.default_rng(1)
    for number, (runner, order, back) in enumerate(sessions):
        own, differs = rng.normal(0, 3), rng.normal(0, 0.3)
        for place, condition in enumerate(order, start=1):
            name = f"{runner}-{condition}"
            trials.append(
                {"trial_id": name, "participant_id": runner, "session_id": f"{runner}-s", "condition": condition}
                | {"site": f"site_{number % 4}", "trial_order": 2 * place, "standing": "accepted", "kind": "running"}
            )
            trials[-1]["standing"] = "returned" if condition in back else "accepted"
            value = own + OF_A_PLACE * place + (EFFECT + differs) * (condition == "thin_soled") + rng.normal(0, 0.1)
            for one in (IMPACT, CONTACT)[condition == "unshod" :]:
                values.append({"trial_id": name, "outcome": one.outcome, "value": value})
    sent = pd.DataFrame(trials).assign(visit="first", delivery_id="D1", superseded=False, study_day=0)
    pooled = sent[sent["standing"] == "accepted"]
    pooled = pooled.assign(set_speed_m_per_s=3.0, accepted_by_override=False, has_notes=False)
    people = pd.DataFrame({"participant_id": sorted({runner for runner, _, _ in sessions})})
    nobody = {"trial_id": "", "outcome": "", "standard_uncertainty_value": 0.0}
    finding = {"trial_id": "", "delivery_id": "", "weight": "", "check_name": ""}
    bout = {"session_id": "", "condition": "", "bout": 1, "set_speed_m_per_s": 3.0, **dict.fromkeys(OF_ENERGY, 1.0)}
    frames = {
        "standings": sent,
        "trials": pooled,
        "sessions": pooled[["session_id", "participant_id", "site", "visit"]].drop_duplicates().assign(mass_kg=70.0),
        "runners": people.assign(sex="female"),
        "footfalls": pooled[["trial_id"]].assign(event_method="force"),
        "findings": pd.DataFrame([finding]),
        "outcome_uncertainties": pd.DataFrame([nobody]),
        "energy_bouts": pd.DataFrame([bout]),
        "of_trials": pd.DataFrame(values),
    }
    connection = duckdb.connect()
    for name, frame in frames.items():
        connection.register("frame", frame)
        connection.execute(f"CREATE TABLE {name} AS SELECT * FROM frame")
    connection.execute("CREATE SCHEMA made_from; CREATE TABLE made_from.trial_values AS FROM of_trials")
    return connection


def sessions(*back: str) -> list[tuple[str, tuple[str, ...], tuple[str, ...]]]:
    """Of 32 runners 24 run the reference first and unshod between; ``back``: what went back of those."""
    return [(f"R{n:02}", BETWEEN if n % 4 else LAST, back if n % 4 else ()) for n in range(32)]


def answer(connection: duckdb.DuckDBPyConnection, *secondary: PlannedComparison) -> dict[str, Any]:
    plan = Plan(version="1", primary=(IMPACT,), secondary=secondary, covariates=("order",))
    found, _ = planned_answers(trials_of(connection, plan), plan, PROCESSING, ["first"], STAMP)
    return dict(found[found["outcome"] == IMPACT.outcome].iloc[0])


def places(connection: duckdb.DuckDBPyConnection) -> dict[str, float]:
    found = trials_of(connection, Plan(version="1", primary=(IMPACT,)))
    return dict(zip(found["trial_id"], found["condition_place"], strict=True))


@pytest.mark.parametrize("back", [(), ("unshod",)])
def test_what_the_place_in_the_session_does_is_taken_out_though_nothing_of_what_was_run_between_is_in_the_answer(
    back: tuple[str, ...],
) -> None:
    """The truth is known. Unshod has no impact peak, and once went back as well: the thin sole was third nonetheless."""
    connection = warehouse(sessions(*back))
    alone, beside = answer(connection), answer(connection, CONTACT)
    assert alone["covariates"] == "order"
    assert alone["estimate_value"] == pytest.approx(EFFECT, abs=0.2)
    assert alone["lower_limit_value"] < EFFECT < alone["upper_limit_value"]
    assert alone["estimate_value"] == beside["estimate_value"], "another outcome in the plan changes nothing"


def test_a_place_counts_every_condition_that_was_run_before_also_one_that_went_back() -> None:
    connection = warehouse([("R1", BETWEEN, ("unshod",)), ("R2", LAST, ("cushioned",))])
    expected = {"R1-cushioned": 1, "R1-thin_soled": 3, "R2-thin_soled": 1}
    assert places(connection) == expected


def test_trials_of_one_condition_in_a_row_have_one_place_and_a_condition_that_comes_back_a_further_one() -> None:
    connection = warehouse([("R1", BETWEEN, ())])
    again = {"R1-cushioned": 1, "R1-thin_soled": 2, "more": 3, "R1-unshod": 4}
    connection.execute(
        "INSERT INTO trials SELECT * REPLACE ('more' AS trial_id) FROM trials WHERE condition = 'cushioned'"
    )
    connection.execute(
        "INSERT INTO standings SELECT * REPLACE ('more' AS trial_id) FROM standings WHERE condition = 'cushioned'"
    )
    connection.execute("INSERT INTO made_from.trial_values VALUES ('more', 'impact_peak_bw', 1.0)")
    for trial, number in again.items():
        connection.execute("UPDATE standings SET trial_order = $2 WHERE trial_id = $1", [trial, number])
    assert places(connection) == {"R1-cushioned": 1, "R1-thin_soled": 2, "more": 3}
    connection.execute("UPDATE standings SET trial_order = 2 WHERE trial_id = 'more'")
    connection.execute("UPDATE standings SET trial_order = 3 WHERE trial_id = 'R1-thin_soled'")
    assert places(connection) == {"R1-cushioned": 1, "more": 1, "R1-thin_soled": 2}


def test_another_session_of_the_visit_begins_anew_and_an_older_version_of_a_trial_does_not_count() -> None:
    connection = warehouse([("R1", BETWEEN, ())])
    connection.execute("UPDATE standings SET study_day = 3, trial_order = 1 WHERE condition = 'thin_soled'")
    assert places(connection) == {"R1-cushioned": 1, "R1-thin_soled": 1}
    connection.execute("UPDATE standings SET study_day = 0, trial_order = 6")
    connection.execute("UPDATE standings SET trial_order = 2 WHERE condition = 'cushioned'")
    connection.execute(
        "INSERT INTO standings SELECT * REPLACE ('D0' AS delivery_id, 1 AS trial_order, true AS superseded) "
        "FROM standings WHERE condition = 'thin_soled'"
    )
    connection.execute("DELETE FROM standings WHERE condition = 'unshod'")
    assert places(connection) == {"R1-cushioned": 1, "R1-thin_soled": 2}


def test_a_plan_frozen_with_questions_in_two_wordings_is_answered_once_each_and_known_by_what_it_means(
    tmp_path: Path,
) -> None:
    """Frozen, then given another reference by the study file: the same bytes, and not the frozen plan."""
    connection = warehouse(sessions())
    for name in ("curves", "transition_weeks", "reported_weeks", "deliveries"):
        connection.execute(create_table_sql(TABLES[name]))
    connection.execute("CREATE TABLE visits AS SELECT 'first' AS visit, 0 AS planned_week")
    curve = PlannedCurve(
        quantity="vertical_force_bw", visit="first", condition="unshod", reference_condition="cushioned"
    )
    twice = tuple(CONTACT.model_copy(update={"set_speed_m_per_s": speed}) for speed in (3.0, 3.04))
    was = LoadedPlan(Plan(version="1", primary=twice, curves=(curve, curve)), "ab" * 32, tmp_path / "plan.yaml")
    means_now = [one.model_copy(update={"reference_condition": "unshod"}) for one in twice]
    now = replace(was, plan=was.plan.model_copy(update={"primary": tuple(means_now)}))
    frozen = [Frozen(was.sha256, "1", "2026-03-01T09:30:00.000+00:00", 0, json.loads(json.dumps(was.settings)))]
    for plan, states in ((was, [("frozen", True)]), (now, [("changed", False), ("replaced", True)])):
        study = replace(load_study(STUDY), plan=plan)
        found = {table.name: frame for table, frame in begin_plan(connection, study, frozen, Beside())()}
        plans = found["analysis_plans"]
        assert sorted(zip(plans["plan_state"], plans["frozen_utc"].notna(), strict=True)) == states
        assert not plans.duplicated(list(TABLES["analysis_plans"].key)).any()
        assert len(found["planned_curves"]) == 1
        answers = found["planned_contrasts"]
        assert answers[["reference_condition", "family_count"]].to_numpy().tolist() == [
            [plan.plan.primary[0].reference_condition, 1]
        ]
