"""At which set speed the pages show runners: means of two speeds are never drawn as one.

Where the study compares runners at the speed that was set, the one that most runners ran at; all others are one query
away. Where each runner has a speed of his or her own, all runners who ran at a single one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipelines.pool.views import COMPARED_SPEED_SQL

if TYPE_CHECKING:
    import duckdb

    from schemas.study import Study


@dataclass(frozen=True)
class ShownSpeed:
    """words: how it reads in a sentence after a comma, empty if no speed is known.

    where: SQL over participant_id and set_speed_m_per_s. others: how many further set speeds there are.
    """

    words: str
    where: str
    others: int = 0


def shown_speed(connection: duckdb.DuckDBPyConnection, study: Study) -> ShownSpeed:
    """The speed that the pages show."""
    counted = connection.execute(
        f"SELECT {COMPARED_SPEED_SQL} AS speed, count(DISTINCT participant_id) AS runners FROM trials "
        "WHERE kind = 'running' AND set_speed_m_per_s IS NOT NULL GROUP BY speed ORDER BY runners DESC, speed"
    ).fetchall()
    if not counted:
        return ShownSpeed("", "true")
    if study.processing.contrasts.speeds == "own":
        single = (
            "SELECT participant_id FROM trials WHERE kind = 'running' GROUP BY participant_id "
            f"HAVING count(DISTINCT {COMPARED_SPEED_SQL}) = 1"
        )
        return ShownSpeed("each at a set speed of their own", f"participant_id IN ({single})")
    speed = float(counted[0][0])
    return ShownSpeed(f"at {speed:.1f} m/s", f"{COMPARED_SPEED_SQL} = {speed!r}", len(counted) - 1)
