from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.change_over.cautions import cautions
from pipelines.science.change_over.weeks import compute_transition
from schemas.convert.to_arrow import empty_frame, to_arrow_table
from schemas.delivery_beside import SENT_SYMPTOMS, SENT_WEEKS
from schemas.outcomes_study import TRANSITION_WEEKS
from schemas.processing import Processing, TransitionProcessing

STAMP = {"code_version": "0", "study_version": "0"}
CHANGING = Processing(transition=TransitionProcessing(new_footwear=("thin_soled", "unshod")))


def logged(*rows: tuple[str, int, str, float | None]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(SENT_WEEKS.column_names))


def answered(*rows: tuple[str, int, int | None, int | None, int | None, int | None]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(SENT_SYMPTOMS.column_names)).astype(
        {f"question_{n}_points": "Int64" for n in (1, 2, 3, 4)}
    )


def weeks_of(
    weeks: pd.DataFrame | None = None, symptoms: pd.DataFrame | None = None, processing: Processing = CHANGING
) -> pd.DataFrame:
    table = compute_transition(
        empty_frame(SENT_WEEKS) if weeks is None else weeks,
        empty_frame(SENT_SYMPTOMS) if symptoms is None else symptoms,
        processing,
    )
    assert to_arrow_table(TRANSITION_WEEKS, table.assign(**STAMP)).num_rows == len(table)
    return table


def seen(table: pd.DataFrame, processing: Processing = CHANGING) -> list[tuple[int, str]]:
    return [(one.week, one.caution) for one in cautions(table, processing)]


def test_minutes_are_added_and_the_new_footwear_has_its_share() -> None:
    table = weeks_of(
        logged(("R1", 1, "cushioned", 90), ("R1", 1, "thin_soled", 20), ("R1", 1, "unshod", 10), ("R1", 2, "cushioned", 60), ("R1", 2, "thin_soled", 40)),
    )  # fmt: skip
    assert table["running_min"].tolist() == [120, 100]
    assert table["new_footwear_min"].tolist() == [30, 40]
    assert table["new_footwear_fraction"].tolist() == pytest.approx([0.25, 0.40])
    assert table["new_footwear_change_fraction"].iloc[1] == pytest.approx(0.15)
    assert table["new_footwear_rise_fraction"].iloc[1] == pytest.approx(1 / 3)
    assert table["new_footwear_change_fraction"].isna().tolist() == [True, False]


def test_a_missing_week_is_there_and_null_and_breaks_the_change() -> None:
    table = weeks_of(logged(("R1", 1, "thin_soled", 20), ("R1", 3, "thin_soled", 60)))
    assert table["week"].tolist() == [1, 2, 3]
    numbers = ["running_min", "new_footwear_min", "new_footwear_fraction", "new_footwear_change_fraction"]
    assert table.loc[1, numbers].isna().all()
    assert "no running log" in table.loc[1, "reason_null"]
    assert pd.isna(table.loc[2, "new_footwear_change_fraction"])
    assert pd.isna(table.loc[2, "new_footwear_rise_fraction"])


def test_a_week_with_no_running_is_zero_minutes_and_has_no_share() -> None:
    row = weeks_of(logged(("R1", 1, "cushioned", 0), ("R1", 1, "thin_soled", 0))).iloc[0]
    assert row["running_min"] == 0
    assert pd.isna(row["new_footwear_fraction"])


def test_a_reported_week_without_the_new_footwear_has_a_share_of_zero() -> None:
    assert weeks_of(logged(("R1", 1, "cushioned", 60))).iloc[0]["new_footwear_fraction"] == 0


def test_a_time_that_is_missing_leaves_the_week_null_rather_than_short() -> None:
    row = weeks_of(logged(("R1", 1, "cushioned", None), ("R1", 1, "thin_soled", 20))).iloc[0]
    assert pd.isna(row["running_min"])
    assert "missing in the running log" in row["reason_null"]


def test_a_study_that_names_no_new_footwear_has_minutes_but_no_shares() -> None:
    row = weeks_of(logged(("R1", 1, "thin_soled", 20)), processing=Processing()).iloc[0]
    assert row["running_min"] == 20
    assert pd.isna(row["new_footwear_min"])
    assert pd.isna(row["new_footwear_fraction"])


