"""What each delivery tells the gate: its runners, consent events, trials and files, by the ids they came with.

Nothing of it is shown anywhere. What is known of each runner is kept as one digest, written in the same transaction as
the events it is made of, so that deliveries whose gate rests on older knowledge are found by comparing two columns.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from pipelines.depot.books.asking import in_order, in_portions
from pipelines.depot.books.knowing import knowledge
from pipelines.depot.books.rows import TAKEN_IN, Gate, Record
from pipelines.depot.books.tables import (
    CONSENT_EVENTS,
    DELIVERIES,
    GATE_FILES,
    GATE_RUNNERS,
    GATE_TABLES,
    GATE_TRIALS,
    RUNNERS_KNOWN,
)
from pipelines.depot.books.withdrawal_tables import WITHDRAWN_FILES
from schemas.consent_history import GIVEN, spelled
from schemas.received import ConsentEvent

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

LATER = "a later delivery brought the trial, and there consent does not cover it"
TAKEN_BACK = "its file is one that was taken out when a runner withdrew"


def _event(row: Sequence[object]) -> ConsentEvent:
    runner, scope, event, day = row
    return str(runner), None if scope is None else str(scope), str(event), None if day is None else int(str(day))


class Gates:
    """Reads and writes what deliveries tell the gate."""

    def __init__(self, books: Books) -> None:
        self._books = books

    # -- one delivery ------------------------------------------------------------------------------------------------

    def get(self, delivery_id: str) -> Gate:
        """What a delivery told; nothing if it was never judged."""
        with self._books.reading() as connection:

            def rows(table: sa.Table, *names: str) -> list[tuple[Any, ...]]:
                query = sa.select(*[table.c[n] for n in names]).where(table.c.delivery_id == delivery_id)
                return sorted((tuple(row) for row in connection.execute(query)), key=repr)

            runners = rows(GATE_RUNNERS, "participant_id", "knew")
            trials = rows(GATE_TRIALS, "trial_id", "participant_id", "withheld_as", "shut")
            files: dict[str, list[str]] = {str(t): [] for t, *_ in trials}
            for trial, _, sha in sorted(rows(GATE_FILES, "trial_id", "number", "sha256"), key=lambda r: (r[0], r[1])):
                files.setdefault(str(trial), []).append(str(sha))
            return Gate(
                tuple(str(r) for r, _ in runners),
                tuple(_event(r) for r in rows(CONSENT_EVENTS, "participant_id", "scope", "event", "day")),
                {str(name): str(trial) for trial, _, name, _ in trials if name is not None},
                files,
                {str(trial): str(runner) for trial, runner, *_ in trials if runner is not None},
                tuple(str(sha) for (sha,) in rows(GATE_TABLES, "sha256")),
                {str(r): str(knew) for r, knew in runners},
                {str(trial): str(why) for trial, _, _, why in trials if why},
            )

    def put(self, delivery_id: str, gate: Gate) -> None:
        """Write what a delivery tells in place of what it told; in a transaction, after the delivery itself."""
        connection, own = self._books.writer(), {"delivery_id": delivery_id}
        word = self._books.withdrawals.word
        withheld_as = {trial: name for name, trial in gate.withheld.items()}
        trials = sorted({*gate.files, *gate.runner_of, *withheld_as, *gate.shut})
        values: dict[sa.Table, list[dict[str, object]]] = {
            GATE_RUNNERS: [
                {**own, "participant_id": r, "alike": spelled(r), "knew": gate.knew.get(r, "")} for r in gate.runners
            ],
            CONSENT_EVENTS: [
                {**own, "number": n, "participant_id": r, "alike": spelled(r), "scope": scope, "event": event, "day": d}
                for n, (r, scope, event, d) in enumerate(gate.events)
            ],
            GATE_TRIALS: [
                {
                    **own,
                    "trial_id": trial,
                    "participant_id": gate.runner_of.get(trial),
                    "withheld_as": withheld_as.get(trial),
                    "shut": gate.shut.get(trial, ""),
                }
                for trial in trials
            ],
            GATE_FILES: [
                {**own, "trial_id": trial, "number": n, "sha256": sha, "word": word(sha)}
                for trial, shas in gate.files.items()
                for n, sha in enumerate(shas)
            ],
            GATE_TABLES: [{**own, "sha256": sha} for sha in dict.fromkeys(gate.tables)],
        }
        for table, rows in values.items():
            if rows:
                connection.execute(sa.insert(table), rows)
        self.know_anew([*gate.runners, *(event[0] for event in gate.events)])

    def forget(self, delivery_id: str) -> None:
        """Remove what a delivery told; in a transaction, before the delivery itself goes."""
        gate, connection = self.get(delivery_id), self._books.writer()
        for table in (GATE_RUNNERS, CONSENT_EVENTS, GATE_TRIALS, GATE_FILES, GATE_TABLES):
            connection.execute(sa.delete(table).where(table.c.delivery_id == delivery_id))
        self.know_anew([*gate.runners, *(event[0] for event in gate.events)])

    # -- across deliveries -------------------------------------------------------------------------------------------

    def told(self, runners: Iterable[str], *, but: str | None = None) -> set[ConsentEvent]:
        """Events of these runners, in any spelling, from every delivery. but: not from this one.

        A delivery that was stopped gives nothing; what it takes away counts, whatever it was stopped for.
        """
        c, found = CONSENT_EVENTS.c, set()
        counts = sa.or_(DELIVERIES.c.status == TAKEN_IN, c.event != GIVEN)
        with self._books.reading() as connection:
            for portion in in_portions(spelled(r) for r in runners):
                query = (
                    sa.select(c.participant_id, c.scope, c.event, c.day)
                    .join(DELIVERIES, DELIVERIES.c.delivery_id == c.delivery_id)
                    .where(c.alike.in_(portion), counts, c.delivery_id != (but or ""))
                )
                found |= {_event(row) for row in connection.execute(query)}
        return found

    def spellings(self, runners: Iterable[str]) -> set[str]:
        """How deliveries spell the ids of these runners."""
        c = GATE_RUNNERS.c
        with self._books.reading() as connection:
            return {
                str(runner)
                for portion in in_portions(spelled(r) for r in runners)
                for runner in connection.scalars(sa.select(c.participant_id).where(c.alike.in_(portion)).distinct())
            }

    def shut(self, site: str | None, number: int | None, files: Mapping[str, Iterable[str]]) -> dict[str, str]:
        """Trials of a delivery that are withheld whatever it says itself -> why. files: trial -> checksums."""
        c, d = GATE_TRIALS.c, DELIVERIES.c
        later: set[str] = set()
        with self._books.reading() as connection:
            for portion in in_portions(files):
                query = (
                    sa.select(c.trial_id)
                    .join(DELIVERIES, d.delivery_id == c.delivery_id)
                    .where(c.trial_id.in_(portion), c.withheld_as.is_not(None), d.status == TAKEN_IN, d.site == site)
                    .where(sa.func.coalesce(d.number, 0) > (number or 0))
                )
                later |= set(connection.scalars(query))
        taken = self._books.withdrawals.files_taken_out(sha for own in files.values() for sha in own)
        back = sorted(trial for trial, own in files.items() if taken.intersection(own))
        return {**dict.fromkeys(sorted(later), LATER), **dict.fromkeys(back, TAKEN_BACK)}

    def resting_on_less(self) -> list[Record]:
        """Held deliveries whose gate no longer rests on what is known today; the latest of a site first."""
        c, d = GATE_RUNNERS.c, DELIVERIES.c
        runners = (
            sa.select(c.delivery_id)
            .distinct()
            .join(RUNNERS_KNOWN, RUNNERS_KNOWN.c.participant_id == c.participant_id)
            .where(RUNNERS_KNOWN.c.digest != c.knew)
        )
        stored = sa.select(GATE_TRIALS.c.delivery_id, GATE_TRIALS.c.trial_id, GATE_TRIALS.c.shut).where(
            GATE_TRIALS.c.shut != ""
        )
        with self._books.reading() as connection:
            due = set(connection.scalars(runners))
            then = {(name, trial): why for name, trial, why in connection.execute(stored)}
            now = dict.fromkeys(((n, t) for n, t in connection.execute(self._shut_by_later())), LATER)
            back = (
                sa.select(GATE_FILES.c.delivery_id, GATE_FILES.c.trial_id)
                .distinct()
                .join(WITHDRAWN_FILES, WITHDRAWN_FILES.c.file == GATE_FILES.c.word)
            )
            now |= dict.fromkeys(((n, t) for n, t in connection.execute(back)), TAKEN_BACK)
            due |= {key[0] for key in then.keys() | now.keys() if then.get(key) != now.get(key)}
            wanted = [d[name] for name in Record.__dataclass_fields__]
            rows = [
                row
                for portion in in_portions(due)
                for row in connection.execute(
                    sa.select(*wanted).where(d.delivery_id.in_(portion), d.held, d.status == TAKEN_IN)
                ).mappings()
            ]
        return sorted(in_order(Record(**row) for row in rows), key=lambda r: (r.site or "", -(r.number or 0)))

    def _shut_by_later(self) -> sa.Select[Any]:
        """Trials that a later delivery of the site brought without consent: an earlier version of them ends, too."""
        own, other = DELIVERIES.alias("own"), DELIVERIES.alias("other")
        later = GATE_TRIALS.alias("later")
        return (
            sa.select(GATE_TRIALS.c.delivery_id, GATE_TRIALS.c.trial_id)
            .distinct()
            .select_from(later)
            .join(other, other.c.delivery_id == later.c.delivery_id)
            .join(GATE_TRIALS, GATE_TRIALS.c.trial_id == later.c.trial_id)
            .join(own, own.c.delivery_id == GATE_TRIALS.c.delivery_id)
            .where(later.c.withheld_as.is_not(None), other.c.status == TAKEN_IN, other.c.site == own.c.site)
            .where(sa.func.coalesce(other.c.number, 0) > sa.func.coalesce(own.c.number, 0))
        )

    def every_runner(self) -> set[str]:
        """Every id of a runner that a delivery names."""
        c = GATE_RUNNERS.c
        with self._books.reading() as connection:
            return set(connection.scalars(sa.select(c.participant_id).distinct()))

    def with_trials(self, site: str | None = None) -> set[str]:
        """Every id of a runner of whom a delivery has trials. site: of this laboratory alone."""
        own = DELIVERIES.c.site == (site or DELIVERIES.c.site)
        query = sa.select(GATE_TRIALS.c.participant_id).join(DELIVERIES).where(own).distinct()
        with self._books.reading() as connection:
            return {str(r) for r in connection.scalars(query) if r}

    def against(self, *, but: str | None = None) -> set[str]:
        """Every id under which a delivery tells an event against consent. but: not from this one."""
        c = CONSENT_EVENTS.c
        query = sa.select(c.participant_id).where(c.event != GIVEN, c.delivery_id != (but or "")).distinct()
        with self._books.reading() as connection:
            return set(connection.scalars(query))

    def naming(self, runner: str) -> list[str]:
        """Deliveries that name a runner, by name."""
        c = GATE_RUNNERS.c
        with self._books.reading() as connection:
            return sorted(connection.scalars(sa.select(c.delivery_id).where(c.participant_id == runner)))

    def with_trials_of(self, runner: str) -> list[str]:
        """Deliveries with trials of a runner, by name."""
        with self._books.reading() as connection:
            query = sa.select(GATE_TRIALS.c.delivery_id).where(GATE_TRIALS.c.participant_id == runner).distinct()
            return sorted(connection.scalars(query))

    def bringing(self, trial_ids: Iterable[str]) -> set[str]:
        """Deliveries that brought a trial of one of these ids."""
        c = GATE_TRIALS.c
        with self._books.reading() as connection:
            return {
                str(name)
                for portion in in_portions(trial_ids)
                for name in connection.scalars(sa.select(c.delivery_id).where(c.trial_id.in_(portion)).distinct())
            }

    def files_of_trials(self, runner: str) -> set[str]:
        """Checksums of files of the runner's trials that no other runner's trial names."""
        f, t = GATE_FILES, GATE_TRIALS
        joined = sa.and_(f.c.delivery_id == t.c.delivery_id, f.c.trial_id == t.c.trial_id)
        with self._books.reading() as connection:
            own = set(connection.scalars(sa.select(f.c.sha256).join(t, joined).where(t.c.participant_id == runner)))
            not_own = sa.or_(t.c.participant_id != runner, t.c.participant_id.is_(None))
            others = {
                sha
                for portion in in_portions(own)
                for sha in connection.scalars(
                    sa.select(f.c.sha256).join(t, joined).where(f.c.sha256.in_(portion), not_own)
                )
            }
        return own - others

    def tables_naming(self, runner: str) -> set[str]:
        """Checksums of the tables of deliveries that name a runner."""
        t, r = GATE_TABLES.c, GATE_RUNNERS.c
        query = sa.select(t.sha256).where(t.delivery_id == r.delivery_id, r.participant_id == runner)
        with self._books.reading() as connection:
            return set(connection.scalars(query))

    def know_anew(self, runners: Iterable[str]) -> None:
        """Write what is known now of these runners, in every spelling that a delivery names; in a transaction."""
        connection, c = self._books.writer(), GATE_RUNNERS.c
        for portion in in_portions(spelled(r) for r in runners):
            named = self.spellings(portion)
            told: dict[str, set[ConsentEvent]] = {}
            for event in (*self.told(portion), *self._books.withdrawals.events(named)):
                told.setdefault(spelled(event[0]), set()).add(event)
            connection.execute(sa.delete(RUNNERS_KNOWN).where(RUNNERS_KNOWN.c.participant_id.in_(sorted(named))))
            if rows := [{"participant_id": r, "digest": knowledge(told.get(spelled(r), ()))} for r in sorted(named)]:
                connection.execute(sa.insert(RUNNERS_KNOWN), rows)
        gone = sa.not_(sa.exists().where(c.participant_id == RUNNERS_KNOWN.c.participant_id))
        connection.execute(sa.delete(RUNNERS_KNOWN).where(gone))
