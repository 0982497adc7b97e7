"""Signals drawn beside findings: a digest of each, and the signals themselves for the sheets that are made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.pages.hiding import Hidden
from pipelines.pool.query import open_read_only

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class Trace:
    """The signal drawn beside a finding. points: (time in s, value or None in a gap)."""

    signal: str
    unit: str
    points: tuple[tuple[float, float | None], ...]


def read_traced(connection: duckdb.DuckDBPyConnection, hidden: Hidden) -> dict[str, str]:
    """Finding -> digest of its signal; none about a hidden trial."""
    rows = connection.execute(
        """SELECT finding_id, d.site, trial_id, count(*) || ':' || sum(hash(t)::HUGEINT)
           FROM signal_traces t LEFT JOIN deliveries d USING (delivery_id) GROUP BY ALL ORDER BY ALL"""
    ).fetchall()
    return {finding_id: digest for finding_id, site, trial_id, digest in rows if (site, trial_id) not in hidden}


def read_traces(warehouse: Path, finding_ids: Sequence[str]) -> dict[str, Trace]:
    """Finding -> its signal, of those that have one."""
    if not finding_ids:
        return {}
    with open_read_only(warehouse) as connection:
        rows = connection.execute(
            """SELECT finding_id, signal, signal_unit, list(time_s ORDER BY time_s), list(signal_value ORDER BY time_s)
               FROM signal_traces WHERE finding_id IN (SELECT unnest(?::VARCHAR[]))
               GROUP BY ALL ORDER BY finding_id, signal""",
            [list(finding_ids)],
        ).fetchall()
    return {
        finding_id: Trace(signal, unit, tuple(zip(times, values, strict=True)))
        for finding_id, signal, unit, times, values in rows
    }
