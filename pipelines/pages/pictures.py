"""Pictures beside findings: a digest of each, and the pictures themselves for the sheets that are made."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from checks.evidence import NAN, Kind, Panel, Part, Picture, Role
from pipelines.pages.hiding import Hidden
from pipelines.pool.query import open_read_only

if TYPE_CHECKING:
    import duckdb

#: Columns that are the same in all points of one part of a picture.
PART = (
    "finding_id",
    "panel_number",
    "panel_kind",
    "panel_title",
    "across_words",
    "upwards_unit",
    "part_number",
    "part_role",
    "part_name",
)


def read_digests(connection: duckdb.DuckDBPyConnection, hidden: Hidden) -> dict[str, str]:
    """Finding -> digest of its picture; none about a hidden trial."""
    rows = connection.execute(
        """SELECT finding_id, d.site, trial_id, count(*) || ':' || sum(hash(p)::HUGEINT)
           FROM finding_pictures p LEFT JOIN deliveries d USING (delivery_id) GROUP BY ALL ORDER BY ALL"""
    ).fetchall()
    return {finding_id: digest for finding_id, site, trial_id, digest in rows if (site, trial_id) not in hidden}


def read_pictures(warehouse: Path, finding_ids: Sequence[str]) -> dict[str, Picture]:
    """Finding -> its picture, of those that have one."""
    if not finding_ids:
        return {}
    with open_read_only(warehouse) as connection:
        rows = connection.execute(
            f"""SELECT {", ".join(PART)},
                       list(across_value ORDER BY point_number), list(upwards_value ORDER BY point_number)
                FROM finding_pictures WHERE finding_id IN (SELECT unnest(?::VARCHAR[]))
                GROUP BY ALL ORDER BY finding_id, panel_number, part_number""",
            [list(finding_ids)],
        ).fetchall()
    return {
        finding_id: picture_of(list(of_finding)) for finding_id, of_finding in groupby(rows, key=lambda row: row[0])
    }


def picture_of(parts: Sequence[tuple[Any, ...]]) -> Picture:
    """One picture of its parts in order, each a row of ``PART`` with the values across and upwards of its points."""
    return Picture(tuple(_panel(list(own)) for _, own in groupby(parts, key=lambda row: row[1])))


def _panel(rows: list[tuple[Any, ...]]) -> Panel:
    _, _, kind, title, across, unit, *_ = rows[0]
    parts = tuple(
        Part(Role(role), name, tuple((_number(x), _number(y)) for x, y in zip(xs, ys, strict=True)))
        for *_, role, name, xs, ys in rows
    )
    return Panel(Kind(kind), title, unit, parts, across)


def _number(value: float | None) -> float:
    return NAN if value is None else value
