"""Answers written as CSV: no cell is a formula to a spreadsheet, and no number changes."""

import csv
import io

import pyarrow as pa
import pyarrow.csv as arrow_csv
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.pool.query import without_formulas, write_answer
from tests.tries import tries


def written(answer, tmp_path):
    path = tmp_path / "answer.csv"
    write_answer(answer, path)
    return list(csv.reader(io.StringIO(path.read_bytes().decode(), newline="")))


@pytest.mark.parametrize(
    "text", ["=1+1", "+cmd|' /C calc'!A0", "-2+3+cmd|", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1", "＝1+1", "-", "--1"]
)
def test_a_text_that_a_spreadsheet_would_run_gets_an_apostrophe(text, tmp_path):
    answer = pa.table({"comment": [text, None, "plain"], "n": [1, 2, 3]})
    assert written(answer, tmp_path)[1:] == [["'" + text, "1"], ["", "2"], ["plain", "3"]]


def test_a_column_name_that_a_spreadsheet_would_run_gets_one_too_and_two_equal_names_stay(tmp_path):
    answer = pa.table([pa.array([1]), pa.array([2]), pa.array([3])], names=["=x", "a", "a"])
    assert written(answer, tmp_path) == [["'=x", "a", "a"], ["1", "2", "3"]]


def test_numbers_stay_numbers_also_where_they_are_text(tmp_path):
    answer = pa.table({"n": [-1.5, 2.0], "i": [-3, 4], "t": ["-3.5e2", "+7"], "word": ["run-1", "a=b"]})
    assert written(answer, tmp_path)[1:] == [["-1.5", "-3", "-3.5e2", "run-1"], ["2", "4", "+7", "a=b"]]


def test_words_kept_as_codes_are_looked_at_too(tmp_path):
    answer = pa.table({"w": pa.array(["=1", "ok", "=1", None]).dictionary_encode(), "n": [1, 2, 3, 4]})
    assert [row[0] for row in written(answer, tmp_path)[1:]] == ["'=1", "ok", "'=1", ""]


@tries(200)
@given(st.lists(st.none() | st.text(max_size=20), min_size=1), st.lists(st.floats(width=32), min_size=1))
def test_every_other_text_and_every_number_comes_back_as_it_was(texts, numbers):
    count = min(len(texts), len(numbers))
    answer = pa.table({"t": pa.array(texts[:count], pa.string()), "n": pa.array(numbers[:count], pa.float64())})
    safe = without_formulas(answer)
    assert safe["n"].equals(answer["n"]) or any(n != n for n in numbers)
    for before, after in zip(answer["t"].to_pylist(), safe["t"].to_pylist(), strict=True):
        assert after in (before, f"'{before}")
        assert after is None or not after.lstrip().startswith(("=", "@"))
    arrow_csv.write_csv(safe, io.BytesIO())
