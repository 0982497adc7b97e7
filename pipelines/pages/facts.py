"""What the pages say, read from the warehouse into plain records. Nothing here knows HTML or charts.

Withheld trials are dropped here, once, so that no page can name one: only their number goes on. The facts of a check at
a laboratory, which has no warehouse, are in ``lab_facts``.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pipelines.pages.check_runs import CheckRun, read_check_runs, read_looked_at
from pipelines.pages.contrasts import Contrasts, read_contrasts
from pipelines.pages.curves import Curves, read_curves
from pipelines.pages.decisions import SetAside, read_set_aside
from pipelines.pages.doubts import OutcomeDoubt, read_doubts
from pipelines.pages.habits import Habit, habits
from pipelines.pages.hiding import Hidden, findings_shown, standings_shown
from pipelines.pages.outcomes_shown import Outcome, shown_outcomes
from pipelines.pages.pictures import read_digests
from pipelines.pages.planned import Planned, read_planned
from pipelines.pages.round_trip import RoundTrip, all_round_trips
from pipelines.pages.speeds import ShownSpeed, shown_speed
from pipelines.pages.whole_sites import WholeSites, read_whole_sites
from pipelines.pool.query import open_read_only
from pipelines.study.silence import Silent
from schemas.moments import moment_of

if TYPE_CHECKING:
    import duckdb

    from schemas.study import Study

Row = TypeVar("Row")


@dataclass(frozen=True)
class Site:
    """One laboratory of the study file."""

    site: str
    description: str
    surface: str


@dataclass(frozen=True)
class Delivery:
    """One delivery as it came, in order of arrival.

    named_site: the site its bag names, if it lay in the inbox of ``site``, which is another one; else None.
    """

    delivery_id: str
    site: str | None
    delivery_number: int | None
    status: str
    arrived_as: str
    fingerprint_sha256: str
    received_utc: str
    payload_count: int
    payload_bytes: int
    code_version: str
    study_version: str
    named_site: str | None = None


@dataclass(frozen=True)
class Standing:
    """What became of one trial in one delivery; ``trial_id`` and ``participant_id`` are None for a withheld one."""

    delivery_id: str
    trial_id: str | None
    site: str
    participant_id: str | None
    visit: str | None
    condition: str | None
    kind: str | None
    standing: str
    superseded: bool
    accepted_by_override: bool
    study_day: int | None
    resend_reason: str | None
    told_by_delivery: str | None


@dataclass(frozen=True)
class Finding:
    """One thing a check saw; of a withheld trial only where its file must be mended, without the trial."""

    finding_id: str
    delivery_id: str
    site: str | None
    trial_id: str | None
    check_name: str
    weight: str
    file: str | None
    place: str | None
    seen: str
    expected: str
    remedy: str
    moment_s: float | None
    signal: str | None
    consequence_of: str | None = None


@dataclass(frozen=True)
class Facts:
    """Everything the pages are made from. What is pooled is left out where nothing is."""

    sites: tuple[Site, ...]
    conditions: dict[str, str]  # word -> description, in the study file's order
    visits: dict[str, int]  # word -> planned week, in the plan's order
    deliveries: tuple[Delivery, ...]
    standings: tuple[Standing, ...]
    findings: tuple[Finding, ...]
    check_runs: tuple[CheckRun, ...]
    looked_at: dict[str, frozenset[tuple[str, str]]]  # check -> (delivery, subject) that it could judge
    pictured: dict[str, str]  # finding id -> digest of the picture beside it
    set_aside: tuple[SetAside, ...] = ()
    silent: tuple[Silent, ...] = ()  # not of the warehouse: it comes with the day, see ``pipelines.study.silence``
    held_texts: int = 0  # those that wait for a look; not of the warehouse either
    footfall_count: int = 0
    runner_count: int = 0
    shown: tuple[Outcome, ...] = ()
    speed: ShownSpeed = field(default_factory=lambda: ShownSpeed("", "true"))
    # Outcome.key -> (site, condition, mean of one runner)
    outcomes: dict[str, tuple[tuple[str, str, float], ...]] = field(default_factory=dict)
    doubts: tuple[OutcomeDoubt, ...] = ()
    contrasts: Contrasts = field(default_factory=lambda: Contrasts(None, (), 0, 0, 0))
    planned: Planned = field(default_factory=lambda: Planned(None, "", "", None, None, ()))
    curves: Curves = field(default_factory=lambda: Curves(None, None, ()))
    whole: WholeSites = field(default_factory=lambda: WholeSites((), (), {}))

    @cached_property
    def current(self) -> tuple[Standing, ...]:
        """Standings that no later delivery has replaced."""
        return tuple(s for s in self.standings if not s.superseded)

    @cached_property
    def returned(self) -> tuple[Standing, ...]:
        """Trials that a lab has still to mend and send again."""
        return tuple(s for s in self.current if s.standing == "returned" and s.trial_id is not None)

    @cached_property
    def running_runner_count(self) -> int:
        """Runners with an accepted running trial: those of whom the footfalls are."""
        own = {s.participant_id for s in self.current if (s.standing, s.kind) == ("accepted", "running")}
        return len(own - {None})

    @cached_property
    def stopped(self) -> tuple[Delivery, ...]:
        """Deliveries that could not be taken in, of which neither the number nor the content was taken in since."""
        taken = [d for d in self.deliveries if d.status == "taken_in"]
        numbers = {(d.site, d.delivery_number) for d in taken}
        contents = {(d.site, d.fingerprint_sha256) for d in taken}
        return tuple(
            d
            for d in self.deliveries
            if d.status == "stopped"
            and (d.site, d.delivery_number) not in numbers
            and (d.named_site or d.site, d.fingerprint_sha256) not in contents
        )

    def stopped_of(self, site: str) -> list[Delivery]:
        """Those of a site, be it that they lay in another one's inbox."""
        return [d for d in self.stopped if site in (d.site, d.named_site)]

    @cached_property
    def findings_on(self) -> dict[tuple[str, str | None], tuple[Finding, ...]]:
        """(delivery, trial) -> its findings, the weightiest first; trial None for the delivery's own."""
        on: dict[tuple[str, str | None], list[Finding]] = {}
        for finding in self.findings:
            on.setdefault((finding.delivery_id, finding.trial_id), []).append(finding)
        return {key: tuple(own) for key, own in on.items()}

    @cached_property
    def round_trips(self) -> tuple[RoundTrip, ...]:
        """Every trial that went back once."""
        return tuple(all_round_trips(self))

    @cached_property
    def habits(self) -> tuple[Habit, ...]:
        """Faults that are habits, at every site."""
        return tuple(habits(self))

    @cached_property
    def findings_of(self) -> dict[str, tuple[Finding, ...]]:
        """Delivery -> its findings, in the order of all."""
        of: dict[str, list[Finding]] = {}
        for finding in self.findings:
            of.setdefault(finding.delivery_id, []).append(finding)
        return {delivery: tuple(own) for delivery, own in of.items()}

    @cached_property
    def received(self) -> dict[str, str]:
        """Delivery -> when it came."""
        return {d.delivery_id: d.received_utc for d in self.deliveries}

    def next_number(self, site: str | None) -> int | None:
        """The first delivery number that ``site`` has not used; None for a site that is not known."""
        return self._next_numbers.get(site)

    @cached_property
    def _next_numbers(self) -> dict[str | None, int]:
        numbers: dict[str | None, int] = {s.site: 1 for s in self.sites}
        for delivery in self.deliveries:
            if delivery.site in numbers:
                numbers[delivery.site] = max(numbers[delivery.site], 1 + (delivery.delivery_number or 0))
        return numbers

    @cached_property
    def newest_utc(self) -> str:
        """When the newest delivery came; empty if none has a readable time."""
        times = [(moment, d.received_utc) for d in self.deliveries if (moment := moment_of(d.received_utc)) is not None]
        return max(times)[1] if times else ""


