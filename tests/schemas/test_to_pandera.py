import math

import pandas as pd
import pandera.pandas as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.catalogue import TABLES
from schemas.convert.to_arrow import empty_frame, to_arrow_table
from schemas.convert.to_pandera import MOST_FAULTS, pandera_schema, shape_problems
from schemas.delivery import SENT_CHANNELS, SENT_PARTICIPANTS, SENT_SESSIONS, SENT_TRIALS
from schemas.delivery_beside import SENT_BREATHS
from schemas.model import Field, Kind, Table
from schemas.said import said
from tests.tries import tries

PARTICIPANT = {
    "participant_id": "P1",
    "birth_year": "1980",
    "sex": "female",
    "stature_m": "1.70",
    "mass_kg": "62",
    "leg_length_m": "",
    "habitual_footwear": "",
    "weekly_distance_km_per_wk": "30.5",
}
TRIAL = {
    "trial_id": "T1",
    "session_id": "S1",
    "condition": "shod",
    "kind": "running",
    "file": "trials/T1.c3d",
    "sidecar": "",
    "trial_order": "1",
    "comment": "",
}


def strings(*rows: dict[str, str]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), dtype=object)


def places(problems) -> list[tuple[str, str | None]]:
    return [(problem.kind, problem.place) for problem in problems]


# --- what any table does with any cells ---------------------------------------------------------------------------


def good_cell(field: Field, row: int) -> st.SearchStrategy[str]:
    """A cell that fits; unique by row where the field can be (so that keys are)."""
    if field.codes:
        cell = st.sampled_from([code.value for code in field.codes])
    elif field.kind in (Kind.IDENTIFIER, Kind.CODE, Kind.TEXT):
        cell = st.just(f"w{row}.x-1")
    elif field.kind is Kind.BOOLEAN:
        cell = st.sampled_from(["true", "false"])
    else:
        low = -1e6 if field.low is None else field.low
        high = low + 1e4 if field.high is None else field.high
        if field.kind is Kind.INTEGER:
            cell = st.integers(math.ceil(low), math.floor(high)).map(str)
        else:
            cell = st.floats(low, high).map(repr)
    cell = st.one_of(cell, cell.map(lambda text: f" {text} "))
    return st.one_of(cell, st.just("")) if field.nullable else cell


def bad_cell(field: Field) -> st.SearchStrategy[str]:
    """A cell that does not fit, in every way its kind knows."""
    bad = [] if field.nullable else ["", "  "]
    if field.codes:
        bad += ["no_such_word", field.codes[0].value.upper(), "1"]
    elif field.kind is Kind.IDENTIFIER:
        bad += ["a b", "..", "-x", "é", "x" * 65, "a/b"]
    elif field.kind in (Kind.CODE, Kind.TEXT):
        bad += ["a\x00b", "a\nb", "x" * 3000]
    elif field.kind is Kind.BOOLEAN:
        bad += ["yes", "2", "wahr"]
    else:
        bad += ["1,5", "nan", "inf", "-inf", "1_0", "0x1", "1e999", "one", "1 2", "٣", "NA", "--1"]
        bad += ["1.5", "9" * 30] if field.kind is Kind.INTEGER else []
        bad += [str(field.low - 1)] if field.low is not None else []
        bad += [str(field.high + 1)] if field.high is not None else []
    return st.sampled_from(bad)


@st.composite
def planted(draw) -> tuple[Table, pd.DataFrame, set[tuple[str, str | None]]]:
    table = draw(st.sampled_from(sorted(TABLES.values(), key=lambda t: t.name)))
    rows = [{f.name: draw(good_cell(f, row)) for f in table.fields} for row in range(draw(st.integers(0, 4)))]
    key_can_be_unique = any(
        not table.column(k).codes and table.column(k).kind in (Kind.IDENTIFIER, Kind.CODE, Kind.TEXT) for k in table.key
    )
    assert key_can_be_unique
    cells = [(row, name) for row in range(len(rows)) for name in table.column_names]
    faults = draw(st.sets(st.sampled_from(cells), max_size=5)) if cells else set()
    for row, name in faults:
        rows[row][name] = draw(bad_cell(table.column(name)))
    expected = {("cell", f"line {row + 2}, column {name}") for row, name in faults}
    return table, pd.DataFrame(rows, columns=list(table.column_names), dtype=object), expected