def test_the_questionnaire_stands_beside_the_log_and_a_week_may_have_only_one_of_them() -> None:
    table = weeks_of(
        logged(("R1", 1, "cushioned", 60)),
        answered(("R1", 1, 8, 8, 0, 8), ("R1", 2, 25, None, None, None), ("R2", 5, 17, None, 0, 0)),
    )
    assert table[["participant_id", "week"]].to_numpy().tolist() == [["R1", 1], ["R1", 2], ["R2", 5]]
    assert table["symptom_severity_score"].tolist()[:2] == [24, 100]
    assert table["substantial_problem"].tolist()[:2] == [False, True]
    assert pd.isna(table.loc[2, "symptom_severity_score"])
    assert "question 2 is not answered" in table.loc[2, "reason_null"]
    assert set(table["symptom_scoring"]) == {"OSTRC-H2 2020"}


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["R1", "R2"]),
            st.integers(0, 12),
            st.sampled_from(["cushioned", "thin_soled", "unshod"]),
            st.floats(0, 3000),
        ),
        unique_by=lambda row: row[:3],
    ),
    st.randoms(use_true_random=False),
)
def test_minutes_are_kept_shares_stay_shares_and_the_order_of_rows_is_no_matter(rows: list, shuffle: object) -> None:
    table = weeks_of(logged(*rows))
    assert table["running_min"].sum() == pytest.approx(sum(row[3] for row in rows))
    assert table["new_footwear_fraction"].dropna().between(0, 1).all()
    reported = {(row[0], row[1]) for row in rows}
    known = table[table["running_min"].notna()]
    assert set(zip(known["participant_id"], known["week"], strict=True)) == reported
    mixed = list(rows)
    shuffle.shuffle(mixed)  # type: ignore[attr-defined]
    pd.testing.assert_frame_equal(weeks_of(logged(*mixed)), table, rtol=1e-12)


def test_a_rise_of_more_than_the_limit_is_a_caution_and_one_at_the_limit_is_not() -> None:
    def minutes(second: float) -> pd.DataFrame:
        rows = [("R1", 1, "thin_soled", 30.0), ("R1", 1, "cushioned", 70.0)]
        return weeks_of(logged(*rows, ("R1", 2, "thin_soled", second), ("R1", 2, "cushioned", 100 - second)))

    # 30 to 39 of 100 min: 30 % more and 9 points; 30 to 40: 10 points, which 0.4 - 0.3 overshoots in its last digit
    assert seen(minutes(39)) == []
    assert seen(minutes(40)) == [(2, "minutes_rise")]
    assert seen(minutes(41)) == [(2, "minutes_rise"), (2, "share_rise")]
    loose = Processing(transition=TransitionProcessing(minutes_rise_limit_fraction=0.5, share_rise_limit_fraction=0.2))
    assert seen(minutes(41), loose) == []


def test_problems_are_cautions_and_silence_after_one_is_too() -> None:
    table = weeks_of(
        None,
        answered(
            ("R1", 1, 0, None, None, None), ("R1", 2, 8, 8, 0, 8), ("R1", 4, 17, 17, 0, 8), ("R1", 5, 0, None, None, None), ("R1", 7, 0, None, None, None),
            ("R2", 1, 0, None, None, None), ("R2", 3, 0, None, None, None),
        ),
    )  # fmt: skip
    assert seen(table) == [(2, "health_problem"), (3, "problem_not_followed_up"), (4, "substantial_problem")]


def test_every_caution_says_where_its_limit_comes_from() -> None:
    table = weeks_of(
        logged(("R1", 1, "thin_soled", 10), ("R1", 1, "cushioned", 90), ("R1", 2, "thin_soled", 50), ("R1", 2, "cushioned", 50)),
        answered(("R1", 2, 8, 8, 0, 8)),
    )  # fmt: skip
    found = cautions(table, CHANGING)
    assert len(found) == 3
    by = {one.caution: one.basis for one in found}
    assert "No published dose limit" in by["minutes_rise"]
    assert "No published dose limit" in by["share_rise"]
    assert "no clinical cut-off" in by["health_problem"]
    (rise,) = [one.seen for one in found if one.caution == "minutes_rise"]
    assert rise == "50 min in the new footwear after 10 min the week before: 400 % more, limit 30 %."
    assert cautions(table.iloc[:0], CHANGING) == []
