"""What the page of answers says of the analysis plan."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipelines.pages.planned_words import Answer
from pipelines.pages.words import outcome_words, p_words, signed
from schemas.outcomes_planned import PLANNED_PARTICIPANTS
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.reading_html import read
from tests.pipelines.pages.test_pages import table, write
from tests.tries import tries

PLAN = {"plan_sha256": "ab" * 32, "plan_version": "3"}
STATE = {**PLAN, "plan_state": "frozen", "frozen_utc": "2026-03-01T09:30:00.000+00:00", "accepted_trial_count": 0}
ASKED = {
    "family": "primary",
    "outcome": "contact_time_s",
    "contrast": "interaction",
    "visit": "last",
    "reference_visit": "first",
    "condition": "unshod",
    "reference_condition": "shod",
    "at_speed": "each runner's speeds",
}


def answer(**changes: Any) -> dict[str, Any]:
    numbers = {"estimate_value": -0.0123, "lower_limit_value": -0.0184, "upper_limit_value": -0.0062}
    counts = {"runner_count": 9, "site_count": 3, "measured_count": 11, "excluded_trial_count": 2}
    counts |= {"lacking_value_count": 1, "lacking_both_count": 1, "travelling_runner_count": 0}
    counts |= {"lacking_reference_count": 0, "lacking_covariate_count": 0}
    own = {"variant": "main", "variant_detail": "none", "covariates": "order", "multiplicity": "holm"}
    against = {"smallest_effect_value": 0.005, "against_smallest_effect": "matters", "adjusted_p_value": 0.0004}
    model = {"pooling_method": "one_stage_mixed_model", "reason_simpler": None, "reason_null": None}
    return {**ASKED, **PLAN, **small.STAMP, **numbers, **counts, **own, **against, **model} | changes


def answers_page(folder: Path, plan: dict[str, Any], *answers: dict[str, Any]) -> Any:
    rows = {"analysis_plans": [{**plan, "plan_settings": "{}", **small.STAMP}], "planned_contrasts": list(answers)}
    return read(write(folder, small.merged(small.study_rows(), rows)) / "answers.html")


def test_an_answer_stands_with_its_interval_its_adjusted_p_what_matters_and_what_doubting_it_changed(
    tmp_path: Path,
) -> None:
    doubt = {"adjusted_p_value": None}
    page = answers_page(
        tmp_path,
        STATE,
        answer(sites_left_out="tarn (speed)"),
        answer(variant="without_site", variant_detail="mill", estimate_value=-0.02, **doubt),
        answer(variant="other_model", estimate_value=-0.01, against_smallest_effect="open", **doubt),
        answer(variant="without_noted", estimate_value=None, lower_limit_value=None, **doubt),
        answer(variant="without_overridden", changes_nothing=True, **doubt),
    )
    assert "version 3. It was frozen on 2026-03-01 09:30 UTC, when 0 trials had been accepted." in page.words
    (row,) = table(page, "Primary: 1 comparison, p adjusted for their number: Holm.")
    asked = "Contact time unshod less shod, its change from first to last 9 runners at 3 sites, mixed model allowing for order"
    assert row[0].startswith(asked)
    assert "2 trials left out by the plan" in row[0]
    assert "not in it, for want of a covariate: tarn (speed)" in row[0]
    assert "without a value: 2 of 11 who were measured" in row[0]
    assert row[1:4] == ["−0.012 s −0.018 to −0.006", "< 0.001", "larger than the smallest effect (0.005 s)"]
    told = "2 of 4 refits: −0.020 to −0.010; in 1 the conclusion differs; 1 with the very same rows as planned or as another refit; 1 without an answer"
    assert row[4].startswith(told)
    assert row[4].endswith("by the other model: −0.010, not decided")
    assert "mill" not in row[4], "without it all is the same"


REFIT = {"variant": "one_event_method", "variant_detail": "sensor", "changes_nothing": False}
BELOW = {"estimate_value": -3.0, "lower_limit_value": -3.7, "upper_limit_value": -2.2}
ABOVE = {"estimate_value": 2.4, "lower_limit_value": 1.9, "upper_limit_value": 2.9}
MATTERS = {"against_smallest_effect": "matters", "smallest_effect_value": 0.3}


def said_of(main: dict[str, Any], *refits: dict[str, Any]) -> Answer:
    plain = answer(travelling_runner_count=0, condition_later_count=0, condition_earlier_count=0, changes_nothing=False)
    plain |= {"sites_left_out": "none", "caution": None} | main
    return Answer(plain, tuple(plain | REFIT | refit for refit in refits))


def test_a_refit_of_the_opposite_sign_agrees_with_nothing_however_large_it_is() -> None:
    told = said_of(ABOVE | MATTERS, ABOVE, BELOW)
    assert told.sensitivity == "2 of 2 refits: −3.0 to +2.4; in 1 the conclusion differs"
    assert told.otherwise == ["by sensor alone: −3.0, larger than the smallest effect, with the opposite sign"]
    assert said_of(ABOVE | {"against_smallest_effect": None}, BELOW).otherwise == ["by sensor alone: −3.0, below zero"]
    too_small = {"against_smallest_effect": "too_small", "smallest_effect_value": 5.0}
    assert not said_of(ABOVE | too_small, BELOW).otherwise, "too small to either side is the same"


def test_a_refit_of_the_very_same_rows_is_no_evidence() -> None:
    again = ABOVE | {"changes_nothing": True}
    assert said_of(ABOVE | MATTERS, again, again).sensitivity == (
        "none of 2 refits says anything new; 2 with the very same rows as planned or as another refit"
    )
    told = said_of(ABOVE | MATTERS, again, ABOVE | {"estimate_value": 2.5}).sensitivity
    assert (
        told
        == "1 of 2 refits: +2.5; the same conclusion in all of them; 1 with the very same rows as planned or as another refit"
    )
    near = [ABOVE | {"estimate_value": value} for value in (2.51, 2.54)]
    told = said_of(ABOVE | MATTERS, *near).sensitivity
    assert told == "2 of 2 refits: +2.51 to +2.54; the same conclusion in all of them", "what differs is told so"


@tries(100)
@given(st.integers(-30_000, 30_000), st.integers(1, 30_000), st.integers(1, 200))
@example(5040, 10160, 50)
@example(-15200, 10240, 50)
@example(40, 4950, 50)
def test_an_interval_as_it_is_shown_never_contradicts_its_verdict(start: int, reach: int, effect: int) -> None:
    lower, width, smallest = start / 10**6, reach / 10**6, effect / 10**4

    def verdict(low: float, high: float) -> tuple[bool, ...]:
        return low > smallest, high < -smallest, -smallest < low and high < smallest, low > 0, high < 0

    ends = lower, lower + width
    row = {"lower_limit_value": ends[0], "upper_limit_value": ends[1], "estimate_value": lower + width / 2}
    digits = said_of(row | {"smallest_effect_value": smallest}).digits
    shown = [float(signed(end, digits).replace("−", "-")) for end in ends]
    assert verdict(*shown) == verdict(*ends)


@pytest.mark.parametrize(
    ("p_value", "words"),
    [(None, "–"), (0.0004, "< 0.001"), (0.0312, "0.031"), (0.0496, "0.0496"), (0.05003, "0.05003"), (0.05, "0.050")],
)
def test_a_p_value_is_shown_on_its_side_of_5_percent(p_value: float | None, words: str) -> None:
    assert p_words(p_value) == words


def test_what_is_more_right_of_zero_is_told_of_each_kind_of_comparison() -> None:
    told = {kind: said_of({"contrast": kind}).direction for kind in ("condition", "visit", "interaction")}
    assert told == {
        "condition": "more in unshod than in shod",
        "visit": "more at last than at first",
        "interaction": "unshod less shod is more at last than at first",
    }


def test_who_ran_which_condition_later_is_counted_at_each_site_and_says_so_where_somebody_travelled() -> None:
    counts = {"contrast": "condition", "covariates": "none", "condition_later_count": 16, "runner_count": 12}
    for travelled, each in ((0, ""), (4, ", a runner counting at each site")):
        limits = said_of(counts | {"travelling_runner_count": travelled}).limits
        assert f"16 ran it after and 0 before the other{each}: what comes last is in the answer" in limits


def test_answers_stand_in_the_order_of_the_plan_whatever_the_order_of_the_rows(tmp_path: Path) -> None:
    asked = {name: ASKED[name] for name in ("contrast", "visit", "condition", "reference_condition")}
    speeds = {"each runner's speeds": None, "3.0 m/s": 3.0, "4.0 m/s": 4.0}
    settings = {"primary": [{"outcome": "contact_time_s", "set_speed_m_per_s": v, **asked} for v in speeds.values()]}
    rows = [answer(at_speed=at, estimate_value=n + 1.0) for n, at in enumerate(speeds)]
    order = [rows[n] for n in (2, 0, 1)]
    tables = {
        "analysis_plans": [{**STATE, "plan_settings": json.dumps(settings), **small.STAMP}],
        "planned_contrasts": order,
    }
    page = read(write(tmp_path, small.merged(small.study_rows(), tables)) / "answers.html")
    assert [row[1].split(".")[0] for row in table(page, "Primary")] == ["+1", "+2", "+3"]


def test_a_difference_that_does_not_outlast_the_adjustment_of_p_is_told_as_one_of_its_own_interval(
    tmp_path: Path,
) -> None:
    for p_value, verdict, told in ((0.2, "matters", True), (0.04, "matters", False), (0.2, "open", False)):
        row = answer(adjusted_p_value=p_value, against_smallest_effect=verdict)
        page = answers_page(tmp_path / f"{verdict}{p_value}", STATE, row)
        assert table(page, "Primary")[0][3].endswith("not with p adjusted for the number of comparisons") == told


def test_a_comparison_without_an_answer_says_why_and_a_plan_that_was_never_frozen_or_changed_is_told(
    tmp_path: Path,
) -> None:
    none = {"estimate_value": None, "lower_limit_value": None, "upper_limit_value": None, "adjusted_p_value": None}
    row = answer(**none, against_smallest_effect=None, reason_null="2 of at least 3 runners")
    page = answers_page(tmp_path / "1", STATE | {"plan_state": "not_frozen", "frozen_utc": None}, row)
    assert "It was never frozen" in page.words
    assert table(page, "Primary")[0][1:4] == ["–", "–", "no answer: 2 of at least 3 runners"]
    assert "Not the frozen one" in answers_page(tmp_path / "2", STATE | {"plan_state": "changed"}, row).words


def test_who_was_measured_at_two_sites_and_is_in_the_answer_at_both_lacks_nothing(tmp_path: Path) -> None:
    """12 persons, of whom 4 were at a second site: 16 differences, and all of them are in it."""
    counts = {"runner_count": 12, "measured_count": 16, "travelling_runner_count": 4, "lacking_covariate_count": 0}
    whole = answer(**counts, lacking_value_count=0, lacking_both_count=0)
    (row,) = table(answers_page(tmp_path / "1", STATE, whole), "Primary")
    assert "12 runners at 3 sites" in row[0]
    assert "measured" not in row[0]
    some = {"measured_count": 14, "lacking_value_count": 0, "lacking_both_count": 1, "lacking_covariate_count": 2}
    (row,) = table(answers_page(tmp_path / "2", STATE, answer(**counts | some)), "Primary")
    assert "without a value: 1 of 16 who were measured, a runner counting at each site" in row[0]
    assert "without a covariate: 2 of 16 who were measured, a runner counting at each site" in row[0]


def test_who_dropped_out_or_never_ran_a_condition_stands_among_the_limits(tmp_path: Path) -> None:
    asked = {name: word for name, word in answer().items() if name in PLANNED_PARTICIPANTS.column_names}
    counts = {"in_it": 3, "not_at_visit": 8, "not_in_condition": 2}
    told = [{**asked, "participation": word, "runner_count": count} for word, count in counts.items()]
    rows = {"analysis_plans": [{**STATE, "plan_settings": "{}", **small.STAMP}], "planned_contrasts": [answer()]}
    rows["planned_participants"] = told
    page = read(write(tmp_path, small.merged(small.study_rows(), rows)) / "answers.html")
    (row,) = table(page, "Primary")
    assert "in it: 3 of 13 runners with an accepted trial" in row[0]
    assert "not in it: 8 without an accepted trial at the visit, 2 never in the condition" in row[0]


def test_without_a_plan_everything_is_said_to_be_exploratory(tmp_path: Path) -> None:
    page = read(write(tmp_path, small.study_rows()) / "answers.html")
    assert "There is no analysis plan" in page.words
    assert "everything on this page is exploratory" in page.words


def test_a_frozen_plan_that_was_taken_away_is_told(tmp_path: Path) -> None:
    page = answers_page(tmp_path, STATE | {"plan_state": "replaced"})
    assert "Version 3 of an analysis plan was frozen on 2026-03-01 09:30 UTC" in page.words
    assert "was taken away since" in page.words


def test_how_far_the_runners_came_stands_by_site_with_all_sites_last(tmp_path: Path) -> None:
    counts = {"enrolled": 6, "sent": 5, "accepted": 4}
    rows = [
        {"site": site, "stage": stage, "runner_count": count + more, **small.STAMP}
        for site, more in (("all sites", 3), ("way", 0))
        for stage, count in counts.items()
    ]
    page = read(write(tmp_path, small.merged(small.study_rows(), {"participant_flow": rows})) / "answers.html")
    told = table(page, "Everybody whom a delivery names")
    assert told[0][:4] == ["way", "6", "0", "5"]
    assert told[1][:4] == ["all sites", "9", "0", "8"]


def test_curves_stand_with_the_stretches_in_which_they_differ_or_why_there_is_no_answer(tmp_path: Path) -> None:
    asked = {name: word for name, word in ASKED.items() if name not in ("family", "outcome", "at_speed")}
    common = {**asked, **PLAN, **small.STAMP, "contrast": "visit", "reference_condition": "unshod", "reason_null": None}
    told = {"two_sided_p_value": 0.0312, "beyond_points": "3-12, 88-100", "runner_count": 9, "site_count": 4}
    told |= {"sites_two_sided_p_value": 0.0471, "sites_beyond_points": "90-95"}
    none = {"runner_count": 4, "site_count": 2, "reason_null": "4 of at least 6 runners", "beyond_points": "none"}
    few = told | {"sites_two_sided_p_value": None, "sites_beyond_points": "none", "sites_reason_null": "3 of 4 sites"}
    rows = {
        "analysis_plans": [{**STATE, "plan_settings": "{}", **small.STAMP}],
        "planned_curves": [
            {**common, "quantity": "vertical_force_bw", **told},
            {**common, "quantity": "knee_sagittal_angle_deg", **none, "sites_beyond_points": "none"},
            {**common, "quantity": "ankle_sagittal_angle_deg", **few},
        ],
    }
    page = read(write(tmp_path, small.merged(small.study_rows(), rows)) / "answers.html")
    first, second, third = table(page, "Curves: whether the mean difference leaves out zero anywhere")
    assert first == [
        "Vertical force unshod, from first to last 9 runners at 4 sites",
        "p = 0.031 beyond zero at 3-12, 88-100 of 0 to 100",
        "p = 0.047 beyond zero at 90-95 of 0 to 100",
    ]
    assert second[1:] == ["– 4 of at least 6 runners", "– 4 of at least 6 runners"]
    assert third[1:] == ["p = 0.031 beyond zero at 3-12, 88-100 of 0 to 100", "– 3 of 4 sites"]
    assert "The first takes no account of what sites differ by, and must not be read as the second" in page.words


def test_dose_responses_stand_with_who_is_not_in_them_and_that_they_are_no_advice(tmp_path: Path) -> None:
    common = {**PLAN, **small.STAMP, "visit": "last", "reason_null": None, "runner_count": 11, "site_count": 2}
    counts = {"lacking_dose_count": 2, "lacking_response_count": 0, "lacking_both_count": 0, "alone_at_site_count": 1}
    hours = {"smallest_dose_min": 600.0, "mean_dose_min": 900.0, "largest_dose_min": 1500.0}
    told = {"estimate_value": 4.0, "lower_limit_value": -1.0, "upper_limit_value": 9.0, "two_sided_p_value": 0.104}
    symptoms = {"response": "symptom_severity_score", "condition": "none", **counts, **hours, **told}
    none = {"response": "contact_time_s", "condition": "unshod", **dict.fromkeys((*hours, *told))}
    none |= dict.fromkeys(counts, 0) | {"runner_count": 3, "reason_null": "3 of at least 10 runners"}
    rows = {
        "analysis_plans": [{**STATE, "plan_settings": "{}", **small.STAMP}],
        "planned_dose_responses": [common | symptoms, common | none],
    }
    page = read(write(tmp_path, small.merged(small.study_rows(), rows)) / "answers.html")
    first, second = table(page, "Hours in the new footwear")
    asked = "Symptom severity mean over the weeks until last 11 runners at 2 sites, 10 to 25 h, 15 h in the mean"
    assert first[:3] == [asked, "+4 points −1 to +9", "0.104"]
    assert first[3] == "2 runners without the log of a week; 1 runner alone at the site"
    assert second[0] == "Contact time change until last, unshod 3 runners at 2 sites"
    assert second[1:] == ["–", "–", "", "3 of at least 10 runners"]
    assert "No diagnosis, no dose limit, no advice" in page.words


def test_outcomes_are_said_in_words_without_their_units() -> None:
    assert outcome_words("contact_time_s") == "Contact time"
    assert outcome_words("average_loading_rate_bw_per_s") == "Average loading rate"
    assert (
        outcome_words("soleus/left/threshold/onset_before_contact_s") == "Soleus, left, threshold: onset before contact"
    )
