"""What the runners of one delivery agreed to, worked out once and asked by every later stage.

Which scopes a table's rows need, and how a row leads to its runner, is in the definitions; whether a scope was in force
on a day is in ``schemas.consent_history``. Pure: the delivery in, answers out; nothing is read or written.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from schemas import delivery as sent
from schemas.catalogue import TABLES, tables_of
from schemas.consent_history import History
from schemas.consent_lacks import UNLOOKED, lack_of, near_misses, told_by
from schemas.fields import first_day_of
from schemas.joined import Visits, paths_of_trials, shas_of_trials, trials_and_visits
from schemas.model import Layer, Table
from schemas.near_ids import NearMiss
from schemas.privacy import RUNNER, SESSION, TRIAL, Rows
from schemas.received import ConsentEvent, Received, plain_column
from schemas.study import Study

if TYPE_CHECKING:
    import pandas as pd

#: The scope that a laboratory without force plates records nothing of.
_BY_FORCE_PLATES = "force"


def not_recorded(study: Study, site: str | None) -> frozenset[str]:
    """Scopes that no trial of the laboratory needs, since it has nothing to record them with; none if it is not known."""
    known = study.sites.get(site or "")
    if known is None or known.profile.force_rate_hz or known.profile.plate_types:
        return frozenset()
    return frozenset({_BY_FORCE_PLATES})


@dataclass(frozen=True, eq=False)
class Consent:
    """Consent over one delivery. Made with ``Consent.of``.

    trials: trial id -> its row joined with its session's and its runner's, None for what is missing; of an id that
    stands twice the first row counts. visits: by session. withheld: trials of which nothing may be used, and those that
    share a file with one. lacks: why, as a clause, of those that consent itself does not cover.
    """

    received: Received
    unrecorded: frozenset[str]
    history: History
    events: tuple[ConsentEvent, ...]
    trials: Mapping[str, dict[str, Any]]
    visits: Visits
    lacks: Mapping[str, str]
    withheld: frozenset[str]

    @classmethod
    def of(cls, received: Received, study: Study) -> Consent:
        """Consent over a delivery to which what is known from elsewhere has been added."""
        own = (*told_by(received), *received.near_consents)
        history = History((*own, *received.other_consents))
        trials, visits = trials_and_visits(received)
        bare = cls(received, not_recorded(study, received.site), history, own, trials, visits, {}, frozenset())
        lacks = {trial: lack for trial in trials if (lack := lack_of(bare, trial))}
        return replace(bare, lacks=lacks).withholding(lacks)

    def withholding(self, more: Iterable[str]) -> Consent:
        """The same with more trials withheld, and those that share a file with one of them."""
        withheld = self.withheld | set(more)
        shut = {sha for trial in withheld for sha in self.shas.get(trial, ())}
        sharing = {trial for trial, own in self.shas.items() if shut.intersection(own)}
        return replace(self, withheld=frozenset(withheld | sharing))

    @cached_property
    def near_misses(self) -> Mapping[int, tuple[NearMiss, ...]]:
        """Row of consents.csv -> runners of the delivery whom its code, which is nobody's, may mean."""
        return near_misses(self.received)

    # -- trials ------------------------------------------------------------------------------------------------------

    def allows(self, trial: str, scope: str) -> bool:
        """Whether ``scope`` was in force on the day of the trial's session."""
        row = self.trials.get(trial)
        return row is not None and self.on_session(row[SESSION], frozenset({scope}))

    @cached_property
    def files(self) -> Mapping[str, tuple[str, ...]]:
        """Trial id -> payload paths that any of its rows names."""
        return paths_of_trials(self.received)

    @cached_property
    def shas(self) -> Mapping[str, list[str]]:
        """Trial id -> checksums of its files, of those that are in the bag."""
        return shas_of_trials(self.received)

    @cached_property
    def runner_of(self) -> Mapping[str, str]:
        """Trial id -> runner, where the session tells."""
        return {trial: row[RUNNER] for trial, row in self.trials.items() if row[RUNNER] is not None}

    @cached_property
    def needed(self) -> tuple[str, ...]:
        """What a trial of the laboratory needs, in the order of the definition."""
        order = [code.value for code in sent.SENT_CONSENTS.column("scope").codes]
        return tuple(sorted(_rows(sent.SENT_TRIALS).needs - self.unrecorded, key=order.index))

    def on_session(self, session: str | None, scopes: frozenset[str]) -> bool:
        """Whether all was in force, and nobody must look at the code of the session or its runner first."""
        codes = {session, *self._at(session)}
        return not codes & self.received.unlooked and self.agreed(session, scopes)

    def may_be_looked_at(self, code: str) -> bool:
        """Whether a code stands for something that was agreed to, so that a person may be shown it."""
        trials = [t for t, row in self.trials.items() if code in (t, row[SESSION], *self._at(row[SESSION]))]
        if any(self.lacks.get(trial) == UNLOOKED for trial in trials):
            return True
        sessions = [s for s in self.visits if code == s or code in self._at(s)]
        return any(self.agreed(s, needs) for s in sessions for needs in self._needs) or any(
            self.history.covered(code, None, needs) for needs in self._needs
        )

    @cached_property
    def _needs(self) -> set[frozenset[str]]:
        """What rows of tables with scopes of their own need."""
        tables = (t for t in tables_of(Layer.DELIVERY) if not _rows(t).follows and _rows(t).by is not None)
        return {_rows(t).needs - self.unrecorded for t in tables}

    def agreed(self, session: str | None, scopes: frozenset[str]) -> bool:
        """Whether all was in force at every row of the session: of one that stands twice both runners must agree."""
        own = self.visits.get(session or "", ())
        return bool(own) and all(day is not None and self.history.covered(who, day, scopes) for who, day in own)

    # -- rows --------------------------------------------------------------------------------------------------------

    def covers(self, table: Table) -> Sequence[bool]:
        """Row by row of a delivery table, whether it may be used."""
        return self._masks[table.name]

    def rows(self, table: Table) -> pd.DataFrame:
        """The rows of a delivery table that may be used."""
        import numpy as np

        return self.received.tables[table.name][np.array(self.covers(table), dtype=bool)]

    def leads_nowhere(self, table: Table) -> list[bool]:
        """Row by row, whether its code could not be read or is none of the delivery's, so that nobody knows whose it is."""
        by = _rows(table).by
        if by is None:
            return [False] * len(self.received.tables[table.name])
        known = {SESSION: self.visits, TRIAL: self.trials}.get(by)
        return [key is None or (known is not None and key not in known) for key in self._column(table.name, by)]

    def owners(self, table: Table) -> list[frozenset[str]]:
        """Row by row, the runners it leads to."""
        by = _rows(table).by
        keys: list[str | None] = self._column(table.name, by) if by else [None] * len(self.received.tables[table.name])
        if by == RUNNER:
            return [frozenset({key} if key else ()) for key in keys]
        return [self.owners_of(key) if by == TRIAL else self._at(key) for key in keys]

    def owners_of(self, trial: str | None) -> frozenset[str]:
        """The runners a trial leads to: several where its session stands twice."""
        return self._at(self.trials.get(trial or "", {}).get(SESSION))

    def _at(self, session: str | None) -> frozenset[str]:
        return frozenset(who for who, _ in self.visits.get(session or "", ()) if who)

    @cached_property
    def partly_covered(self) -> frozenset[str]:
        """Trials that may be used but for some of their rows, such as muscle channels."""
        tables = [t for t in tables_of(Layer.DELIVERY) if _rows(t).by == TRIAL]
        keys = {
            key
            for table in tables
            for key, is_covered in zip(self._column(table.name, TRIAL), self.covers(table), strict=True)
            if not is_covered
        }
        return frozenset(keys & set(self.trials)) - self.withheld

    @property
    def covers_all(self) -> bool:
        """Whether there is no row that may not be used."""
        return not self.withheld and all(all(mask) for mask in self._masks.values())

    @cached_property
    def covered_sessions(self) -> frozenset[str]:
        """Sessions on whose day something that can be recorded at one was agreed to, and those of rows that may be used."""
        needs = {
            _rows(t).needs
            for t in tables_of(Layer.DELIVERY)
            if _rows(t).by in (SESSION, TRIAL) and not _rows(t).follows
        }
        agreed = {s for s in self.visits if any(self.on_session(s, own - self.unrecorded) for own in needs)}
        by_trial = {self.trials[trial][SESSION] for trial in self._led_to(TRIAL)}
        return frozenset(agreed | by_trial | self._led_to(SESSION))

    @cached_property
    def covered_runners(self) -> frozenset[str]:
        """Runners of such sessions, of rows that may be used, and those without any dated row who agreed to anything."""
        found = self._led_to(RUNNER) | {str(who) for s in self.covered_sessions for who, _ in self.visits.get(s, ())}
        dated = {who for own in self.visits.values() for who, _ in own}
        for table in tables_of(Layer.DELIVERY):
            if not _rows(table).follows and RUNNER in table.column_names:
                dated |= set(self._column(table.name, RUNNER))
        named = set(self._column(sent.SENT_PARTICIPANTS.name, RUNNER)) - dated - {None} - self.received.unlooked
        return frozenset(found | {r for r in named if any(self.history.covered(r, None, own) for own in self._needs)})

    @cached_property
    def _own_masks(self) -> dict[str, list[bool]]:
        """Of tables whose rows have scopes of their own."""
        tables = [t for t in tables_of(Layer.DELIVERY) if not _rows(t).follows]
        return {table.name: self._mask(table) for table in tables}

    def _led_to(self, by: str) -> set[str]:
        """Codes of one kind that rows have which may be used, of tables with scopes of their own."""
        found: set[str] = set()
        for name, mask in self._own_masks.items():
            if _rows(TABLES[name]).by == by:
                found |= {key for key, is_covered in zip(self._column(name, by), mask, strict=True) if is_covered}
        return found

    @cached_property
    def _masks(self) -> dict[str, list[bool]]:
        led_to = {SESSION: self.covered_sessions, RUNNER: self.covered_runners, TRIAL: set(self.trials) - self.withheld}
        masks = dict(self._own_masks)
        for table in tables_of(Layer.DELIVERY):
            if _rows(table).follows and (by := _rows(table).by) is not None:
                masks[table.name] = [key in led_to[by] for key in self._column(table.name, by)]
        return masks

    def _mask(self, table: Table) -> list[bool]:
        rows = _rows(table)
        if rows.by is None:
            return [True] * len(self.received.tables[table.name])
        keys = self._column(table.name, rows.by)
        days: Sequence[Any] = self._column(table.name, rows.day) if rows.day else [None] * len(keys)
        by_week = bool(rows.day) and table.column(str(rows.day)).unit == "wk"
        known: dict[tuple[Any, ...], bool] = {}
        mask = []
        shut = self.received.shut_rows.get(table.name, frozenset())
        for key, day, words in zip(keys, days, self._words(table), strict=True):
            asked = (key, day, words)
            if asked not in known:
                dated = key is not None and (day is not None or not rows.day)
                when = first_day_of(int(day)) if by_week and dated else day
                known[asked] = dated and key not in shut and self._is_covered(rows.by, key, when, rows.needs | words)
            mask.append(known[asked])
        return mask

    def _is_covered(self, by: str, key: str, day: int | None, needs: frozenset[str]) -> bool:
        needs = needs - self.unrecorded
        if by == RUNNER:
            return key not in self.received.unlooked and self.history.covered(key, day, needs)
        if by == SESSION:
            return self.on_session(key, needs)
        return key in self.trials and key not in self.withheld and self.on_session(self.trials[key][SESSION], needs)

    def _words(self, table: Table) -> list[frozenset[str]]:
        """What each row needs for the words that stand in it; one that could not be read may be any of its list."""
        found = [frozenset[str]()] * len(self.received.tables[table.name])
        for field in table.fields:
            scopes = {code.value: frozenset(code.scopes) for code in field.codes}
            if any(scopes.values()):
                every = frozenset[str]().union(*scopes.values())
                words = self._column(table.name, field.name)
                found = [own | scopes.get(word, every) for own, word in zip(found, words, strict=True)]
        return found

    def _column(self, table: str, column: str) -> list[Any]:
        return plain_column(self.received.tables[table][column])

    # -- what may be told --------------------------------------------------------------------------------------------

    @cached_property
    def hidden(self) -> frozenset[str]:
        """Codes of the study and paths of files that stand in no row that may be used: they may not be shown."""
        shown: set[str] = set()
        found = set(self.withheld)
        for table in tables_of(Layer.DELIVERY):
            mask = self.covers(table)
            for field in table.fields:
                if field.is_code_of_the_study or field.names_file:
                    for word, is_covered in zip(self._column(table.name, field.name), mask, strict=True):
                        (shown if is_covered else found).add(str(word or ""))
        return frozenset(found - shown - {""})

    @cached_property
    def hidden_files(self) -> frozenset[str]:
        """Paths of the payload that only rows name which may not be used."""
        return self.received.paths & self.hidden


def _rows(table: Table) -> Rows:
    """Whose the rows of a delivery table are; its definition is refused without."""
    assert table.rows is not None
    return table.rows
