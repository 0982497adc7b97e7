"""What pages say of a data manager's decisions, and of thresholds that a laboratory has for itself. No HTML."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date
from typing import TYPE_CHECKING

from checks.registry import catalogue
from pipelines.pages.hiding import Hidden, names_hidden, without
from schemas.convert.words import unit_words

if TYPE_CHECKING:
    import duckdb

    from schemas.model import suffix_unit
from schemas.study import Study


@dataclass(frozen=True)
class SetAside:
    """One check that a data manager set aside on one trial. standing: what the trial is with it."""

    delivery_id: str
    trial_id: str
    site: str
    check_name: str
    finding_count: int
    reason: str
    decided_by: str
    decided_utc: str
    standing: str
    superseded: bool


def read_set_aside(connection: duckdb.DuckDBPyConnection, hidden: Hidden) -> tuple[SetAside, ...]:
    """Every decision in force, the newest first; none on a withheld trial."""
    of_trial = ("standing", "superseded")
    columns = ", ".join(f"{'s' if f.name in of_trial else 'o'}.{f.name}" for f in fields(SetAside))
    rows = connection.execute(
        f"SELECT {columns} FROM overrides o JOIN standings s USING (delivery_id, trial_id) "
        "ORDER BY decided_utc DESC, trial_id, check_name"
    ).fetchall()
    names = names_hidden(hidden)
    every = [SetAside(*row) for row in rows]
    return tuple(
        without(o, names.get(o.site), ("reason",))
        for o in every
        if (o.site, o.trial_id) not in hidden and o.standing != "withheld"
    )


@dataclass(frozen=True)
class OwnThreshold:
    """A threshold of one laboratory. usual: what holds for the others; unit: in words, empty for none.

    check_name: None for one by which events are found.
    """

    check_name: str | None
    threshold: str
    own: float
    usual: float | None
    unit: str
    reason: str
    since: date


def own_thresholds(study: Study, site: str) -> list[OwnThreshold]:
    """The thresholds that ``site`` has for itself, check by check; none for a site that the study does not know."""
    checks, own = catalogue(), study.sites[site].events if site in study.sites else None
    of_events = [
        OwnThreshold(
            None,
            name,
            value,
            getattr(study.processing, name),
            unit_words(suffix_unit(name)),
            own.reason,
            own.since,
        )
        for name, value in (own.changes.items() if own is not None else ())
        if own is not None
    ]
    return of_events + [
        OwnThreshold(
            name,
            threshold,
            limit.value,
            study.limits.get(name, {}).get(threshold, checks[name].defaults[threshold]),
            unit_words(checks[name].limits[threshold].unit),
            limit.reason,
            limit.since,
        )
        for name, limits in sorted(study.sites[site].limits.items() if site in study.sites else ())
        for threshold, limit in sorted(limits.items())
        if name in checks and threshold in checks[name].limits
    ]
