"""Analyses of a plan: covariates, exclusions, ways of doubting, families; and p values adjusted for their number."""

from __future__ import annotations

from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from pipelines.pool.views import COMPARED_SPEED_SQL
from pipelines.science.statistics.contrasts import runner_contrasts, site_contrasts
from pipelines.science.statistics.multiplicity import adjusted
from pipelines.science.statistics.one_stage import one_stage
from pipelines.science.statistics.planned import families, planned_answers
from pipelines.science.statistics.planned_participants import planned_participants
from pipelines.science.statistics.pooled import pooled_contrasts
from schemas.compared import compared_speed
from schemas.convert.to_arrow import to_arrow_table
from schemas.outcomes_planned import PLANNED_CONTRASTS, PLANNED_DIFFERENCES
from schemas.plan import Plan, PlannedComparison, question
from schemas.processing import ContrastProcessing, Processing
from tests.tries import tries

ASKED_KEY = ("outcome", "contrast", "visit", "condition", "reference_condition", "at_speed")
STAMP = {"plan_sha256": "0" * 64, "plan_version": "1", "plan_state": "frozen"}
TO_SHOD = Processing(contrasts=ContrastProcessing(reference_condition="shod"))
VISITS = ("first", "last")
ASKED = PlannedComparison(outcome="contact_time_s", visit="first", condition="unshod", reference_condition="shod")


def trials(
    effect: float = -0.02, order_effect: float = 0.0, reference_first: float = 0.5, sites: int = 3, runners: int = 8
) -> pd.DataFrame:
    """One trial in each of two conditions of every runner; order_effect: of running a condition second."""
    rng = np.random.default_rng(8)
    rows = []
    for site in range(sites):
        for number in range(runners):
            own, first = rng.normal(0.25, 0.02), number < reference_first * runners
            for condition, place in (("shod", 1 if first else 2), ("unshod", 2 if first else 1)):
                value = own + (condition == "unshod") * effect + (place == 2) * order_effect + rng.normal(0, 0.003)
                rows.append((f"R{site}{number}", f"site_{site}", condition, place, value))
    frame = pd.DataFrame(rows, columns=["participant_id", "site", "condition", "condition_place", "value"])
    return frame.assign(
        trial_id=[f"T{n}" for n in range(len(frame))],
        visit="first",
        set_speed_m_per_s=3.0,
        event_method="force",
        outcome="contact_time_s",
        doubt=0.004,
        measured_speed=3.0,
        exact_set_speed=3.0,
        accepted_by_override=False,
        noted=False,
        noted_by_one=False,
        mass_kg=70.0,
        sex="female",
    )


def found(rows: pd.DataFrame, *asked: PlannedComparison, **plan: Any) -> pd.DataFrame:
    made = Plan(version="1", primary=asked or (ASKED,), **plan)
    table, pairs = planned_answers(rows, made, TO_SHOD, VISITS, STAMP)
    assert to_arrow_table(PLANNED_CONTRASTS, table.assign(code_version="0", study_version="0")).num_rows == len(table)
    assert not table.duplicated(list(PLANNED_CONTRASTS.key)).any()
    assert not pairs.duplicated(list(PLANNED_DIFFERENCES.key)).any()
    told = table[table["variant"] == "main"].set_index(list(ASKED_KEY))["runner_count"]
    each = pairs.groupby(list(ASKED_KEY), observed=True)["participant_id"].nunique()
    assert each.to_dict() == told[told > 0].to_dict(), "an answer is made of the runners that stand beside it"
    return table


def main_row(rows: pd.DataFrame, *asked: PlannedComparison, **plan: Any) -> dict[str, Any]:
    table = found(rows, *asked, **plan)
    return dict(table[table["variant"] == "main"].iloc[0])