def read_facts(warehouse: Path, study: Study) -> Facts:
    """Read all facts; the study file gives the order of conditions and which outcomes are shown."""
    with open_read_only(warehouse) as connection:
        return _read(connection, study)


def _read(connection: duckdb.DuckDBPyConnection, study: Study) -> Facts:
    # a trial id stays hidden in every delivery of its site as long as its newest version is withheld
    apart = connection.execute(
        "SELECT site, delivery_id, trial_id FROM standings WHERE standing = 'withheld' AND NOT superseded"
    ).fetchall()
    hidden: Hidden = {(site, trial) for site, _, trial in apart}
    withheld = {(delivery, trial) for _, delivery, trial in apart}
    standings = _rows(connection, Standing, "FROM standings ORDER BY site, delivery_id, trial_id")
    described = dict(connection.execute("SELECT condition, description FROM conditions").fetchall())
    conditions = {word: described[word] for word in (*study.conditions, *sorted(described)) if word in described}
    visits = dict(connection.execute("SELECT visit, planned_week FROM visits ORDER BY planned_week, visit").fetchall())
    shown, speed = shown_outcomes(study, _side_of_muscles(connection)), shown_speed(connection, study)
    return Facts(
        sites=tuple(_rows(connection, Site, "FROM sites ORDER BY site")),
        conditions=conditions,
        visits=visits,
        deliveries=tuple(_rows(connection, Delivery, "FROM deliveries ORDER BY received_utc, delivery_id")),
        standings=standings_shown(standings, hidden),
        findings=findings_shown(_rows(connection, Finding, "FROM findings"), withheld, hidden),
        check_runs=read_check_runs(connection, hidden),
        looked_at=read_looked_at(connection),
        pictured=read_digests(connection, hidden),
        footfall_count=_one(connection, "SELECT count(*) FROM footfalls"),
        runner_count=_one(connection, "SELECT count(*) FROM runners"),
        shown=shown,
        speed=speed,
        outcomes={o.key: _runner_means(connection, o, speed.where) for o in shown if o.between_sites},
        doubts=read_doubts(connection, shown),
        contrasts=read_contrasts(connection, [o for o in shown if o.within_runners], list(conditions), list(visits)),
        planned=read_planned(connection),
        set_aside=read_set_aside(connection, hidden),
        curves=read_curves(
            connection, list(conditions), list(visits), study.processing.contrasts.reference_condition, speed.where
        ),
        whole=read_whole_sites(connection),
    )


