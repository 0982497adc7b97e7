"""The adapter to Great Expectations: answers are read right, stay the same, and nothing is printed."""

from __future__ import annotations

import json
import statistics

import pandas as pd
import pytest

from checks.site.expectations import Expected, carry_out, engine_version

ROWS = pd.DataFrame(
    {
        "site": ['o\'neil "x"'] * 4 + ["b"] * 5,
        "visit": ["first", "first", "last", "last", "first", "first", "first", "last", "last"],
        "value": [1.0, 2.0, 30.0, 40.0, 5.0, None, 9.0, 10.0, 12.0],
        "digit": [0, 0, 5, 5, 0, 1, 2, 3, 4],
    },
    index=range(100, 109),
)


def answer(kind: str, column: str = "value", **arguments: object):
    where = arguments.pop("where", {"site": "b"})
    (one,) = carry_out(ROWS, [Expected(kind, column, where, arguments)])  # type: ignore[arg-type]
    return one


def test_a_median_is_that_of_the_rows_with_the_words_and_missing_values_do_not_count() -> None:
    inside = answer("expect_column_median_to_be_between", min_value=9.4, max_value=9.6)
    assert inside.met
    assert inside.observed == statistics.median([5, 9, 10, 12])
    assert not answer("expect_column_median_to_be_between", min_value=9.6, max_value=20).met


def test_all_words_of_a_condition_count_and_quotation_marks_in_them_are_text() -> None:
    where = {"site": 'o\'neil "x"', "visit": "last"}
    assert answer("expect_column_median_to_be_between", min_value=35, max_value=35, where=where).observed == 35


def test_a_standard_deviation_is_that_of_a_sample() -> None:
    seen = answer("expect_column_stdev_to_be_between", min_value=0, max_value=100).observed
    assert seen == pytest.approx(statistics.stdev([5, 9, 10, 12]))


@pytest.mark.parametrize(("mostly", "met"), [(0.79, True), (0.81, False)])
def test_missing_values_are_counted_against_the_share(mostly: float, met: bool) -> None:
    one = answer("expect_column_values_to_not_be_null", mostly=mostly)
    assert one.met is met
    assert one.unexpected == (5,)


def test_rows_that_fail_are_told_by_their_place_in_the_frame() -> None:
    one = answer("expect_column_values_to_be_between", min_value=6, max_value=11)
    assert one.unexpected == (4, 8)


def test_divergence_of_equal_shares_is_zero_and_of_one_digit_the_logarithm_of_ten() -> None:
    even = {"partition_object": {"values": [0, 1, 2, 3, 4], "weights": [0.2] * 5}, "threshold": 0.01}
    assert answer("expect_column_kl_divergence_to_be_less_than", "digit", **even).observed == pytest.approx(0)
    ten = {"partition_object": {"values": list(range(10)), "weights": [0.1] * 10}, "threshold": 0.01}
    where = {"site": 'o\'neil "x"', "visit": "first"}
    one = answer("expect_column_kl_divergence_to_be_less_than", "digit", where=where, **ten)
    assert one.observed == pytest.approx(2.302585, abs=1e-6)
    assert not one.met


def test_answers_come_in_the_order_asked_whatever_failed() -> None:
    wanted = [
        Expected("expect_column_median_to_be_between", "value", {"site": "b"}, {"min_value": low, "max_value": 99})
        for low in (0, 50, 1, 60)
    ]
    answers = carry_out(ROWS, wanted)
    assert [one.met for one in answers] == [True, False, True, False]
    assert [one.expected for one in answers] == wanted


def test_an_expectation_that_cannot_be_evaluated_is_a_fault_of_ours_and_not_an_answer() -> None:
    with pytest.raises(RuntimeError, match="nowhere"):
        answer("expect_column_median_to_be_between", "nowhere", min_value=0, max_value=1)


def test_the_same_rows_give_the_same_answer_to_the_letter() -> None:
    first, second = (answer("expect_column_values_to_be_between", min_value=6, max_value=11).said for _ in range(2))
    assert first == second
    assert json.loads(first)["result"]["unexpected_count"] == 2


def test_nothing_is_printed(capfd: pytest.CaptureFixture[str]) -> None:
    answer("expect_column_median_to_be_between", min_value=0, max_value=1)
    assert capfd.readouterr() == ("", "")


def test_nothing_asked_is_nothing_answered() -> None:
    assert carry_out(ROWS, []) == []
    assert engine_version()[0].isdigit()