def test_without_covariates_and_exclusions_the_plan_says_what_the_pool_says() -> None:
    rows = trials()
    means = rows.rename(columns={"value": "mean_value"}).assign(trial_count=1)
    runners = runner_contrasts(means, TO_SHOD)
    pool = pooled_contrasts(runners, site_contrasts(runners, TO_SHOD), TO_SHOD).set_index("pooling_method")
    for model in ("one_stage_mixed_model", "random_effects_restricted_likelihood"):
        row = main_row(rows, pooling_model=model)
        for name in ("estimate_value", "lower_limit_value", "upper_limit_value", "two_sided_p_value", "site_count"):
            assert row[name] == pytest.approx(pool.loc[model, name], rel=1e-9), name


def test_what_running_second_does_is_taken_out_though_most_ran_the_reference_first() -> None:
    rows = trials(effect=-0.02, order_effect=0.03, reference_first=0.75)
    assert main_row(rows)["estimate_value"] == pytest.approx(-0.02 + 0.03 * 0.5, abs=0.003)
    row = main_row(rows, covariates=("order",))
    assert row["covariates"] == "order"
    assert row["estimate_value"] == pytest.approx(-0.02, abs=0.003)


def test_an_answer_with_covariates_is_the_mixed_model_of_differences_made_by_hand() -> None:
    """The difference of each runner, +1 where the condition came second and -1 where first, and what speeds differ by."""
    rows = trials(order_effect=0.03, reference_first=0.75)
    rows = rows.assign(measured_speed=3.0 + np.random.default_rng(4).normal(0, 0.1, len(rows)))
    columns = ["value", "condition_place", "measured_speed"]
    sides = rows.pivot(index=["participant_id", "site"], columns="condition", values=columns)
    value, order, speed = (
        (sides[name, "unshod"].astype(float) - sides[name, "shod"].astype(float)).to_numpy() for name in columns
    )
    runners, sites = (sides.index.get_level_values(name).to_numpy(object) for name in ("participant_id", "site"))
    expected = one_stage(value, runners, sites, np.column_stack([order, speed]))
    row = main_row(rows, covariates=("order", "speed"))
    assert set(order) == {-1.0, 1.0}
    assert row["estimate_value"] == pytest.approx(expected.effect.estimate)
    assert row["lower_limit_value"] == pytest.approx(expected.effect.lower)
    assert row["degrees_of_freedom"] == pytest.approx(expected.freedom)


def test_an_order_that_is_the_same_for_all_cannot_be_told_from_the_difference_and_the_row_says_so() -> None:
    row = main_row(trials(order_effect=0.03, reference_first=1.0), covariates=("order",))
    assert row["covariates"] == "none"
    assert "without order: it is the same for all" in row["reason_simpler"]
    assert row["estimate_value"] == pytest.approx(-0.02 + 0.03, abs=0.003), "and nothing is corrected"


@pytest.mark.parametrize(("spread", "used"), [(0.002, "none"), (0.05, "speed")])
def test_a_speed_that_hardly_varies_is_no_covariate_and_the_row_says_so(spread: float, used: str) -> None:
    """Its slope would be chance, and the answer one for a speed that nobody ran at."""
    given_trials = trials()
    faster = 0.1 + spread * np.linspace(-0.5, 0.5, len(given_trials)) * (given_trials["condition"] == "unshod")
    planned = Plan(version="1", primary=(ASKED,), covariates=("speed",))
    found, _ = planned_answers(given_trials.assign(measured_speed=3.0 + faster), planned, TO_SHOD, VISITS, STAMP)
    row = found.iloc[0]
    assert row["covariates"] == used
    told = "without speed: it varies by less than 0.01 m/s, too little to tell what it does"
    assert (row["reason_simpler"] == told) == (used == "none")
    assert row["standard_error_value"] < 0.003


def test_a_covariate_that_no_model_can_have_leaves_out_nobody_of_whom_it_is_not_known() -> None:
    known = trials()["participant_id"].str[-1] < "5"
    rows = trials().assign(measured_speed=np.where(known, 3.0, np.nan))
    row, bare = main_row(rows, covariates=("speed",)), main_row(rows)
    assert (row["runner_count"], row["lacking_covariate_count"]) == (bare["runner_count"], 0)
    assert row["estimate_value"] == bare["estimate_value"]
    assert row["reason_simpler"].startswith("without speed: it hardly varies among the ")


