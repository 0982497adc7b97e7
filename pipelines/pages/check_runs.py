"""How the checks ended, read from the warehouse: counted there, since they are the most rows of all that pages tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipelines.pages.habits import FEWEST_TRIALS
from pipelines.pages.hiding import Hidden

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class CheckRun:
    """How often one check ended one way for one reason at one site. crashed_on: (delivery, subject), if it crashed."""

    check_name: str
    site: str | None
    status: str
    reason: str | None
    times: int
    crashed_on: tuple[tuple[str, str], ...]


def read_check_runs(connection: duckdb.DuckDBPyConnection, hidden: Hidden) -> tuple[CheckRun, ...]:
    """How often each check ended in which way at each site."""
    rows = connection.execute(
        """SELECT check_name, d.site, r.status, reason, count(*),
                  coalesce(list((delivery_id, subject) ORDER BY delivery_id, subject) FILTER (r.status = 'crashed'), [])
           FROM check_runs r LEFT JOIN deliveries d USING (delivery_id)
           GROUP BY ALL ORDER BY check_name, d.site, r.status, reason"""
    ).fetchall()
    return tuple(
        CheckRun(name, site, status, reason, times, tuple((d, s) for d, s in subjects if (site, s) not in hidden))
        for name, site, status, reason, times, subjects in rows
    )


def read_looked_at(connection: duckdb.DuckDBPyConnection) -> dict[str, frozenset[tuple[str, str]]]:
    """Check -> (delivery, subject) that it could judge.

    Only of checks, and of sites, where something was found on a few trials: of all others nobody asks, and they are
    most of the rows.
    """
    rows = connection.execute(
        """SELECT r.check_name, r.delivery_id, r.subject FROM check_runs r JOIN deliveries d USING (delivery_id)
           SEMI JOIN (
             SELECT check_name, s.site FROM findings JOIN standings s USING (delivery_id, trial_id)
             WHERE weight IN ('returns', 'notes') AND NOT s.superseded
             GROUP BY check_name, s.site HAVING count(DISTINCT trial_id) >= ?) often
             ON often.check_name = r.check_name AND often.site = d.site
           WHERE r.status IN ('pass', 'found')""",
        [FEWEST_TRIALS],
    ).fetchall()
    looked: dict[str, set[tuple[str, str]]] = {}
    for name, delivery, subject in rows:
        looked.setdefault(name, set()).add((delivery, subject))
    return {name: frozenset(own) for name, own in looked.items()}
