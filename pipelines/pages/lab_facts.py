"""What the pages of a check at a laboratory say, out of the tables of one result: no warehouse, nothing pooled.

How each is shown, and what is hidden, is the same as of a warehouse (``facts``, ``hiding``).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import fields
from itertools import groupby
from typing import TYPE_CHECKING, Any, TypeVar

from checks.evidence import Picture
from pipelines.pages.check_runs import CheckRun
from pipelines.pages.digest import digest_of
from pipelines.pages.facts import Delivery, Facts, Finding, Site, Standing
from pipelines.pages.hiding import findings_shown, standings_shown
from pipelines.pages.pictures import PART, picture_of
from schemas import core, quality
from schemas.model import Table
from schemas.received import plain_rows

if TYPE_CHECKING:
    import pandas as pd

    from schemas.study import Study

Row = TypeVar("Row")


def facts_of_result(tables: Mapping[Table, pd.DataFrame], study: Study) -> Facts:
    """The facts of one delivery that nobody has taken in. tables: every table of its result."""
    standings = [_as(Standing, row) for row in plain_rows(tables[quality.STANDINGS])]
    withheld = [s for s in standings if s.standing == "withheld"]
    hidden = {(s.site, str(s.trial_id)) for s in withheld}
    deliveries = tuple(_as(Delivery, row) for row in plain_rows(tables[core.DELIVERIES]))
    standings.sort(key=lambda s: (s.site, s.delivery_id, s.trial_id or ""))
    found = [_as(Finding, row) for row in plain_rows(tables[quality.FINDINGS])]
    visits = sorted(study.visits.items(), key=lambda one: (one[1].planned_week, one[0]))
    return Facts(
        sites=tuple(Site(n, s.description, s.profile.surface) for n, s in sorted(study.sites.items())),
        conditions={name: condition.description for name, condition in study.conditions.items()},
        visits={name: visit.planned_week for name, visit in visits},
        deliveries=deliveries,
        standings=standings_shown(standings, hidden),
        findings=findings_shown(found, {(s.delivery_id, str(s.trial_id)) for s in withheld}, hidden),
        check_runs=tuple(_check_runs(tables[quality.CHECK_RUNS], {d.delivery_id: d.site for d in deliveries})),
        looked_at={},  # by which habits are known: none of a single delivery
        pictured={name: digest_of(own) for name, own in _points(tables).items()},
    )


def pictures_of_result(tables: Mapping[Table, pd.DataFrame], finding_ids: Collection[str]) -> dict[str, Picture]:
    """Finding -> its picture, of those that have one."""
    return {name: _picture(own) for name, own in _points(tables, finding_ids).items()}


def _as(kind: type[Row], row: Mapping[str, Any]) -> Row:
    return kind(**{f.name: row[f.name] for f in fields(kind)})  # type: ignore[arg-type]


def _check_runs(runs: pd.DataFrame, sites: Mapping[str, str | None]) -> Iterator[CheckRun]:
    times: Counter[tuple[str, str | None, str, str | None]] = Counter()
    crashed: dict[tuple[str, str | None, str, str | None], list[tuple[str, str]]] = {}
    for row in plain_rows(runs):
        key = (row["check_name"], sites.get(row["delivery_id"]), row["status"], row["reason"])
        times[key] += 1
        if row["status"] == "crashed":
            crashed.setdefault(key, []).append((row["delivery_id"], row["subject"]))
    for key in sorted(times, key=lambda key: tuple(part or "" for part in key)):
        yield CheckRun(*key, times[key], tuple(sorted(crashed.get(key, ()))))


def _points(
    tables: Mapping[Table, pd.DataFrame], finding_ids: Collection[str] | None = None
) -> dict[str, list[dict[str, Any]]]:
    """Finding -> the points of its picture, in order."""
    points = tables[quality.FINDING_PICTURES]
    if finding_ids is not None:
        points = points[points["finding_id"].isin(list(finding_ids))]
    rows = plain_rows(points.sort_values(list(quality.FINDING_PICTURES.key)))
    return {name: list(own) for name, own in groupby(rows, key=lambda row: str(row["finding_id"]))}


def _picture(points: list[dict[str, Any]]) -> Picture:
    parts = []
    for _, part in groupby(points, key=lambda row: (row["panel_number"], row["part_number"])):
        own = list(part)
        across, upwards = ([row[name] for row in own] for name in ("across_value", "upwards_value"))
        parts.append((*(own[0][name] for name in PART), across, upwards))
    return picture_of(parts)