def test_who_ran_the_condition_later_is_counted_over_all_sites_with_or_without_the_covariate() -> None:
    for plan in ({}, {"covariates": ("order",)}):
        row = main_row(trials(reference_first=0.75), **plan)
        assert (row["condition_later_count"], row["condition_earlier_count"]) == (18, 6), plan
    unknown = trials().assign(condition_place=np.nan)
    row = main_row(unknown)
    assert (row["condition_later_count"], row["condition_earlier_count"]) == (0, 0)


def test_what_a_faster_condition_does_is_taken_out() -> None:
    rows = trials()
    faster = np.where(rows["condition"] == "unshod", np.tile([0.05, 0.05, 0.25, 0.45], 12), 0.0)
    rows = rows.assign(measured_speed=3.0 + faster, value=rows["value"] - 0.05 * faster)
    assert main_row(rows)["estimate_value"] < -0.028
    row = main_row(rows, covariates=("speed",))
    assert row["estimate_value"] == pytest.approx(-0.02, abs=0.003)


def test_body_mass_as_a_covariate_leaves_the_mean_and_takes_out_its_share_of_the_scatter() -> None:
    rows = trials()
    mass = rows["participant_id"].map({who: 60.0 + n for n, who in enumerate(rows["participant_id"].unique())})
    heavier = (rows["condition"] == "unshod") * (mass - mass.mean()) * 0.003
    rows = rows.assign(mass_kg=mass, value=rows["value"] + heavier)
    plain, told = main_row(rows), main_row(rows, covariates=("mass",))
    assert told["estimate_value"] == pytest.approx(plain["estimate_value"], abs=1e-3)
    assert told["rest_sd_value"] < 0.7 * plain["rest_sd_value"]


def test_every_sex_that_was_stated_is_a_level_of_its_own_and_anybody_can_compute_the_answer_anew() -> None:
    """Six of 24 stated other, and to them the condition does 0.03 more; nobody is thrown out for it."""
    rows = trials(effect=-0.02)
    who = rows["participant_id"].unique()
    sex = {runner: ("female", "male", "other", "female")[n % 4] for n, runner in enumerate(who)}
    mass = {runner: 60.0 + 3 * (n % 5) for n, runner in enumerate(who)}
    rows = rows.assign(sex=rows["participant_id"].map(sex), mass_kg=rows["participant_id"].map(mass))
    rows["value"] += 0.03 * ((rows["sex"] == "other") & (rows["condition"] == "unshod"))
    plan = Plan(version="1", primary=(ASKED,), covariates=("mass", "sex"))
    table, pairs = planned_answers(rows, plan, TO_SHOD, VISITS, STAMP)
    row = table.iloc[0]
    assert (row["runner_count"], row["lacking_covariate_count"], row["covariates"]) == (24, 0, "mass, sex")
    assert (row["covariates_kept_back"], row["rare_levels"]) == ("mass, sex", "none")
    assert row["estimate_value"] == pytest.approx(pairs["difference_value"].mean(), abs=1e-6), "of the mean runner"
    assert row["rest_sd_value"] < 0.006, "less what sex does"
    design = pd.get_dummies(pairs["sex"].astype(str), dtype=float)[["male", "other"]].assign(mass=pairs["mass_kg"])
    runners, sites = (pairs[name].to_numpy(object) for name in ("participant_id", "site"))
    again = one_stage(pairs["difference_value"].to_numpy(), runners, sites, (design - design.mean()).to_numpy())
    assert row["estimate_value"] == pytest.approx(again.effect.estimate, rel=1e-9)
    assert row["lower_limit_value"] == pytest.approx(again.effect.lower, rel=1e-9)


def test_a_sex_that_few_stated_leaves_nobody_out_and_is_told_by_name_with_its_count() -> None:
    rows = trials()
    who = sorted(rows["participant_id"].unique())
    sex = dict.fromkeys(who, "female") | dict.fromkeys(who[:8], "male") | {who[9]: "other", who[10]: "undisclosed"}
    row = main_row(rows.assign(sex=rows["participant_id"].map(sex)), covariates=("sex",))
    assert (row["runner_count"], row["lacking_covariate_count"]) == (23, 1)
    assert row["rare_levels"] == "sex other is 1 runner, a level of its own that says little of others"
    assert main_row(rows, covariates=("sex",))["rare_levels"] == "none", "all are of one sex"


