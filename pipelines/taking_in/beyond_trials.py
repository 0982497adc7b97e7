"""What a delivery brings that is not a trial: metabolic bouts and the weekly log, as far as consent goes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from checks.breathing.bouts import BREATHS_FILE, place_of
from checks.registry import Weight
from pipelines.depot.desk import Desk
from pipelines.judging.standings import Judged
from schemas import core
from schemas.agreed import agreed_weeks, energy_sessions, sessions_once
from schemas.convert.to_arrow import empty_frame
from schemas.model import Kind, Table
from schemas.outcomes_study import ENERGY_BOUTS

if TYPE_CHECKING:
    import pandas as pd

RETURNED = "the breathing gas of this bout goes back to the laboratory; the reason is among the findings"


def tables_beyond_trials(desk: Desk, judged: Judged) -> dict[Table, pd.DataFrame]:
    """Energy of the delivery's metabolic bouts, and its weekly logs, of runners whose consent covers them."""
    return {
        ENERGY_BOUTS: _energy(desk, judged),
        core.REPORTED_WEEKS: _log(core.REPORTED_WEEKS, "sent_weeks", judged),
        core.REPORTED_SYMPTOMS: _log(core.REPORTED_SYMPTOMS, "sent_symptoms", judged),
    }


def _energy(desk: Desk, judged: Judged) -> pd.DataFrame:
    from pipelines.science.energy.bouts import compute_energy

    tables = judged.received.tables
    sessions = sessions_once(tables["sent_sessions"])
    breaths = tables["sent_breaths"]
    breaths = breaths[breaths["session_id"].isin(energy_sessions(judged.received))]
    if breaths.empty:
        return empty_frame(ENERGY_BOUTS)
    found = _without_returned(compute_energy(breaths, sessions, desk.study.study.processing), judged)
    return found.assign(**judged.provenance)[list(ENERGY_BOUTS.column_names)]


def _without_returned(bouts: pd.DataFrame, judged: Judged) -> pd.DataFrame:
    """The same with no values where a check returned the bout: no trial goes back for its gas, but the gas does."""
    back = {f.place for f in judged.report.findings if f.file == BREATHS_FILE and f.weight is Weight.RETURNS}
    places = [place_of(*key) for key in bouts[list(ENERGY_BOUTS.key)].itertuples(index=False)]
    hit = [place in back for place in places]
    values = [f.name for f in ENERGY_BOUTS.fields if f.kind is Kind.REAL]
    bouts = bouts.copy()
    bouts.loc[hit, values] = None
    bouts.loc[hit, "reason_null"] = RETURNED
    return bouts


def _log(table: Table, sent: str, judged: Judged) -> pd.DataFrame:
    """Weekly rows with whole keys, as far as their runners agreed."""
    rows = judged.received.tables[sent].dropna(subset=list(table.key))
    rows = agreed_weeks(rows, judged.received).drop_duplicates(list(table.key), ignore_index=True)
    return rows.assign(**judged.provenance)[list(table.column_names)]
