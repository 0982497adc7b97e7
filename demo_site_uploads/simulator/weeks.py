"""The weekly log of the change-over and the weekly questionnaire, invented. Points are those of OSTRC-H2 (0, 8, 17, 25)."""

from __future__ import annotations

from demo_site_uploads.simulator.runner import RUNNERS
from demo_site_uploads.simulator.tables import Row
from demo_site_uploads.simulator.trial import random_source

WEEKS = range(1, 11)
NEW_SHARE = (0.20, 0.255, 0.32, 0.395, 0.48, 0.57, 0.66, 0.75, 0.84, 0.93)  # of the week's running
NEW, OLD = "thin_soled", "cushioned"
STEEP, STEEP_WEEK, STEEP_FACTOR = "FS-12", 4, 1.9  # nearly twice the planned minutes in one week
MISSING, MISSING_WEEK = "FS-04", 6  # nothing was sent for this week
SUBSTANTIAL, SUBSTANTIAL_WEEKS = "FS-10", (7, 8)
UNWELL = (8, 8, 0, 8)  # a lighter problem


def new_minutes(participant_id: str, week: int) -> int:
    """True minutes in the new footwear."""
    factor = STEEP_FACTOR if (participant_id, week) == (STEEP, STEEP_WEEK) else 1.0
    return round(total_minutes(participant_id) * NEW_SHARE[week - 1] * factor)


def total_minutes(participant_id: str) -> int:
    """Minutes planned for a week: usual distance at 6 min per km."""
    return round(6 * RUNNERS[participant_id].weekly_distance_km)


def answers(participant_id: str, week: int) -> tuple[int | None, int | None, int | None, int | None]:
    """Points of the four questions; the first option of question 1 ends the form."""
    if participant_id == SUBSTANTIAL and week in SUBSTANTIAL_WEEKS:
        return (17, 17, 8, 17) if week == SUBSTANTIAL_WEEKS[0] else (8, 8, 17, 17)
    if participant_id == SUBSTANTIAL and week == SUBSTANTIAL_WEEKS[-1] + 1:
        return UNWELL
    if random_source(f"{participant_id}/{week}/questions").random() < 0.06:
        return UNWELL
    return (0, None, None, None)


def week_rows(participant_id: str) -> list[Row]:
    """The runner's lines of weeks.csv."""
    rows: list[Row] = []
    for week in WEEKS:
        if (participant_id, week) == (MISSING, MISSING_WEEK):
            continue
        new = new_minutes(participant_id, week)
        minutes = {OLD: max(total_minutes(participant_id) - new, 0), NEW: new}
        rows += [
            {"participant_id": participant_id, "week": week, "condition": c, "running_min": m}
            for c, m in minutes.items()
        ]
    return rows


def symptom_rows(participant_id: str) -> list[Row]:
    """The runner's lines of symptoms.csv."""
    return [
        {"participant_id": participant_id, "week": week}
        | {f"question_{n}_points": points for n, points in enumerate(answers(participant_id, week), 1)}
        for week in WEEKS
        if (participant_id, week) != (MISSING, MISSING_WEEK)
    ]