def test_runners_of_whom_a_covariate_is_not_known_are_left_out_and_counted_and_one_nobody_has_is_left_out_itself() -> (
    None
):
    rows = trials()
    some = rows.assign(mass_kg=rows["mass_kg"].where(rows["participant_id"] != "R00"), sex="undisclosed")
    some.loc[some["participant_id"] == "R01", "mass_kg"] = 80.0
    row = main_row(some, covariates=("mass", "sex"))
    assert (row["lacking_covariate_count"], row["runner_count"], row["measured_count"]) == (1, 23, 23)
    assert row["covariates"] == "mass"
    assert "without sex: it is known of no runner" in row["reason_simpler"]


def test_a_site_of_which_a_covariate_is_not_known_is_named_and_nothing_is_told_without_it_once_more() -> None:
    rows = trials(sites=4)
    rows["measured_speed"] = 3.0 + np.random.default_rng(3).normal(0, 0.1, len(rows))
    rows.loc[rows["site"].isin(["site_0", "site_2"]), "measured_speed"] = np.nan
    doubts = ("leave_one_site_out", "without_covariates")
    table = found(rows, covariates=("order", "speed"), sensitivity=doubts).set_index(["variant", "variant_detail"])
    main = table.loc[("main", "none")]
    assert (main["site_count"], main["lacking_covariate_count"]) == (2, 16)
    assert main["sites_left_out"] == "site_0 (speed), site_2 (speed)"
    assert set(table.loc["without_site"].index) == {"site_1", "site_3"}, "the others are not in the answer"
    plain = table.loc[("without_covariates", "none")]
    assert (plain["site_count"], plain["sites_left_out"]) == (4, "none")


def test_exclusions_leave_trials_out_and_count_them() -> None:
    rows = trials()
    odd = rows.assign(
        accepted_by_override=rows["trial_id"] == "T0",
        noted=rows["trial_id"].isin(["T2", "T3"]),
        noted_by_one=rows["trial_id"] == "T3",
        measured_speed=np.where(rows["trial_id"] == "T6", 3.5, 3.0),
    )
    for exclude, trials_out, runners in (
        ({}, 1, 23),
        ({"accepted_by_override": True}, 2, 22),
        ({"noted": True}, 2, 23),
        ({"largest_speed_off_fraction": 0.1}, 2, 22),
    ):
        row = main_row(odd, exclude=exclude)
        assert (row["excluded_trial_count"], row["runner_count"]) == (trials_out, runners), exclude


def test_every_way_of_doubting_is_a_row_of_its_own_and_only_the_planned_one_is_adjusted() -> None:
    rows = trials()
    rows.loc[rows["site"] == "site_2", "event_method"] = "sensor"
    rows.loc[rows["trial_id"] == "T0", "accepted_by_override"] = True
    every = Plan.model_fields["sensitivity"].annotation
    words = [word for literal in every.__args__[:1] for word in literal.__args__]
    table = found(rows, sensitivity=words, covariates=("order",)).set_index(["variant", "variant_detail"])
    alone = ("main", "without_overridden", "without_noted", "uncertainty_weights", "other_model", "without_covariates")
    of_sites = {("without_site", f"site_{n}") for n in range(3)}
    of_methods = {("one_event_method", method) for method in ("force", "sensor")}
    assert set(table.index) == {(word, "none") for word in alone} | of_sites | of_methods
    assert table["adjusted_p_value"].notna().sum() == 1
    assert table.loc[("without_site", "site_1"), "site_count"] == 2
    assert table.loc[("one_event_method", "force"), "site_count"] == 2
    assert table.loc[("one_event_method", "sensor"), "fitted_components"] == "one_site"
    assert table.loc[("without_overridden", "none"), "runner_count"] == 23
    assert table.loc[("other_model", "none"), "pooling_method"] == "random_effects_restricted_likelihood"
    assert table.loc[("main", "none"), "event_methods"] == "force, sensor"


