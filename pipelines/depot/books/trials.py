"""The versions of every trial: which delivery brought it, how it stands, and what another delivery may ask of it.

What is "before" a delivery is in ``pipelines.depot.books.order``; came: when it first came, None if only now.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from pipelines.depot.books.asking import in_portions
from pipelines.depot.books.deliveries import current
from pipelines.depot.books.order import after, before, of_another_site
from pipelines.depot.books.rows import TAKEN_IN, Record, TrialVersion
from pipelines.depot.books.tables import DELIVERIES, SHAPE_CELLS, TRIALS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

ACCEPTED = "accepted"
_COLUMNS = [TRIALS.c[f.name] for f in fields(TrialVersion)]


class Trials:
    """Reads what is kept of trials; written they are with their delivery."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def of_delivery(self, delivery_id: str) -> list[TrialVersion]:
        """The trials of one delivery, by name."""
        return self._where(TRIALS.c.delivery_id == delivery_id)

    def versions(self, trial_id: str) -> list[TrialVersion]:
        """Every version of one trial, the oldest number first."""
        return self._where(TRIALS.c.trial_id == trial_id)

    def known_before(self, site: str | None, number: int | None, arrival: str, ids: Iterable[str]) -> dict[str, str]:
        """Those of ``ids`` that deliveries before brought -> the newest of these."""
        found = self._among(TRIALS.c.trial_id, ids, *_before(site, number, arrival))
        return {trial.trial_id: trial.delivery_id for trial in found}

    def accepted_before(
        self, site: str | None, number: int | None, arrival: str, ids: Iterable[str]
    ) -> dict[str, TrialVersion]:
        """Those of ``ids`` of which deliveries before brought an accepted version -> the newest of these."""
        accepted = TRIALS.c.standing == ACCEPTED
        found = self._among(TRIALS.c.trial_id, ids, accepted, *_before(site, number, arrival))
        return {trial.trial_id: trial for trial in found}

    def ids_of_others(self, site: str | None, came: str | None, ids: Iterable[str]) -> list[TrialVersion]:
        """Versions of trials named like one of ``ids`` that another laboratory brought before."""
        return self._among(TRIALS.c.trial_id, ids, DELIVERIES.c.status == TAKEN_IN, of_another_site(site, came))

    def sessions_of_others(self, site: str | None, came: str | None, ids: Iterable[str]) -> list[TrialVersion]:
        """Accepted trials of another laboratory, brought before, in a session named like one of ``ids``."""
        return self._among(TRIALS.c.session_id, ids, TRIALS.c.standing == ACCEPTED, of_another_site(site, came))

    def with_file(
        self, shas: Iterable[str], site: str | None, number: int | None, came: str | None
    ) -> list[tuple[TrialVersion, Record]]:
        """Accepted trials with one of these files, of deliveries before."""
        found = self._among(TRIALS.c.raw_sha256, shas, TRIALS.c.standing == ACCEPTED, before(site, number, came))
        records = {trial.delivery_id: self._books.deliveries.get(trial.delivery_id) for trial in found}
        return [(trial, record) for trial in found if (record := records[trial.delivery_id]) is not None]

    def with_shapes_before(
        self, cells: Iterable[str], made: Collection[str], site: str | None, number: int | None, came: str | None
    ) -> dict[str, set[str]]:
        """Delivery -> accepted trials with a shape in one of these cells, of current deliveries before one."""
        return self._with_shapes(cells, made, before(site, number, came))

    def with_shapes_after(
        self, cells: Iterable[str], made: Collection[str], site: str | None, number: int | None, came: str | None
    ) -> dict[str, set[str]]:
        """The same of current deliveries that one is before."""
        return self._with_shapes(cells, made, after(site, number, came))

    def _with_shapes(
        self, cells: Iterable[str], made: Collection[str], which: sa.ColumnElement[bool]
    ) -> dict[str, set[str]]:
        c, found = SHAPE_CELLS.c, dict[str, set[str]]()
        query = (
            sa.select(c.delivery_id, c.trial_id)
            .distinct()
            .join(DELIVERIES, DELIVERIES.c.delivery_id == c.delivery_id)
            .where(current(made), which)
        )
        with self._books.reading() as connection:
            for portion in in_portions(cells):
                for delivery, trial in connection.execute(query.where(c.cell.in_(portion))):
                    found.setdefault(str(delivery), set()).add(str(trial))
        return found

    def cells_of(self, delivery_id: str) -> dict[str, list[str]]:
        """Accepted trials of a delivery -> the cells in which their shapes lie, in order."""
        c, found = SHAPE_CELLS.c, dict[str, list[str]]()
        with self._books.reading() as connection:
            for trial, cell in connection.execute(sa.select(c.trial_id, c.cell).where(c.delivery_id == delivery_id)):
                found.setdefault(str(trial), []).append(str(cell))
        return {trial: sorted(cells) for trial, cells in found.items()}

    def giving_posture(
        self, made: Collection[str], site: str | None, number: int | None, sessions: Iterable[str]
    ) -> list[TrialVersion]:
        """Standing trials of these sessions from other deliveries of the site, on which running trials may lean."""
        c = DELIVERIES.c
        other = c.number != number if number is not None else sa.true()
        return self._among(TRIALS.c.session_id, sessions, TRIALS.c.gives_posture, c.site == site, other, current(made))

    def compared_with_another(self, made: Collection[str]) -> list[Record]:
        """Deliveries with a trial whose accepted version before is not the one it was judged with."""
        d, e, earlier = DELIVERIES, TRIALS.alias("e"), DELIVERIES.alias("ed")
        newest = (
            sa.select(
                TRIALS.c.delivery_id,
                TRIALS.c.trial_id,
                TRIALS.c.before_delivery,
                TRIALS.c.before_parts,
                e.c.delivery_id.label("now_delivery"),
                e.c.parts.label("now_parts"),
                sa.func.coalesce(earlier.c.number, 0).label("now_number"),
            )
            .select_from(TRIALS)
            .join(d, d.c.delivery_id == TRIALS.c.delivery_id)
            .join(e, e.c.trial_id == TRIALS.c.trial_id)
            .join(earlier, earlier.c.delivery_id == e.c.delivery_id)
            .where(
                current(made, d),
                d.c.held,
                e.c.standing == ACCEPTED,
                earlier.c.status == TAKEN_IN,
                earlier.c.site == d.c.site,
                earlier.c.arrival != d.c.arrival,
                sa.func.coalesce(earlier.c.number, 0) < sa.func.coalesce(d.c.number, 0),
            )
        )
        judged_with = (
            sa.select(TRIALS.c.delivery_id, TRIALS.c.trial_id, TRIALS.c.before_delivery, TRIALS.c.before_parts)
            .join(d, d.c.delivery_id == TRIALS.c.delivery_id)
            .where(TRIALS.c.before_delivery != "", current(made, d), d.c.held)
        )
        with self._books.reading() as connection:
            now: dict[tuple[str, str], tuple[int, str, str]] = {}
            then: dict[tuple[str, str], tuple[str, str]] = {}
            for name, trial, before, parts, other, other_parts, number in connection.execute(newest):
                then[name, trial] = (before, parts)
                now[name, trial] = max(now.get((name, trial), (-1, "", "")), (number, other, other_parts))
            for name, trial, before, parts in connection.execute(judged_with):
                then[name, trial] = (before, parts)
        due = {key[0] for key, told in then.items() if now.get(key, (0, "", ""))[1:] != told}
        return self._books.deliveries.named(due)

    def standings(self) -> dict[str, int]:
        """Trials by standing, each version counted."""
        query = sa.select(TRIALS.c.standing, sa.func.count()).group_by(TRIALS.c.standing)
        with self._books.reading() as connection:
            return {str(standing): int(count) for standing, count in connection.execute(query)}

    def accepted_count(self) -> int:
        """Accepted trials, each once, in however many deliveries it came."""
        query = sa.select(sa.func.count(sa.distinct(TRIALS.c.trial_id))).where(TRIALS.c.standing == "accepted")
        with self._books.reading() as connection:
            return int(connection.execute(query).scalar_one())

    def _where(self, *conditions: sa.ColumnElement[bool]) -> list[TrialVersion]:
        query = (
            sa.select(*_COLUMNS, DELIVERIES.c.number)
            .join(DELIVERIES, DELIVERIES.c.delivery_id == TRIALS.c.delivery_id)
            .where(*conditions)
        )
        with self._books.reading() as connection:
            rows = connection.execute(query).mappings().all()
        ordered = sorted(rows, key=lambda r: (r["site"] or "", r["number"] or 0, r["delivery_id"], r["trial_id"]))
        return [_version(row) for row in ordered]

    def _among(
        self, column: sa.Column[Any], values: Iterable[str], *also: sa.ColumnElement[bool]
    ) -> list[TrialVersion]:
        """Trials whose ``column`` has one of ``values``, the oldest number first."""
        return [trial for portion in in_portions(values) for trial in self._where(column.in_(portion), *also)]


def _version(row: sa.RowMapping) -> TrialVersion:
    own: dict[str, Any] = {str(name): value for name, value in row.items() if name != "number"}
    parts = {name: tuple(own[name].split(",")) if own[name] else () for name in ("parts", "before_parts")}
    return TrialVersion(**(own | parts))


def _before(site: str | None, number: int | None, arrival: str) -> tuple[sa.ColumnElement[bool], ...]:
    c = DELIVERIES.c
    earlier = sa.func.coalesce(c.number, 0) < (number or 0)
    return c.status == TAKEN_IN, c.site == site, c.arrival != arrival, earlier
