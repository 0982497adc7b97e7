from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.statistics.contrasts import runner_contrasts, site_contrasts
from pipelines.science.statistics.pooled import pooled_contrasts
from schemas.convert.to_arrow import to_arrow_table
from schemas.outcomes_contrasts import POOLED_CONTRASTS, RUNNER_CONTRASTS, SITE_CONTRASTS
from schemas.processing import ContrastProcessing, Processing
from schemas.study import Study
from tests.builders import a_study
from tests.pipelines.science.measured import measured
from tests.tries import tries

STAMP = {"code_version": "0", "study_version": "0"}
TO_CUSHIONED = Processing(contrasts=ContrastProcessing(reference_condition="cushioned"))
SITES = {"brack": 5, "corrie": 4, "tarn": 4}


def runs(
    effect: float = -0.012, spread: float = 0.003, seed: int = 7, **sites: int
) -> list[tuple[str, str, str, float]]:
    rng = np.random.default_rng(seed)
    rows = []
    for site, count in (sites or SITES).items():
        for i in range(count):
            own = rng.normal(0.25, 0.02)
            rows.append((f"{site}{i}", site, "cushioned", own))
            rows.append((f"{site}{i}", site, "unshod", own + effect + rng.normal(0, spread)))
    return rows


def tables(rows: list[tuple[str, str, str, float]]) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    runner = runner_contrasts(measured(rows), TO_CUSHIONED)
    site = site_contrasts(runner, TO_CUSHIONED)
    pooled = pooled_contrasts(runner, site, TO_CUSHIONED)
    for table, frame in ((RUNNER_CONTRASTS, runner), (SITE_CONTRASTS, site), (POOLED_CONTRASTS, pooled)):
        assert to_arrow_table(table, frame.assign(**STAMP)).num_rows == len(frame)
        assert not frame.duplicated(list(table.key)).any()
    return runner, site, pooled