def test_a_way_that_leaves_the_very_same_numbers_is_marked_and_weights_that_nobody_has_give_no_answer() -> None:
    words = ("without_overridden", "without_noted", "uncertainty_weights", "other_model", "one_event_method")
    rows = trials(reference_first=1.0)
    rows.loc[rows["trial_id"] == "T0", "noted"] = True
    plan = {"sensitivity": (*words, "without_covariates", "leave_one_site_out"), "covariates": ("order",)}
    table = found(rows, **plan).set_index("variant")["changes_nothing"]
    assert set(table[table].index) == {
        "without_overridden",
        "uncertainty_weights",
        "one_event_method",
        "without_covariates",
    }, "one trial on each side, all by force, and an order that is the same for all is no covariate"
    row = found(rows.assign(doubt=np.nan), **plan).set_index("variant").loc["uncertainty_weights"]
    assert row["reason_null"] == "no trial of it has an uncertainty to be weighed by"
    assert pd.isna(row["estimate_value"])
    assert not row["changes_nothing"]


def test_two_ways_that_leave_the_same_rows_count_once_and_the_second_says_which_it_repeats() -> None:
    rows = trials()
    rows.loc[rows["site"] == "site_2", "event_method"] = "sensor"
    table = found(rows, sensitivity=("leave_one_site_out", "one_event_method"), event_methods=("force", "sensor"))
    told = table.set_index(["variant", "variant_detail"])
    without, alone = told.loc[("without_site", "site_2")], told.loc[("one_event_method", "force")]
    assert alone["estimate_value"] == without["estimate_value"]
    assert (without["same_as"], without["changes_nothing"]) == ("none", False)
    assert (alone["same_as"], alone["changes_nothing"]) == ("without_site site_2", True)
    assert told.loc[("main", "none"), "same_as"] == "none"


def test_who_was_measured_and_has_no_value_on_either_side_or_at_a_whole_site_is_counted_by_side() -> None:
    rows = trials()
    measured = rows[["participant_id", "site", "visit", "condition", "set_speed_m_per_s", "event_method", "trial_id"]]
    measured = measured.assign(is_bout=False)
    whole = answers(rows, measured)
    assert whole["lacking_both_count"] == whole["lacking_value_count"] == 0
    runner = rows["participant_id"].iloc[0]
    one_side = (rows["participant_id"] == runner) & (rows["condition"] != rows["condition"].iloc[0])
    nobody = rows["site"] == "site_2"
    row = answers(rows[~nobody & ~one_side], measured)
    at_site = measured.loc[measured["site"] == "site_2", "participant_id"].nunique()
    assert row["measured_count"] == whole["measured_count"]
    assert row["lacking_both_count"] == at_site
    assert row["lacking_value_count"] + row["lacking_reference_count"] == 1
    assert row["runner_count"] == whole["runner_count"] - at_site - 1


def answers(rows: pd.DataFrame, measured: pd.DataFrame) -> pd.Series[Any]:
    """The main row of the plan of ``found``, with what was measured beside it."""
    plan = Plan(version="1", primary=(ASKED,))
    return planned_answers(rows, plan, TO_SHOD, VISITS, STAMP, measured)[0].iloc[0]


def test_a_planned_covariate_with_nothing_to_allow_for_is_said_to_be_left_out() -> None:
    rows = trials()
    row = main_row(rows.assign(measured_speed=3.0), covariates=("speed",))
    assert row["covariates"] == "none"
    assert row["reason_simpler"] == "without speed: it is alike for all, with nothing to allow for"


def test_a_method_that_may_not_be_pooled_is_not() -> None:
    rows = trials()
    rows.loc[rows["site"] == "site_2", "event_method"] = "markers"
    assert main_row(rows)["site_count"] == 3
    row = main_row(rows, event_methods=("force", "sensor"))
    assert (row["site_count"], row["event_methods"]) == (2, "force")


