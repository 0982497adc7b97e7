"""Which rows of a delivery its runners agreed to: muscle channels, breathing gas, weekly logs. Pure, frames in.

Whether an event of consent covers a day is in ``schemas.consent_history``; whole trials are the subject of a check.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from schemas.consent_history import covered, history
from schemas.received import Received

if TYPE_CHECKING:
    import pandas as pd

#: A week of the change-over begins this many days after enrolment: week 1 on day 0.
DAYS_PER_WEEK = 7


def allowed(received: Received, row: Mapping[str, Any], scope: str) -> bool:
    """Whether the runner's consent covers ``scope`` on the day of the row's session."""
    runner, day = row.get("participant_id"), row.get("study_day")
    if runner is None or day is None:
        return False
    return covered(history(received), runner, int(day), [scope])


def energy_sessions(received: Received) -> set[str]:
    """Sessions whose breathing gas the runner agreed to have recorded and pooled on their day."""
    return {
        row["session_id"]
        for row in plain_rows(sessions_once(received.tables["sent_sessions"]))
        if allowed(received, row, "metabolic") and allowed(received, row, "pooling")
    }


def sessions_once(sessions: pd.DataFrame) -> pd.DataFrame:
    """Sessions that stand once: of one that stands twice nobody knows which mass is right."""
    return sessions.dropna(subset=["session_id"]).drop_duplicates("session_id", keep=False)


def agreed_weeks(rows: pd.DataFrame, received: Received) -> pd.DataFrame:
    """Weekly rows of runners who agreed to pooling by that week and had not taken it back."""
    import numpy as np

    rows, consents = rows.dropna(subset=["participant_id", "week"]), history(received)
    days = [
        (runner, max(int(week) - 1, 0) * DAYS_PER_WEEK)
        for runner, week in zip(rows["participant_id"], rows["week"], strict=True)
    ]
    return rows[np.array([covered(consents, runner, day, ["pooling"]) for runner, day in days], dtype=bool)]


def plain_rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as dictionaries with None for every missing value."""
    plain = frame.astype(object).where(frame.notna(), None)
    return [{str(name): value for name, value in row.items()} for row in plain.to_dict("records")]
