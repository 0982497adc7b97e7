"""What a delivery brings that is not a trial: metabolic bouts and the weekly log, as far as consent goes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from checks.consent_history import covered
from pipelines.desk import Desk
from pipelines.standings import Judged
from pipelines.trial_jobs import allowed, plain_rows
from schemas import core
from schemas.convert.to_arrow import empty_frame
from schemas.model import Table
from schemas.outcomes_study import ENERGY_BOUTS

if TYPE_CHECKING:
    import pandas as pd

#: A week of the change-over begins this many days after enrolment: week 1 on day 0.
DAYS_PER_WEEK = 7


def tables_beyond_trials(desk: Desk, judged: Judged) -> dict[Table, pd.DataFrame]:
    """Energy of the delivery's metabolic bouts, and its weekly logs, of runners whose consent covers them."""
    return {
        ENERGY_BOUTS: _energy(desk, judged),
        core.REPORTED_WEEKS: _log(core.REPORTED_WEEKS, "sent_weeks", judged),
        core.REPORTED_SYMPTOMS: _log(core.REPORTED_SYMPTOMS, "sent_symptoms", judged),
    }


def _energy(desk: Desk, judged: Judged) -> pd.DataFrame:
    from pipelines.outcomes.energy import compute_energy

    tables = judged.received.tables
    sessions = tables["sent_sessions"].dropna(subset=["session_id"])
    sessions = sessions.drop_duplicates("session_id", keep=False)  # standing twice, nobody knows which mass is right
    agreed = [
        row["session_id"]
        for row in plain_rows(sessions)
        if allowed(judged.received, row, "metabolic") and allowed(judged.received, row, "pooling")
    ]
    breaths = tables["sent_breaths"]
    breaths = breaths[breaths["session_id"].isin(agreed)]
    if breaths.empty:
        return empty_frame(ENERGY_BOUTS)
    found = compute_energy(breaths, sessions, desk.study.study.processing)
    return found.assign(**judged.provenance)[list(ENERGY_BOUTS.column_names)]


def _log(table: Table, sent: str, judged: Judged) -> pd.DataFrame:
    """Weekly rows with whole keys of runners who agreed to pooling by that week and had not taken it back."""
    import numpy as np

    rows = judged.received.tables[sent].dropna(subset=list(table.key))
    consents = judged.received.tables["sent_consents"]
    days = [
        (runner, max(int(week) - 1, 0) * DAYS_PER_WEEK)
        for runner, week in zip(rows["participant_id"], rows["week"], strict=True)
    ]
    agreed = np.array([covered(consents, runner, day, ["pooling"]) for runner, day in days], dtype=bool)
    rows = rows[agreed]
    rows = rows.drop_duplicates(list(table.key), ignore_index=True)
    return rows.assign(**judged.provenance)[list(table.column_names)]