def test_of_a_site_with_two_methods_the_one_that_is_believed_most_is_used_alone() -> None:
    rows = trials()
    twice = pd.concat(
        [rows, rows.assign(event_method="markers", value=rows["value"] + 1, trial_id=rows["trial_id"] + "m")]
    )
    twice = twice[(twice["site"] != "site_0") | (twice["event_method"] == "markers")].reset_index(drop=True)
    assert main_row(twice)["estimate_value"] == pytest.approx(main_row(rows)["estimate_value"], abs=1e-9)


def test_a_runner_at_several_speeds_counts_once_and_a_speed_asked_for_is_used_alone() -> None:
    rows = trials()
    fast = rows.assign(set_speed_m_per_s=4.0, exact_set_speed=4.0, trial_id=rows["trial_id"] + "f")
    fast["value"] -= np.where(fast["condition"] == "unshod", 0.01, 0.0)
    both = pd.concat([rows, fast], ignore_index=True)
    slow = main_row(rows)
    assert main_row(both)["runner_count"] == slow["runner_count"]
    assert main_row(both)["estimate_value"] == pytest.approx(slow["estimate_value"] - 0.005)
    at_slow = main_row(both, ASKED.model_copy(update={"set_speed_m_per_s": 3.0}))
    assert at_slow["at_speed"] == "3.0 m/s"
    assert at_slow["estimate_value"] == pytest.approx(slow["estimate_value"])


@tries(200)
@given(st.integers(100, 899).map(lambda hundredths: hundredths / 100))
@example(3.25)
@example(3.05)
def test_a_speed_half_way_between_two_tenths_is_the_same_in_the_plan_and_in_the_warehouse(speed: float) -> None:
    (there,) = duckdb.execute(
        f"SELECT {COMPARED_SPEED_SQL} FROM (SELECT ?::DOUBLE AS set_speed_m_per_s)", [speed]
    ).fetchall()[0]
    assert there == compared_speed(speed)
    assert abs(there - speed) < 0.05 + 1e-9


def test_a_plan_at_a_speed_half_way_asks_for_the_runs_at_that_speed() -> None:
    rows = trials().assign(set_speed_m_per_s=compared_speed(3.25), exact_set_speed=3.25)
    row = main_row(rows, ASKED.model_copy(update={"set_speed_m_per_s": 3.25}))
    assert (row["at_speed"], row["runner_count"]) == ("3.3 m/s", 24)
    at = [ASKED.model_copy(update={"set_speed_m_per_s": speed}) for speed in (3.25, 3.3, 3.2)]
    assert question(at[0]) == question(at[1]) != question(at[2]), "asked once"


def test_the_interval_is_told_against_the_smallest_effect() -> None:
    rows = trials(effect=-0.02)
    for smallest, words in ((0.01, "matters"), (0.03, "too_small"), (-main_row(rows)["estimate_value"], "is_there")):
        asked = ASKED.model_copy(update={"smallest_effect": smallest})
        assert main_row(rows, asked)["against_smallest_effect"] == words
    asked = ASKED.model_copy(update={"smallest_effect": 0.0002})
    assert main_row(trials(effect=0.0), asked)["against_smallest_effect"] == "open"


def test_a_comparison_that_nobody_has_keeps_its_row_its_reason_and_its_place_in_the_family() -> None:
    absent = ASKED.model_copy(update={"outcome": "flight_time_s"})
    table = found(trials(), ASKED, absent)
    row = dict(table[table["outcome"] == "flight_time_s"].iloc[0])
    assert row["reason_null"].startswith("no runner has it on both sides")
    assert row["family_count"] == 2
    told = table.set_index("outcome").loc["contact_time_s"]
    assert told["adjusted_p_value"] == pytest.approx(min(1.0, 2 * told["two_sided_p_value"]))


