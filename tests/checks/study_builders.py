"""Deliveries for tests of the study's tables: breathing gas, several visits, several runners, weeks of a log."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from schemas.received import Received
from tests.checks.received_builders import RUNNER, SCOPES, SESSION, a_consent, a_delivery, a_row

OXYGEN, CARBON = "oxygen_uptake_ml_per_min", "carbon_dioxide_output_ml_per_min"
#: mL/min at 61 kg and 3 m/s: 4.1 J/(kg.m) at 21 kJ per litre
USUAL_OXYGEN = 2150.0

Rows = list[dict[str, Any]]


def a_bout(
    session: str = "S1",
    condition: str = "shod",
    bout: int = 1,
    *,
    oxygen: float = USUAL_OXYGEN,
    ratio: float = 0.88,
    last_s: float = 360.0,
    every_s: float = 15.0,
    heart: float | None = 155.0,
) -> Rows:
    """A steady bout: an exponential rise with a time constant of 30 s, and a scatter of 1 % that is always the same."""
    end = np.arange(every_s, last_s + every_s / 2, every_s)
    rise = 1 - 0.85 * np.exp(-end / 30.0)
    scatter = 1 + 0.01 * np.sin(2.4 * np.arange(len(end)) + len(session + condition) + bout + oxygen)
    return [
        {
            "session_id": session,
            "condition": condition,
            "bout": bout,
            "elapsed_s": float(t),
            OXYGEN: float(oxygen * r * s),
            CARBON: float(ratio * oxygen * r * s),
            "heart_rate_per_min": heart,
        }
        for t, r, s in zip(end, rise, scatter, strict=True)
    ]


def changed(rows: Rows, change: Callable[[dict[str, Any]], dict[str, Any]]) -> Rows:
    """Rows with the cells that ``change`` returns for each."""
    return [{**row, **change(row)} for row in rows]


def with_gas(rows: Rows, **changes: Any) -> Received:
    """The clean delivery with breathing gas; its runner agreed to metabolic data too."""
    consents = [a_consent(scope) for scope in (*SCOPES, "metabolic")]
    return a_delivery(**{"sent_consents": consents, **changes, "sent_breaths": rows})


def a_session(session: str = "S1", runner: str = "P1", **changes: Any) -> dict[str, Any]:
    return {**SESSION, "session_id": session, "participant_id": runner, **changes}


def two_visits(**last: Any) -> Received:
    """One runner before and after, a standing and a running trial each; ``last`` changes the second session."""
    sessions = [a_session(), a_session("S2", visit="last", study_day=70) | last]
    trials = [
        a_row(f"{session}-{kind}", kind, session_id=session, trial_order=order)
        for session in ("S1", "S2")
        for order, kind in enumerate(("standing", "running"), 1)
    ]
    return a_delivery(sent_sessions=sessions, sent_trials=trials)


def a_runner(runner: str = "P1", **changes: Any) -> dict[str, Any]:
    """A runner with everything known."""
    full = {"leg_length_m": 0.9, "habitual_footwear": "shod", "weekly_distance_km_per_wk": 30.0}
    return {**RUNNER, "participant_id": runner, **full, **changes}


def a_log(minutes: Mapping[int, tuple[float, ...]], runner: str = "P1") -> Rows:
    """Weeks with the minutes in ``shod`` and ``unshod``."""
    return [
        {"participant_id": runner, "week": week, "condition": condition, "running_min": float(value)}
        for week, pair in minutes.items()
        for condition, value in zip(("shod", "unshod"), pair, strict=True)
    ]


def an_answer(week: int, *points: int | None, runner: str = "P1") -> dict[str, Any]:
    """One week's questionnaire."""
    return {"participant_id": runner, "week": week} | {f"question_{n}_points": p for n, p in enumerate(points, 1)}
