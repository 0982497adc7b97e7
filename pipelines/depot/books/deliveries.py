"""The deliveries of the depot: what became of each, its payload, and what its trials wait for."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict, fields, replace
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from pipelines.depot.books import tables
from pipelines.depot.books.asking import in_order
from pipelines.depot.books.order import before
from pipelines.depot.books.rows import MADE, STOPPED, TAKEN_IN, Payload, Record, Result, TrialVersion
from pipelines.depot.books.tables import DELIVERIES, DELIVERY_STAMPS, PAYLOAD, TRIALS, WAITING
from pipelines.depot.books.tables_texts import LEFT_OUT, PACKED_WITH, PACKING_NOTES
from pipelines.depot.books.told_tables import TOLD_ROWS
from schemas.received import PayloadFile, Problem

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

_COLUMNS = [DELIVERIES.c[f.name] for f in fields(Record)]


def current(made: Collection[str], deliveries: Any = DELIVERIES) -> sa.ColumnElement[bool]:
    """Whether a delivery was taken in and made with what is wanted today. made: see ``Desk.made``."""
    c, stamps = deliveries.c, DELIVERY_STAMPS.alias()
    same = (
        sa.exists()
        .where(stamps.c.delivery_id == c.delivery_id, stamps.c.what == MADE, stamps.c.used.in_(sorted(made)))
        .correlate(deliveries)
    )
    return sa.and_(c.status == TAKEN_IN, same)


class Deliveries:
    """Reads and writes what became of deliveries. Lists come in order of site and number."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def get(self, delivery_id: str) -> Record | None:
        """One delivery; None if there is none of that name."""
        return next(iter(self._where(DELIVERIES.c.delivery_id == delivery_id)), None)

    def all(self) -> list[Record]:
        """Every delivery."""
        return self._where(sa.true())

    def ids(self) -> set[str]:
        """The names of all."""
        with self._books.reading() as connection:
            return set(connection.scalars(sa.select(DELIVERIES.c.delivery_id)))

    def results(self) -> dict[str, str]:
        """Delivery -> the word of its result."""
        with self._books.reading() as connection:
            rows = connection.execute(sa.select(DELIVERIES.c.delivery_id, DELIVERIES.c.result))
            return {str(name): str(word) for name, word in rows}

    def taken_in(self, *, held: bool = False) -> list[Record]:
        """Deliveries whose trials were judged. held: only those whose bytes the depot holds."""
        return self._where(DELIVERIES.c.status == TAKEN_IN, *([DELIVERIES.c.held] if held else []))

    def any_taken_in(self) -> bool:
        """Whether there is one."""
        with self._books.reading() as connection:
            return connection.scalar(sa.select(sa.exists().where(DELIVERIES.c.status == TAKEN_IN))) is True

    def current(self, made: Collection[str]) -> list[Record]:
        """Deliveries that were taken in and made with what is wanted today."""
        return self._where(current(made))

    def is_current(self, delivery_id: str, made: Collection[str]) -> bool:
        """Whether one delivery was taken in and made with what is wanted today."""
        return bool(self._where(DELIVERIES.c.delivery_id == delivery_id, current(made)))

    def not_made_with(self, made: Collection[str]) -> list[Record]:
        """Deliveries the depot holds that were taken in and made with something else."""
        return self._where(DELIVERIES.c.held, DELIVERIES.c.status == TAKEN_IN, sa.not_(current(made)))

    def stopped(self, what: str = MADE) -> list[tuple[Record, str]]:
        """Deliveries that were stopped, each with one of its stamps; empty if it has none. what: which stamp."""
        own = sa.and_(DELIVERY_STAMPS.c.delivery_id == DELIVERIES.c.delivery_id, DELIVERY_STAMPS.c.what == what)
        query = sa.select(*_COLUMNS, DELIVERY_STAMPS.c.used).outerjoin(DELIVERY_STAMPS, own)
        with self._books.reading() as connection:
            rows = connection.execute(query.where(DELIVERIES.c.status == STOPPED)).mappings().all()
        used = {str(row["delivery_id"]): str(row["used"] or "") for row in rows}
        records = in_order(Record(**{name: row[name] for name in Record.__dataclass_fields__}) for row in rows)
        return [(record, used[record.delivery_id]) for record in records]

    def same_content(self, site: str | None, fingerprint: str) -> list[Record]:
        """Deliveries of a site that brought these bytes and are held."""
        c = DELIVERIES.c
        return self._where(c.fingerprint == fingerprint, c.site == site, c.held)

    def came(self, delivery_id: str | None) -> str | None:
        """When a delivery that the depot holds first came; None for one that comes only now."""
        record = self.get(delivery_id) if delivery_id is not None else None
        return record.received_utc if record is not None and record.held else None

    def before(self, made: Collection[str], site: str | None, number: int | None, came: str | None) -> list[Record]:
        """Deliveries made with what is wanted today that are before one. came: as ``came`` tells."""
        return self._where(current(made), before(site, number, came))

    def with_overrides(self) -> list[Record]:
        """Deliveries that were judged with decisions of a data manager."""
        return self._where(DELIVERIES.c.overrides != "")

    def of_arrival(self, arrival: str) -> list[Record]:
        """What an arrival (``site/name``) became, now and before."""
        return self._where(DELIVERIES.c.arrival == arrival)

    def standing_came(self, made: Collection[str]) -> list[Record]:
        """Deliveries with running trials that wait for a standing trial which is there now."""
        own, other = DELIVERIES, DELIVERIES.alias("other")
        query = (
            sa.select(*_COLUMNS)
            .distinct()
            .select_from(WAITING)
            .join(own, own.c.delivery_id == WAITING.c.delivery_id)
            .join(
                TRIALS,
                sa.and_(
                    TRIALS.c.session_id == WAITING.c.session_id,
                    TRIALS.c.condition == WAITING.c.condition,
                    TRIALS.c.site == own.c.site,
                    TRIALS.c.gives_posture,
                ),
            )
            .join(other, other.c.delivery_id == TRIALS.c.delivery_id)
            .where(current(made, own), current(made, other))
        )
        with self._books.reading() as connection:
            return in_order(Record(**row) for row in connection.execute(query).mappings())

    def payload(self, delivery_id: str) -> Payload:
        """The payload files of a delivery; none if the depot does not hold it."""
        query = sa.select(PAYLOAD.c.path, PAYLOAD.c.sha256, PAYLOAD.c.closed)
        with self._books.reading() as connection:
            rows = connection.execute(query.where(PAYLOAD.c.delivery_id == delivery_id)).all()
            others = connection.execute(sa.select(LEFT_OUT).where(LEFT_OUT.c.delivery_id == delivery_id)).mappings()
            left_out = sorted((str(o["path"]), int(o["bytes"]), str(o["sha256"])) for o in others)
            told = sa.select(PACKING_NOTES.c.seen, PACKING_NOTES.c.expected).order_by(PACKING_NOTES.c.place)
            notes = connection.execute(told.where(PACKING_NOTES.c.delivery_id == delivery_id)).all()
        rows = sorted(rows)
        closed = frozenset(path for path, _, shut in rows if shut)
        return Payload(
            {p: sha for p, sha, _ in rows},
            closed,
            tuple(PayloadFile(*one) for one in left_out),
            tuple(Problem("beside", str(seen), str(expected)) for seen, expected in notes),
        )

    def shut_everywhere(self) -> set[str]:
        """Checksums of files that some delivery keeps apart and none has in the open."""
        open_ones = PAYLOAD.alias("open_ones")
        is_open = sa.exists().where(open_ones.c.sha256 == PAYLOAD.c.sha256, sa.not_(open_ones.c.closed))
        with self._books.reading() as connection:
            return set(connection.scalars(sa.select(PAYLOAD.c.sha256).where(PAYLOAD.c.closed, sa.not_(is_open))))

    def shas_held(self) -> set[str]:
        """Checksums of every payload file of every delivery."""
        with self._books.reading() as connection:
            return set(connection.scalars(sa.select(PAYLOAD.c.sha256).distinct()))

    def waiting(self, delivery_id: str) -> tuple[tuple[str, str], ...]:
        """Session and condition of its running trials that wait for a standing trial."""
        query = sa.select(WAITING.c.session_id, WAITING.c.condition).where(WAITING.c.delivery_id == delivery_id)
        with self._books.reading() as connection:
            return tuple(sorted((str(s), str(c)) for s, c in connection.execute(query)))

    def packed_with(self) -> list[tuple[str, str, dict[str, str]]]:
        """Delivery, its site, and what it tells of how it was packed; of those alone that tell anything."""
        query = sa.select(DELIVERIES.c.delivery_id, DELIVERIES.c.site, PACKED_WITH.c.field, PACKED_WITH.c.value)
        joined = query.join(PACKED_WITH, PACKED_WITH.c.delivery_id == DELIVERIES.c.delivery_id)
        told: dict[tuple[str, str], dict[str, str]] = {}
        with self._books.reading() as connection:
            for delivery, site, name, value in connection.execute(joined.where(DELIVERIES.c.site.is_not(None))):
                told.setdefault((str(delivery), str(site)), {})[str(name)] = str(value)
        return [(*which, fields) for which, fields in sorted(told.items())]

    def put(self, result: Result) -> None:
        """Write a delivery's result in place of an older one; in a transaction."""
        connection, name = self._books.writer(), result.record.delivery_id
        held = bool(result.payload.stored)
        gate = result.gate if result.gate is not None or not held else self._books.gates.get(name)
        self.drop(name)
        connection.execute(sa.insert(DELIVERIES), asdict(replace(result.record, held=held)))
        own = {"delivery_id": name}
        rows: list[tuple[sa.Table, list[dict[str, object]]]] = [
            (
                PAYLOAD,
                [
                    {**own, "path": path, "sha256": sha, "closed": path in result.payload.closed}
                    for path, sha in result.payload.stored.items()
                ],
            ),
            (LEFT_OUT, [{**own, **vars(file)} for file in result.payload.left_out]),
            (
                PACKING_NOTES,
                [
                    {**own, "place": place, "seen": note.seen, "expected": note.expected}
                    for place, note in enumerate(result.payload.beside)
                ],
            ),
            (PACKED_WITH, [{**own, "field": name, "value": value} for name, value in result.packed_with.items()]),
            (WAITING, [{**own, "session_id": s, "condition": c} for s, c in result.waiting]),
            (TRIALS, [_trial_row(trial, name) for trial in result.trials]),
            (
                tables.SHAPE_CELLS,
                [
                    {**own, "trial_id": trial, "cell": cell}
                    for trial, cells in result.shape_cells.items()
                    for cell in sorted(cells)
                ],
            ),
            (
                TOLD_ROWS,
                [
                    {**own, "told_table": table, "row_id": key, **asdict(row)}
                    for (table, key), row in result.told_rows.items()
                ],
            ),
            (tables.DELIVERY_STAMPS, [{**own, "what": what, "used": used} for what, used in result.stamps.items()]),
            (
                tables.TRIAL_STAMPS,
                [
                    {**own, "trial_id": trial, "what": what, "used": used}
                    for trial, stamps in result.trial_stamps.items()
                    for what, used in stamps.items()
                ],
            ),
        ]
        for table, values in rows:
            if values:
                connection.execute(sa.insert(table), values)
        self._books.texts.put(name, result.texts)
        if gate is not None:
            self._books.gates.put(name, gate)

    def drop(self, delivery_id: str) -> None:
        """Remove a delivery with all that belongs to it; in a transaction."""
        self._books.gates.forget(delivery_id)
        self._books.writer().execute(sa.delete(DELIVERIES).where(DELIVERIES.c.delivery_id == delivery_id))

    def _where(self, *conditions: sa.ColumnElement[bool]) -> list[Record]:
        with self._books.reading() as connection:
            rows = connection.execute(sa.select(*_COLUMNS).where(*conditions)).mappings()
            return in_order(Record(**row) for row in rows)


def _trial_row(trial: TrialVersion, delivery_id: str) -> dict[str, object]:
    joined = {"parts": ",".join(trial.parts), "before_parts": ",".join(trial.before_parts)}
    return {**asdict(trial), **joined, "delivery_id": delivery_id}
