"""How far the runners came whom deliveries name: counted over the warehouse's own tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

ALL_SITES = "all sites"
_FLOW = f"""
WITH enrolled AS (SELECT DISTINCT participant_id, site FROM enrolled_runners),
sent AS (SELECT DISTINCT participant_id, site FROM standings
         WHERE kind = 'running' AND standing <> 'withheld' AND participant_id IS NOT NULL),
accepted AS (SELECT DISTINCT participant_id, site FROM trials WHERE kind = 'running'),
compared AS (SELECT DISTINCT participant_id, site FROM runner_contrasts WHERE difference_value IS NOT NULL),
far AS (
  SELECT participant_id, e.site, s.site IS NOT NULL AS sent, a.site IS NOT NULL AS accepted,
    c.site IS NOT NULL AS compared
  FROM enrolled e LEFT JOIN sent s USING (participant_id, site) LEFT JOIN accepted a USING (participant_id, site)
  LEFT JOIN compared c USING (participant_id, site)),
either AS (
  SELECT site, participant_id, sent, accepted, compared FROM far
  UNION ALL SELECT '{ALL_SITES}', participant_id, bool_or(sent), bool_or(accepted), bool_or(compared) FROM far
  GROUP BY participant_id),
wide AS (
  SELECT site, count(*) AS enrolled, count(*) FILTER (NOT sent) AS not_sent, count(*) FILTER (sent) AS sent,
    count(*) FILTER (sent AND NOT accepted) AS none_accepted, count(*) FILTER (sent AND accepted) AS accepted,
    count(*) FILTER (sent AND accepted AND compared) AS compared,
    count(*) FILTER (sent AND accepted AND NOT compared) AS not_compared
  FROM either GROUP BY site)
UNPIVOT wide ON enrolled, not_sent, sent, none_accepted, accepted, compared, not_compared
INTO NAME stage VALUE runner_count ORDER BY site, stage
"""


def participant_flow(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """``participant_flow`` less provenance."""
    found: pd.DataFrame = connection.sql(_FLOW).df()
    return found