def pooled(runner: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    return pooled_contrasts(runner, site_contrasts(runner, processing), processing)


def by_method(pooled: pd.DataFrame) -> dict[str, Any]:
    return {row["pooling_method"]: row for row in pooled.to_dict("records")}


def test_sites_and_visits_of_one_runner_are_compared_apart() -> None:
    one = measured([("R1", "brack", "cushioned", 1.0), ("R1", "brack", "unshod", 2.0)])
    other_site = measured([("R1", "corrie", "cushioned", 1.0), ("R1", "corrie", "unshod", 4.0)])
    later = one.assign(visit="week_5", mean_value=[1.0, 1.5])
    table = runner_contrasts(pd.concat([one, other_site, later]), TO_CUSHIONED)
    assert table["difference_value"].tolist() == [1.0, 0.5, 3.0]


def test_conditions_run_at_two_speeds_are_compared_at_neither_and_speeds_never_share_a_row() -> None:
    rows = [("R1", "brack", "cushioned", 0.25), ("R1", "brack", "unshod", 0.23)]
    slow, fast = measured(rows), measured(rows).assign(set_speed_m_per_s=4.5, mean_value=[0.20, 0.19])
    mixed = pd.concat([slow[slow["condition"] == "cushioned"], fast[fast["condition"] == "unshod"]])
    assert runner_contrasts(mixed, TO_CUSHIONED).empty
    both = runner_contrasts(pd.concat([slow, fast]), TO_CUSHIONED)
    assert dict(zip(both["set_speed_m_per_s"], both["difference_value"], strict=True)) == pytest.approx(
        {3.0: -0.02, 4.5: -0.01}
    )
    assert site_contrasts(both, TO_CUSHIONED)["at_speed"].tolist() == ["3.0 m/s", "4.5 m/s"]


def test_runners_at_speeds_of_their_own_are_pooled_only_if_the_study_says_so_and_each_ran_at_one() -> None:
    rows = measured(runs())
    own = {runner: round(2.5 + 0.1 * n, 1) for n, runner in enumerate(sorted(set(rows["participant_id"])))}
    runner = runner_contrasts(rows.assign(set_speed_m_per_s=rows["participant_id"].map(own)), TO_CUSHIONED)
    assert pooled(runner, TO_CUSHIONED)["estimate_value"].isna().all(), "nobody shares a speed"
    by_own = Processing(contrasts=ContrastProcessing(reference_condition="cushioned", speeds="own"))
    same = runner_contrasts(rows, TO_CUSHIONED)
    one, other = pooled(runner, by_own), pooled(same, TO_CUSHIONED)
    assert set(one["at_speed"]) == {"own speed"}
    assert one["estimate_value"].tolist() == pytest.approx(other["estimate_value"].tolist())
    twice = pd.concat([runner, runner.assign(set_speed_m_per_s=runner["set_speed_m_per_s"] + 2)])
    assert site_contrasts(twice, by_own).empty, "no mean of two speeds stands for a runner"


def test_methods_of_finding_events_are_never_pooled_without_saying_so() -> None:
    rows = runs()
    by_method = measured(rows).assign(event_method=["sensor" if site == "tarn" else "force" for _, site, _, _ in rows])
    runner = runner_contrasts(by_method, TO_CUSHIONED)
    table = pooled(runner, TO_CUSHIONED)
    told = table[table["pooling_method"] == "one_stage_mixed_model"].set_index("event_method")
    assert told["site_count"].to_dict() == {"force": 2, "sensor": 1, "several": 3}
    one = pooled(runner_contrasts(measured(rows), TO_CUSHIONED), TO_CUSHIONED)
    assert set(one["event_method"]) == {"force"}
    alike = one[one["pooling_method"] == "one_stage_mixed_model"]["estimate_value"].iloc[0]
    assert told.loc["several", "estimate_value"] == pytest.approx(alike)
    mixed = measured([("R1", "brack", "cushioned", 1.0), ("R1", "brack", "unshod", 2.0)])
    mixed = mixed.assign(event_method=["force", "markers"])
    assert runner_contrasts(mixed, TO_CUSHIONED).empty, "one runner, two methods: the difference would be theirs"


def test_over_several_methods_each_site_counts_by_the_one_that_most_of_its_runners_have_as_in_planned_answers() -> None:
    rows = runs()
    names = sorted({runner for runner, site, _, _ in rows if site == "tarn"})
    assert len(names) > 2
    forced = ["sensor" if site == "tarn" else "force" for _, site, _, _ in rows]
    one_by_force = measured([row for row in rows if row[0] == names[0]]).assign(event_method="force", mean_value=9.0)
    table = pd.concat([measured(rows).assign(event_method=forced), one_by_force], ignore_index=True)
    runner = runner_contrasts(table, TO_CUSHIONED)
    told = pooled(runner, TO_CUSHIONED).set_index(["pooling_method", "event_method"])
    several = told.loc[("one_stage_mixed_model", "several")]
    assert (several["site_count"], several["runner_count"]) == (3, len({row[0] for row in rows}))


def test_change_over_the_visits_and_whether_the_difference_changes_are_asked() -> None:
    first = measured([("R1", "brack", "cushioned", 1.0), ("R1", "brack", "unshod", 2.0)])
    later = first.assign(visit="week_5", mean_value=[1.5, 2.2])
    last = first.assign(visit="week_10", mean_value=[1.5, 3.0])
    table = runner_contrasts(pd.concat([first, later, last]), TO_CUSHIONED, ["week_0", "week_5", "week_10"])
    found = {
        (row["contrast"], row["condition"], row["visit"]): row["difference_value"] for row in table.to_dict("records")
    }
    assert found == pytest.approx(
        {
            ("condition", "unshod", "week_0"): 1.0,
            ("condition", "unshod", "week_5"): 0.7,
            ("condition", "unshod", "week_10"): 1.5,
            ("visit", "cushioned", "week_5"): 0.5,
            ("visit", "cushioned", "week_10"): 0.5,
            ("visit", "unshod", "week_5"): 0.2,
            ("visit", "unshod", "week_10"): 1.0,
            ("interaction", "unshod", "week_5"): -0.3,
            ("interaction", "unshod", "week_10"): 0.5,
        }
    )
    assert set(table[table["contrast"] != "condition"]["reference_visit"]) == {"week_0"}


def test_the_change_of_a_difference_is_pooled_as_a_difference_is() -> None:
    first = measured(runs(brack=6, corrie=6, tarn=6))
    gain = np.where(first["condition"] == "unshod", 0.02, 0.01)
    noise = np.random.default_rng(3).normal(0, 0.001, len(first))
    later = first.assign(visit="week_5", mean_value=first["mean_value"] + gain + noise)
    runner = runner_contrasts(pd.concat([first, later]), TO_CUSHIONED, ["week_0", "week_5"])
    table = pooled(runner, TO_CUSHIONED)
    model = table[table["pooling_method"] == "one_stage_mixed_model"]
    found = dict(zip(zip(model["contrast"], model["condition"], strict=True), model["estimate_value"], strict=True))
    assert found["interaction", "unshod"] == pytest.approx(0.01, abs=0.001)
    assert found["visit", "unshod"] == pytest.approx(0.02, abs=0.001)
    assert found["visit", "cushioned"] == pytest.approx(0.01, abs=0.001)


def test_who_was_measured_and_has_no_value_is_counted_by_side() -> None:
    lost = {"brack0", "brack1", "corrie0"}
    rows = measured(runs())
    other = rows.assign(outcome="flight_time_s")  # by which it is known that they were measured
    rows = rows[~((rows["condition"] == "unshod") & rows["participant_id"].isin(lost))]
    runner = runner_contrasts(pd.concat([rows, other]), TO_CUSHIONED)
    without = runner[runner["difference_value"].isna()]
    assert set(without["participant_id"]) == lost
    assert set(without["reason_null"]) == {"no_value"}
    site = site_contrasts(runner, TO_CUSHIONED).set_index(["outcome", "site"])
    assert site.loc[("contact_time_s", "brack"), "lacking_value_count"] == 2
    model = by_method(pooled(runner, TO_CUSHIONED).query("outcome == 'contact_time_s'"))["one_stage_mixed_model"]
    assert (model["measured_count"], model["lacking_value_count"], model["runner_count"]) == (13, 3, 10)
    assert (model["lacking_reference_count"], model["lacking_both_count"]) == (0, 0)


def test_an_outcome_that_one_condition_alone_has_is_told_with_that_reason() -> None:
    rows = measured(runs())
    peak = rows[rows["condition"] == "cushioned"].assign(outcome="impact_peak_bw")
    runner = runner_contrasts(pd.concat([rows, peak]), TO_CUSHIONED)
    table = pooled(runner, TO_CUSHIONED)
    row = by_method(table[table["outcome"] == "impact_peak_bw"])["one_stage_mixed_model"]
    assert pd.isna(row["estimate_value"])
    assert "no runner has it on both sides: of 13 measured, 13 have it in the reference only, 0" in row["reason_null"]


def test_a_runner_without_both_conditions_has_no_row() -> None:
    assert runner_contrasts(measured([("R1", "brack", "unshod", 1.0)]), TO_CUSHIONED).empty


def test_without_a_declared_reference_every_pair_is_compared() -> None:
    long = measured([("R1", "brack", c, v) for c, v in (("unshod", 3.0), ("cushioned", 1.0), ("thin_soled", 2.0))])
    table = runner_contrasts(long, Processing())
    pairs = zip(table["condition"], table["reference_condition"], table["difference_value"], strict=True)
    assert set(pairs) == {("thin_soled", "cushioned", 1.0), ("unshod", "cushioned", 2.0), ("unshod", "thin_soled", 1.0)}


@tries(25)
@given(st.lists(st.floats(0.1, 0.4), min_size=6, max_size=12))
def test_identical_conditions_differ_by_nothing_and_are_not_pooled_as_if_they_did(values: list[float]) -> None:
    rows = [(f"R{i}", ("brack", "corrie")[i % 2], c, v) for i, v in enumerate(values) for c in ("cushioned", "unshod")]
    runner, site, pooled = tables(rows)
    assert (runner["difference_value"] == 0).all()
    assert (site["estimate_value"] == 0).all()
    assert site["reason_null"].str.contains("do not vary").all()
    assert pooled["estimate_value"].isna().all()
    assert pooled["reason_null"].notna().all()


@tries(15)
@given(st.integers(0, 10_000), st.sampled_from([1e-3, 10.0, 1000.0]), st.floats(-5, 5))
def test_the_unit_of_the_outcome_only_changes_the_unit_of_the_answer(seed: int, factor: float, shift: float) -> None:
    rows = runs(seed=seed)
    _, _, plain = tables(rows)
    _, _, other = tables([(r, s, c, factor * (v + shift)) for r, s, c, v in rows])
    for name in ("estimate_value", "standard_error_value", "lower_limit_value", "upper_limit_value"):
        scaled = other[name].to_numpy() / factor
        assert np.allclose(scaled, plain[name].to_numpy(), rtol=1e-3, atol=1e-6, equal_nan=True)


def is_turned_round(seed: int) -> None:
    rows = runs(seed=seed)
    turned = Processing(contrasts=ContrastProcessing(reference_condition="unshod"))
    forth = runner_contrasts(measured(rows), TO_CUSHIONED)
    back = runner_contrasts(measured(rows), turned)
    assert np.allclose(forth["difference_value"], -back["difference_value"])
    one, other = pooled(forth, TO_CUSHIONED), pooled(back, turned)
    assert np.allclose(one["estimate_value"], -other["estimate_value"], rtol=1e-6, atol=1e-9)
    assert np.allclose(one["lower_limit_value"], -other["upper_limit_value"], rtol=1e-6, atol=1e-9)


@tries(10)
@given(st.integers(0, 10_000))
def test_turning_the_comparison_round_turns_the_sign(seed: int) -> None:
    is_turned_round(seed)


def test_turning_it_round_turns_the_sign_of_a_study_that_an_optimiser_once_stopped_short_on() -> None:
    is_turned_round(9999)


def test_the_mixed_model_tells_its_components_and_how_far_they_can_be_trusted() -> None:
    _, _, pooled = tables(runs(brack=6, corrie=6, tarn=6))
    row = by_method(pooled)["one_stage_mixed_model"]
    assert row["fitted_components"] == "site"
    assert row["interval"] == "kenward_roger"  # sites of equal size
    assert row["degrees_of_freedom"] == pytest.approx(2.0, abs=1e-3)
    assert row["between_site_sd_value"] >= 0
    assert row["singular"] == (row["between_site_sd_value"] == 0)
    assert row["rest_sd_value"] == pytest.approx(0.003, rel=0.4)
    assert pd.isna(row["runner_sd_value"])
    assert pd.isna(row["reason_simpler"])
    assert 0 <= row["two_sided_p_value"] <= 1
    assert row["prediction_lower_value"] < row["lower_limit_value"]


def test_a_site_with_too_few_runners_is_shown_but_not_pooled() -> None:
    _, site, pooled = tables(runs(brack=5, corrie=4, tarn=2))
    small = site[site["site"] == "tarn"].iloc[0]
    assert np.isfinite(small["estimate_value"])
    assert pd.isna(small["standard_error_value"])
    assert small["reason_null"] == "2 of at least 3 runners"
    found = by_method(pooled)
    assert found["random_effects_dersimonian_laird"]["site_count"] == 2
    assert found["random_effects_dersimonian_laird"]["runner_count"] == 9
    assert found["one_stage_mixed_model"]["runner_count"] == 11
    assert pd.isna(found["random_effects_dersimonian_laird"]["prediction_lower_value"])


def test_one_site_alone_is_modelled_but_not_meta_analysed() -> None:
    _, _, pooled = tables(runs(brack=5))
    found = by_method(pooled)
    assert np.isfinite(found["one_stage_mixed_model"]["estimate_value"])
    assert found["one_stage_mixed_model"]["fitted_components"] == "one_site"
    assert set(found) == {"one_stage_mixed_model"}


def test_a_travelling_runner_counts_once_among_the_runners() -> None:
    rows = runs()
    own = zip(SITES, (0.24, 0.243, 0.236), strict=True)
    rows += [("traveller", site, c, v) for site, value in own for c, v in (("cushioned", 0.25), ("unshod", value))]
    runner, _, pooled = tables(rows)
    assert len(runner) == 16
    assert set(pooled["runner_count"]) == {14}
    assert set(pooled["travelling_runner_count"]) == {1}
    assert by_method(pooled)["one_stage_mixed_model"]["fitted_components"] == "site_and_runner"


def test_sites_that_disagree_show_it_and_widen_the_interval() -> None:
    near = runs(brack=6, corrie=6, tarn=6)
    shift = {"brack": 0.0, "corrie": -0.02, "tarn": 0.02}
    far = [(r, s, c, v + (shift[s] if c == "unshod" else 0)) for r, s, c, v in near]
    calm, torn = by_method(tables(near)[2]), by_method(tables(far)[2])
    assert torn["random_effects_restricted_likelihood"]["heterogeneity_percent"] > 90
    for name in calm:
        assert torn[name]["between_site_sd_value"] == pytest.approx(0.02, rel=0.3)
        assert torn[name]["standard_error_value"] > 5 * calm[name]["standard_error_value"]


def test_nothing_in_gives_nothing_out() -> None:
    runner, site, pooled = (f.iloc[:0] for f in tables(runs()))
    assert runner_contrasts(measured(runs()).iloc[:0], TO_CUSHIONED).empty
    assert site_contrasts(runner, TO_CUSHIONED).columns.tolist() == site.columns.tolist()
    assert pooled_contrasts(runner, site, TO_CUSHIONED).columns.tolist() == pooled.columns.tolist()


@pytest.mark.parametrize(
    "processing",
    [{"contrasts": {"reference_condition": "barefot"}}, {"transition": {"new_footwear": ["unshod", "barefot"]}}],
)
def test_a_study_that_names_a_condition_it_does_not_have_is_refused(processing: dict[str, Any]) -> None:
    study = a_study().model_dump()
    with pytest.raises(ValueError, match="names barefot, which is not among the conditions"):
        Study(**(study | {"processing": processing}))
