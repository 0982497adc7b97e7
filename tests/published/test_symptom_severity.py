"""Scoring of the overuse questionnaire: Clarsen et al. 2020, Br J Sports Med 54:390-396 (rules read second-hand)."""

from __future__ import annotations

import itertools

import pytest

from pipelines.science.change_over.symptoms import POINTS, Score, score


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        pytest.param((0, None, None, None), Score(0, False, False), id="no problem: the form ends"),
        pytest.param((25, None, None, None), Score(100, True, True), id="no participation: 100 as a whole, not 25"),
        pytest.param((8, 8, 0, 8), Score(24, True, False), id="full participation with a problem"),
        pytest.param((17, 17, 8, 17), Score(59, True, True), id="reduced participation"),
        pytest.param((17, 25, 25, 25), Score(92, True, True), id="the most without a full stop"),
    ],
)
def test_the_published_rules_hold(answers: tuple[float | None, ...], expected: Score) -> None:
    assert score(answers) == expected


def test_every_way_to_answer_is_scored_and_the_only_hundreds_are_full_stops() -> None:
    for answers in itertools.product(POINTS, repeat=4):
        found = score(answers)
        assert found.reason is None
        assert (found.severity == 100) == (answers[0] == 25)
        assert found.problem == (found.severity != 0)
        if answers[0] in (8, 17):
            assert found.severity == sum(answers)
            assert found.substantial == (answers[1] >= 17 or answers[2] >= 17)


@pytest.mark.parametrize("points", [6, 13, 19])
def test_points_of_the_first_version_are_refused_and_not_mixed_in(points: int) -> None:
    # 2013 and 2014: 0, 6, 13, 19, 25 for questions 2 and 3 (Clarsen et al. 2013, Br J Sports Med 47:495)
    found = score((8, points, 0, 8))
    assert found.severity is None
    assert f"question 2 has {points} points" in (found.reason or "")


@pytest.mark.parametrize("missing", [1, 2, 3, 4])
def test_an_unanswered_question_leaves_no_score(missing: int) -> None:
    answers: list[float | None] = [8, 8, 8, 8]
    answers[missing - 1] = float("nan") if missing % 2 else None
    found = score(answers)
    assert found == Score(reason=f"question {missing} is not answered")
