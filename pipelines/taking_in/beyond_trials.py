"""What a delivery brings that is not a trial: metabolic bouts, and tables that are pooled as sent."""

from __future__ import annotations

from typing import TYPE_CHECKING

from checks.breathing.bouts import BREATHS_FILE, place_of
from checks.registry import Weight
from pipelines.depot.desk import Desk
from pipelines.judging.standings import Judged
from schemas.catalogue import TABLES, tables_of
from schemas.convert.to_arrow import empty_frame
from schemas.delivery import SENT_SESSIONS
from schemas.delivery_beside import SENT_BREATHS
from schemas.model import Kind, Layer, Table
from schemas.outcomes_study import ENERGY_BOUTS
from schemas.told_later import as_told_later

if TYPE_CHECKING:
    import pandas as pd

RETURNED = "the breathing gas of this bout goes back to the site; the reason is among the findings"


def tables_beyond_trials(desk: Desk, judged: Judged) -> dict[Table, pd.DataFrame]:
    """Energy of the delivery's metabolic bouts, and what is pooled as it was sent, as far as consent covers it."""
    return {
        ENERGY_BOUTS: _energy(desk, judged),
        **{table: _pooled(table, TABLES[table.pools], judged) for table in tables_of(Layer.CORE) if table.pools},
    }


def _energy(desk: Desk, judged: Judged) -> pd.DataFrame:
    from pipelines.science.energy.bouts import compute_energy

    sessions = as_told_later(judged.received, SENT_SESSIONS, judged.consent.rows(SENT_SESSIONS))
    sessions = sessions.drop_duplicates("session_id", keep=False)  # of one that stands twice nobody knows the mass
    breaths = judged.consent.rows(SENT_BREATHS)
    breaths = breaths[breaths["session_id"].isin(sessions["session_id"])]
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


def _pooled(table: Table, sent: Table, judged: Judged) -> pd.DataFrame:
    """The covered rows of a delivery table with whole keys, each key once."""
    rows = judged.consent.rows(sent).dropna(subset=list(table.key)).drop_duplicates(list(table.key), ignore_index=True)
    return rows.assign(**judged.provenance)[list(table.column_names)]
