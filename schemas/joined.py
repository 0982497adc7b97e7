"""How the rows of a delivery lead to one another: trial -> session -> runner, trial -> files; joined once.

Whether consent covers them is in ``schemas.consent``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from schemas import fields as f
from schemas.catalogue import tables_of
from schemas.delivery import SENT_CONSENTS, SENT_PARTICIPANTS, SENT_SESSIONS, SENT_TRIALS
from schemas.model import Layer
from schemas.privacy import RUNNER, SESSION, TRIAL
from schemas.received import Received, plain_rows
from schemas.told_later import as_told_later

Row = Mapping[str, Any]
_SPEED = f.SET_SPEED.name
#: Session -> who was there and on which study day: one for each row of it.
Visits = Mapping[str, tuple[tuple[str | None, int | None], ...]]


def trials_and_visits(received: Received) -> tuple[dict[str, dict[str, Any]], Visits]:
    """Each trial's row with its session's and its runner's, by id, None for what is missing; and the visits.

    Of an id that stands twice the first row counts. A trial has the mass of the day, which forces are divided by, and
    the session's set speed unless its own row says another. What a later delivery says of session or runner counts.
    """
    sessions = plain_rows(as_told_later(received, SENT_SESSIONS, received.tables[SENT_SESSIONS.name]))
    visits: dict[str, tuple[tuple[str | None, int | None], ...]] = {}
    for row in sessions:
        if row[SESSION] is not None:
            visits[row[SESSION]] = (*visits.get(row[SESSION], ()), (row[RUNNER], row["study_day"]))
    by_session = _first(sessions, SESSION)
    people = as_told_later(received, SENT_PARTICIPANTS, received.tables[SENT_PARTICIPANTS.name])
    by_runner = _first(plain_rows(people), RUNNER)
    empty = dict.fromkeys((*SENT_PARTICIPANTS.column_names, *SENT_SESSIONS.column_names))
    trials: dict[str, dict[str, Any]] = {}
    for trial, own in _first(plain_rows(received.tables[SENT_TRIALS.name]), TRIAL).items():
        session = by_session.get(own[SESSION] or "", {})
        runner = by_runner.get(session.get(RUNNER) or "", {})
        trials[trial] = {**empty, **runner, "mass_kg": None, **session, **own, _SPEED: _own_speed(own, session)}
    return trials, visits


def _own_speed(trial: Row, session: Row) -> Any:
    """The trial's set speed; where its row says none, that of its session."""
    return session.get(_SPEED) if trial[_SPEED] is None else trial[_SPEED]


def _first(rows: Iterable[Row], key: str) -> dict[str, Row]:
    found: dict[str, Row] = {}
    for row in rows:
        if row[key] is not None:
            found.setdefault(row[key], row)
    return found


def runners_of(received: Received) -> frozenset[str]:
    """Every runner a delivery names, in whichever table."""
    named = (received.tables[t.name] for t in tables_of(Layer.DELIVERY) if RUNNER in t.column_names)
    return frozenset(str(runner) for frame in named for runner in frame[RUNNER].dropna())


def delivered(received: Received) -> frozenset[str]:
    """Runners of whom a delivery brings more than events of consent."""
    tables = (t for t in tables_of(Layer.DELIVERY) if RUNNER in t.column_names and t is not SENT_CONSENTS)
    named = (received.tables[t.name] for t in tables)
    return frozenset(str(runner) for frame in named for runner in frame[RUNNER].dropna())


def paths_of_trials(received: Received) -> dict[str, tuple[str, ...]]:
    """Trial id -> paths of the payload that its rows name, in whichever table; none for a trial that names no file."""
    found: dict[str, dict[str, None]] = {str(t): {} for t in received.tables[SENT_TRIALS.name][TRIAL].dropna()}
    for table in tables_of(Layer.DELIVERY):
        for column in table.file_columns:
            pairs = received.tables[table.name][[TRIAL, column]].dropna()
            for trial, path in pairs.itertuples(index=False, name=None):
                found.setdefault(str(trial), {})[str(path)] = None
    return {trial: tuple(paths) for trial, paths in found.items()}


def shas_of_trials(received: Received) -> dict[str, list[str]]:
    """Trial id -> checksums of its files, of those that are in the bag."""
    known = {f.path: f.sha256 for f in received.files}
    return {trial: [known[p] for p in paths if p in known] for trial, paths in paths_of_trials(received).items()}