def test_change_over_visits_and_interactions_are_compared_with_the_first_visit_of_the_plan() -> None:
    rows = trials()
    later = rows.assign(visit="last", trial_id=rows["trial_id"] + "l")
    later["value"] += np.where(later["condition"] == "unshod", 0.004, 0.001)
    both = pd.concat([rows, later], ignore_index=True)
    change = ASKED.model_copy(update={"contrast": "visit", "visit": "last", "reference_condition": "unshod"})
    interaction = ASKED.model_copy(update={"contrast": "interaction", "visit": "last"})
    noise = np.random.default_rng(1).normal(0, 1e-5, len(both))
    table = found(both.assign(value=both["value"] + noise), change, interaction).set_index("contrast")
    assert table["reference_visit"].tolist() == ["first", "first"]
    assert table["estimate_value"].tolist() == pytest.approx([0.004, 0.003], abs=2e-5)


def test_only_what_the_plan_names_is_not_exploratory() -> None:
    means = trials().rename(columns={"value": "mean_value"}).assign(trial_count=1)
    other = means.assign(outcome="flight_time_s")
    runners = runner_contrasts(pd.concat([means, other]), TO_SHOD)
    plan = Plan(version="1", primary=(ASKED,))
    pool = pooled_contrasts(runners, site_contrasts(runners, TO_SHOD), TO_SHOD, families(plan))
    told = dict(zip(pool["outcome"], pool["family"], strict=True))
    assert told == {"contact_time_s": "primary", "flight_time_s": "exploratory"}


def test_a_comparison_that_is_planned_at_one_speed_is_exploratory_at_any_other() -> None:
    means = trials().rename(columns={"value": "mean_value"}).assign(trial_count=1)
    faster = means.assign(set_speed_m_per_s=4.0, mean_value=means["mean_value"] + 0.01)
    runners = runner_contrasts(pd.concat([means, faster]), TO_SHOD)
    sites = site_contrasts(runners, TO_SHOD)

    def told(primary: float | None, *secondary: float | None) -> dict[str, str]:
        at, *further = (ASKED.model_copy(update={"set_speed_m_per_s": speed}) for speed in (primary, *secondary))
        pool = pooled_contrasts(
            runners, sites, TO_SHOD, families(Plan(version="1", primary=(at,), secondary=tuple(further)))
        )
        return dict(zip(pool["at_speed"], pool["family"], strict=True))

    assert told(3.0) == {"3.0 m/s": "primary", "4.0 m/s": "exploratory"}
    assert told(None) == {"3.0 m/s": "primary", "4.0 m/s": "primary"}
    assert told(4.0, None) == {"3.0 m/s": "secondary", "4.0 m/s": "primary"}


@tries(30)
@given(
    st.lists(st.floats(0, 1), min_size=1, max_size=12),
    st.sampled_from([("holm", "holm"), ("benjamini_hochberg", "fdr_bh")]),
)
def test_adjusted_p_values_are_those_of_statsmodels(p_values: list[float], rule: tuple[Any, str]) -> None:
    assert adjusted(p_values, rule[0]) == pytest.approx(multipletests(p_values, method=rule[1])[1].tolist())


def test_adjusted_p_values_of_holm_by_hand_and_one_that_is_missing_counts_as_one() -> None:
    assert adjusted([0.01, 0.04, 0.03], "holm") == pytest.approx([0.03, 0.06, 0.06])
    assert adjusted([0.02, None], "holm") == [pytest.approx(0.04), None]
    assert adjusted([0.02, None], "none") == [0.02, None]
    assert adjusted([], "holm") == []


def participants(rows: pd.DataFrame, measured: pd.DataFrame, one: PlannedComparison = ASKED, **plan: Any) -> Any:
    made = Plan(version="1", primary=(one,), **plan)
    table, pairs = planned_answers(rows, made, TO_SHOD, VISITS, STAMP)
    told = planned_participants(measured.assign(is_bout=False), rows, pairs, made, TO_SHOD, VISITS, STAMP).set_index(
        "participation"
    )["runner_count"]
    assert told.sum() == measured["participant_id"].nunique(), "every runner stands once"
    assert told["in_it"] == table.loc[0, "runner_count"]
    return told.to_dict()


