"""What a later delivery says of a session or a runner that an earlier one described, too: the newest row counts.

Only what outcomes and checks of trials read of such rows is taken over. Whose session it is and on which study day stays
as the delivery itself says, since consent is asked by it. Which delivery is later is asked in
``pipelines.taking_in.later_rows``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from schemas.delivery import SENT_PARTICIPANTS, SENT_SESSIONS
from schemas.model import Table
from schemas.privacy import RUNNER, SESSION

if TYPE_CHECKING:
    import pandas as pd

    from schemas.received import Received

#: Table -> the column by which its rows are known, and the columns of which the newest row counts.
TAKEN_OVER: Mapping[str, tuple[str, tuple[str, ...]]] = {
    SENT_SESSIONS.name: (SESSION, ("visit", "mass_kg", "surface", "set_speed_m_per_s")),
    SENT_PARTICIPANTS.name: (RUNNER, ("sex", "stature_m", "leg_length_m")),
}


def values_of(table: str, row: Mapping[str, Any]) -> tuple[tuple[str, Any], ...]:
    """Column -> value of what counts of a row, in order."""
    return tuple((name, row[name]) for name in TAKEN_OVER[table][1])


def told_by(received: Received, trial: Mapping[str, Any]) -> str | None:
    """The last delivery that tells otherwise of a trial's session, or else of its runner; None if none does.

    trial: its row, joined with those of its session and its runner.
    """
    told = {(one.table, one.key): one.delivery_id for one in received.told_later}
    keys = ((table, trial[column]) for table, (column, _) in TAKEN_OVER.items())
    return next((told[key] for key in keys if key in told), None)


def as_told_later(received: Received, table: Table, rows: pd.DataFrame) -> pd.DataFrame:
    """Rows of the delivery's table, with what later deliveries say in place of what the delivery says itself."""
    later = [one for one in received.told_later if one.table == table.name]
    if not later:
        return rows
    rows = rows.copy()
    for one in later:
        mine = rows[TAKEN_OVER[table.name][0]] == one.key
        for name, value in one.values:
            rows.loc[mine.fillna(False).astype(bool), name] = value
    return rows