def _rows(connection: duckdb.DuckDBPyConnection, cls: type[Row], rest: str) -> list[Row]:
    columns = ", ".join(f.name for f in fields(cls))  # type: ignore[arg-type]
    return [cls(*row) for row in connection.execute(f"SELECT {columns} {rest}").fetchall()]


def _one(connection: duckdb.DuckDBPyConnection, sql: str) -> int:
    return int((connection.execute(sql).fetchone() or (0,))[0])


def _side_of_muscles(connection: duckdb.DuckDBPyConnection) -> str:
    """The side of which more trials have a usable muscle signal; the left one if they are equal."""
    row = connection.execute(
        "SELECT side FROM muscle_signals WHERE signal_problem IS NULL GROUP BY side "
        "ORDER BY count(DISTINCT trial_id) DESC, side LIMIT 1"
    ).fetchone()
    return str(row[0]) if row else "left"


def _runner_means(
    connection: duckdb.DuckDBPyConnection, outcome: Outcome, where: str
) -> tuple[tuple[str, str, float], ...]:
    """Mean of each runner in each condition: footfalls are averaged within the trial, trials within the runner.

    where: of ``ShownSpeed``.
    """
    rows: list[tuple[Any, ...]] = connection.execute(
        f"""WITH per_trial AS (
              SELECT site, condition, participant_id, trial_id, avg(value) AS value FROM ({outcome.values_sql})
              WHERE {where} GROUP BY ALL HAVING avg(value) IS NOT NULL)
            SELECT site, condition, round(avg(value), 6) FROM per_trial
            GROUP BY site, condition, participant_id ORDER BY site, condition, participant_id"""
    ).fetchall()
    return tuple((site, condition, value) for site, condition, value in rows)