@tries(75)
@given(planted())
def test_exactly_the_planted_cells_are_problems_and_become_null(case):
    table, frame, expected = case
    typed, problems = shape_problems(table, frame, "t.csv")
    found = places(problems)
    assert set(found) == expected
    assert len(found) == len(expected), "a cell may be reported once only"
    assert len(typed) == len(frame)
    assert list(typed.columns) == list(table.column_names)
    assert dict(typed.dtypes) == dict(empty_frame(table).dtypes)
    for name in table.column_names:
        for row in range(len(frame)):
            is_null = ("cell", f"line {row + 2}, column {name}") in expected or not frame.at[row, name].strip()
            assert pd.isna(typed.at[row, name]) == is_null


@tries(30)
@given(planted(), st.data())
def test_a_table_without_problems_goes_into_arrow_and_passes_its_own_schema(case, data):
    table, frame, expected = case
    typed, _ = shape_problems(table, frame, "t.csv")
    if not expected:
        assert to_arrow_table(table, typed).num_rows == len(frame)
        pandera_schema(table).validate(typed, lazy=True)


@tries(40)
@given(st.lists(st.integers(0, 3), max_size=8))
def test_every_row_whose_key_stood_before_is_one_key_problem(keys):
    frame = strings(*({**PARTICIPANT, "participant_id": f"P{key}"} for key in keys))
    frame = frame.reindex(columns=list(PARTICIPANT))
    _, problems = shape_problems(SENT_PARTICIPANTS, frame, "participants.csv")
    repeated = [f"line {row + 2}" for row, key in enumerate(keys) if key in keys[:row]]
    assert places(problems) == [("key", line) for line in repeated]


# --- examples -----------------------------------------------------------------------------------------------------


def test_every_table_makes_a_strict_schema_that_takes_its_own_empty_frame(subtests):
    for name in TABLES:
        with subtests.test(name=name):
            table = TABLES[name]
            schema = pandera_schema(table)
            schema.validate(empty_frame(table), lazy=True)
            with pytest.raises(pa.errors.SchemaErrors):
                schema.validate(empty_frame(table).assign(one_more=""), lazy=True)


def test_an_ordered_schema_refuses_another_order():
    frame = empty_frame(SENT_PARTICIPANTS).iloc[:, ::-1]
    pandera_schema(SENT_PARTICIPANTS).validate(frame)
    with pytest.raises((pa.errors.SchemaError, pa.errors.SchemaErrors)):
        pandera_schema(SENT_PARTICIPANTS, ordered=True).validate(frame)


def test_a_problem_says_what_was_seen_and_what_was_expected_with_unit_and_range():
    _, (problem,) = shape_problems(SENT_PARTICIPANTS, strings(PARTICIPANT | {"stature_m": "170"}), "participants.csv")
    assert problem.seen == f"stature_m holds {said('170')}"
    assert problem.expected == "a number from 1 to 2.3 m"
    assert problem.file == "participants.csv"
    assert problem.place == "line 2, column stature_m"


def test_a_problem_reaches_the_trials_of_its_row():
    row = {
        "session_id": "S1",
        "participant_id": "P1",
        "visit": "first",
        "study_day": "x",
        "mass_kg": "60",
        "surface": "treadmill",
        "set_speed_m_per_s": "3",
    }
    _, (problem,) = shape_problems(SENT_SESSIONS, strings(row), "sessions.csv")
    assert (problem.participant_id, problem.session_id, problem.trial_id) == ("P1", "S1", None)
    _, (problem,) = shape_problems(SENT_TRIALS, strings(TRIAL | {"trial_order": "0"}), "trials.csv")
    assert (problem.participant_id, problem.session_id, problem.trial_id) == (None, "S1", "T1")


def test_an_unreadable_id_is_not_passed_on_as_the_rows_id():
    _, (problem,) = shape_problems(SENT_TRIALS, strings(TRIAL | {"trial_id": "T 1"}), "trials.csv")
    assert problem.trial_id is None
    assert problem.session_id == "S1"


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("participant_id", "Ada Fell"),
        ("participant_id", "ada.fell@example.org"),
        ("birth_year", "1980-05-13"),
        ("birth_year", "13.05.1980"),
        ("birth_year", "13 May 1980"),
        ("birth_year", "19800513"),
        ("mass_kg", "2020-01-02 10:15"),
    ],
)
def test_a_cell_that_could_tell_who_somebody_is_is_not_repeated(column, cell):
    _, problems = shape_problems(SENT_PARTICIPANTS, strings(PARTICIPANT | {column: cell}), "participants.csv")
    assert problems
    for problem in problems:
        for part in cell.split():
            assert part not in f"{problem.seen} {problem.expected} {problem.place}" or len(part) <= 2