def test_who_is_not_in_an_answer_is_counted_with_the_first_reason_why() -> None:
    rows = trials(sites=2, runners=10)
    number, shod = rows["participant_id"].str[-1], rows["condition"] == "shod"
    rows = rows[~((number == "0") & ~shod) & ~((number == "1") & shod)].copy()  # never ran unshod, never shod
    number, shod = number.loc[rows.index], shod.loc[rows.index]
    rows.loc[number == "2", "visit"] = "last"
    rows.loc[(number == "3") & shod, "set_speed_m_per_s"] = 4.0
    rows.loc[number == "4", "noted"] = True
    rows.loc[number == "5", "event_method"] = "markers"
    rows.loc[number == "8", "condition_place"] = 3 - rows["condition_place"]  # the others all ran shod first
    rows.loc[number == "7", "condition_place"] = np.nan
    valued = rows[~((number == "6") & shod)]
    expected = {"in_it": 4, "not_at_visit": 2, "not_in_condition": 2, "not_in_reference": 2, "sides_apart": 2}
    expected |= {"left_out_by_plan": 2, "other_method": 2, "lacking_value": 2, "lacking_covariate": 2}
    assert participants(valued, rows, covariates=("order",), exclude={"noted": True}) == expected


def test_who_was_there_at_another_speed_than_is_asked_about_has_not_dropped_out() -> None:
    rows = trials(sites=2, runners=6)
    rows.loc[rows["participant_id"].str[-1] < "2", "set_speed_m_per_s"] = 4.0
    one = ASKED.model_copy(update={"set_speed_m_per_s": 3.0})
    assert participants(rows, rows, one) == {"in_it": 8, "at_other_speed": 4}


def test_of_a_change_over_visits_the_runners_who_did_not_come_again_are_counted() -> None:
    rows = trials(sites=2, runners=6)
    later = rows[rows["participant_id"].str[-1] < "4"].assign(visit="last", trial_id="L" + rows["trial_id"])
    both = pd.concat([rows, later], ignore_index=True)
    one = PlannedComparison(**ASKED.model_dump() | {"contrast": "interaction", "visit": "last"})
    assert participants(both, both, one) == {"in_it": 8, "not_at_visit": 4}


def test_one_runner_by_force_does_not_drop_the_others_of_a_site_who_are_by_sensor() -> None:
    rows = trials()
    by_sensor = (rows["site"] == "site_0") & (rows["participant_id"] != "R00")
    rows.loc[by_sensor, "event_method"] = "sensor"
    assert main_row(rows)["runner_count"] == 23
    assert participants(rows, rows) == {"in_it": 23, "other_method": 1}


def test_a_runners_mass_is_that_of_the_sessions_that_are_compared_whatever_else_is_planned() -> None:
    rows = trials().assign(mass_kg=lambda own: 60 + own["participant_id"].str[1:].astype(int) % 7)
    later = rows.assign(visit="last", mass_kg=100 - rows["mass_kg"], trial_id="L" + rows["trial_id"])
    other = PlannedComparison(**ASKED.model_dump() | {"outcome": "step_time_s", "contrast": "visit", "visit": "last"})
    every = pd.concat([rows, later, later.assign(outcome="step_time_s"), rows.assign(outcome="step_time_s")])
    alone, beside = (
        main_row(own.reset_index(drop=True), ASKED, *more, covariates=("mass",))
        for own, more in ((rows, ()), (every, (other,)))
    )
    for name in ("covariates", "estimate_value", "lower_limit_value", "upper_limit_value"):
        assert alone[name] == beside[name], name


def test_trials_left_out_are_counted_at_the_speed_that_is_asked_about_and_a_speed_that_nobody_measured_is_not_kept() -> (
    None
):
    rows = trials().assign(exact_set_speed=3.0)
    fast = rows.assign(set_speed_m_per_s=4.0, exact_set_speed=4.0, measured_speed=5.0, trial_id="F" + rows["trial_id"])
    rows.loc[rows["participant_id"] == "R00", "measured_speed"] = np.nan
    one = PlannedComparison(**ASKED.model_dump() | {"set_speed_m_per_s": 3.0})
    row = main_row(pd.concat([rows, fast], ignore_index=True), one, exclude={"largest_speed_off_fraction": 0.1})
    assert (row["runner_count"], row["excluded_trial_count"]) == (23, 2)
