"""Scoring of the weekly overuse questionnaire OSTRC-H2 as published: Clarsen et al. 2020, Br J Sports Med 54:390-396.

Questions and points stay as published. There is no clinical cut-off on the sum, and nothing here is a diagnosis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

#: Stored with every score: the first version (2013, 2014) gave other points to questions 2 and 3.
SCORING = "OSTRC-H2 2020"
POINTS = (0, 8, 17, 25)
WHOLE = 100
SUBSTANTIAL_POINTS = 17


@dataclass(frozen=True)
class Score:
    """One week's answers scored; all None with a reason where they cannot be."""

    severity: int | None = None  # 0 to 100
    problem: bool | None = None  # severity above 0
    substantial: bool | None = None  # question 1 at its last option, or question 2 or 3 at one of the two highest
    reason: str | None = None


def score(answers: Sequence[float | None]) -> Score:
    """Severity of one week from the points of questions 1 to 4; None or NaN is no answer.

    Question 1 is the gatekeeper: its first option ends the form with 0; its last option, no participation, makes the
    whole 100 (not 25), questions 2 to 4 being left out. Else the four are added, and all four are needed.
    """
    points = [None if a is None or not math.isfinite(a) else a for a in answers]
    if len(points) != 4:
        raise ValueError(f"four answers are expected, {len(points)} were given")
    first = points[0]
    if first is None:
        return Score(reason="question 1 is not answered")
    for number, value in enumerate(points, 1):
        if value is not None and value not in POINTS:
            return Score(reason=f"question {number} has {value:g} points; {SCORING} knows 0, 8, 17 and 25")
    if first == POINTS[0]:
        return Score(0, False, False)
    if first == POINTS[-1]:
        return Score(WHOLE, True, True)
    given = [p for p in points if p is not None]
    if len(given) < 4:
        return Score(reason=f"question {points.index(None) + 1} is not answered")
    return Score(int(sum(given)), True, max(given[1], given[2]) >= SUBSTANTIAL_POINTS)