def test_free_text_is_never_repeated_not_even_as_part_of_a_key():
    bad = TRIAL | {"comment": "Ada Fell\x07 phoned"}
    _, problems = shape_problems(SENT_TRIALS, strings(bad), "trials.csv")
    channel = {"trial_id": "T1", "label": "Ada Fell", "role": "other", "unit_code": "mV"}
    channel |= {"muscle": "", "side": "", "amplifier_gain": ""}
    _, more = shape_problems(SENT_CHANNELS, strings(channel, channel), "channels.csv")
    assert [p.kind for p in (*problems, *more)] == ["cell", "key"]
    assert not any("Ada" in p.seen + p.expected for p in (*problems, *more))


def test_a_missing_column_is_one_problem_and_its_cells_are_null():
    frame = strings(PARTICIPANT, PARTICIPANT | {"participant_id": "P2"}).drop(columns="mass_kg")
    typed, (problem,) = shape_problems(SENT_PARTICIPANTS, frame, "participants.csv")
    assert (problem.kind, problem.seen) == ("column", "column mass_kg is missing")
    assert typed["mass_kg"].isna().all()


def test_an_unknown_column_is_a_problem_and_is_dropped():
    typed, (problem,) = shape_problems(SENT_PARTICIPANTS, strings(PARTICIPANT | {"initials": "AF"}), "p.csv")
    assert problem.kind == "column"
    assert "initials" in problem.seen
    assert "AF" not in problem.seen
    assert "initials" not in typed.columns


def test_a_column_that_stands_twice_is_a_problem_and_its_first_cells_count():
    frame = pd.concat([strings(PARTICIPANT), strings({"sex": "male"})], axis=1)
    typed, (problem,) = shape_problems(SENT_PARTICIPANTS, frame, "p.csv")
    assert (problem.kind, problem.seen) == ("column", "column sex stands 2 times")
    assert typed.at[0, "sex"] == "female"


def test_rows_with_an_unreadable_key_are_not_taken_for_repeats_of_each_other():
    bad = PARTICIPANT | {"participant_id": "P 1"}
    _, problems = shape_problems(SENT_PARTICIPANTS, strings(bad, bad), "p.csv")
    assert [problem.kind for problem in problems] == ["cell", "cell"]


def test_a_key_problem_names_the_line_the_key_stood_on_before():
    _, (problem,) = shape_problems(SENT_PARTICIPANTS, strings(PARTICIPANT, PARTICIPANT), "p.csv")
    assert problem.place == "line 3"
    assert problem.seen == "participant_id P1 stands here and on line 2"
    assert problem.participant_id == "P1"


def test_lines_are_those_of_the_file_where_the_frame_knows_them():
    frame = strings(PARTICIPANT, PARTICIPANT | {"participant_id": "P2", "sex": "?"})
    frame.index = pd.Index([2, 17], name="line")
    _, (problem,) = shape_problems(SENT_PARTICIPANTS, frame, "p.csv")
    assert problem.place == "line 17, column sex"


def test_the_wrong_file_altogether_is_refused_as_a_whole_and_not_cell_by_cell():
    rows = MOST_FAULTS + 5
    frame = pd.DataFrame(
        {"session_id": "S1", "condition": "shod", "bout": "1", "elapsed_s": [str(i / 10) for i in range(rows)]}
        | {"oxygen_uptake_ml_per_min": "x", "carbon_dioxide_output_ml_per_min": "100", "heart_rate_per_min": ""},
        dtype=object,
    )
    typed, problems = shape_problems(SENT_BREATHS, frame, "breaths.csv")
    assert [p.kind for p in problems] == ["cell"] * MOST_FAULTS + ["table"]
    assert str(rows) in problems[-1].seen
    assert typed["oxygen_uptake_ml_per_min"].isna().all(), "cells that are not listed are null all the same"


def test_the_input_is_not_changed():
    frame = strings(PARTICIPANT | {"sex": "?"})
    before = frame.copy()
    shape_problems(SENT_PARTICIPANTS, frame, "p.csv")
    pd.testing.assert_frame_equal(frame, before)


@pytest.mark.parametrize(
    ("comment", "told"),
    [
        ("Came late\x07 again", "a text with a control character at character 10"),
        ("Came\tlate", "a text with a tab at character 5"),
        ("x" * 2001, "a text of 2001 characters"),
    ],
)
def test_a_comment_that_is_refused_is_told_by_what_is_wrong_with_it(comment: str, told: str) -> None:
    _, (problem,) = shape_problems(SENT_TRIALS, strings(TRIAL | {"comment": comment}), "trials.csv")
    assert problem.seen == f"comment holds {told}"
    assert "without control characters" in problem.expected
