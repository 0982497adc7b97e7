"""Whether a runner's consent was in force on a day: a history of events, indexed once. Pure.

What an event's table says line by line becomes events here. What a delivery's rows need is in ``schemas.consent``.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from typing import TYPE_CHECKING

from schemas import codes
from schemas.received import ConsentEvent

if TYPE_CHECKING:
    import pandas as pd

#: What makes up an event, in the order of ``ConsentEvent``.
COLUMNS = ("participant_id", "scope", "event", "study_day")
#: Column with the version of the form.
FORM = "form_version"
#: Word of an event by which consent is given.
GIVEN = codes.CONSENT_EVENT[0].value
#: Word of an event by which it is taken back.
WITHDRAWN = codes.CONSENT_EVENT[1].value
#: Word of an event that stands in the table and could not be understood: it counts like a withdrawal.
NOT_UNDERSTOOD = "not_understood"
#: Word of an event by which all that was given before its day counts no more: a form signed anew takes its place.
VOIDED = "voided"
_TAKEN_OUT = "taken out by"
#: Runner of an event that could be about anybody, since its id could not be read.
ANYBODY = ""

#: Beginnings of words by which people say in a free cell that consent is taken back (from memory).
_AGAINST = re.compile(
    r"(?i)withdr|revok|revoc|retract|rescind|cancel|no longer|taken? back|opt(?:ed)?[ -]?out|declin|refus|object"
    r"|wider+uf|zur[üu]e?ckgezog|zur[üu]e?ckgenomm|retir[éeao]|r[ée]voqu|revocad|ritirat|ingetrokken|trukket|återkall"
)
_EVENTS = frozenset(code.value for code in codes.CONSENT_EVENT)
_SCOPES = frozenset(code.value for code in codes.CONSENT_SCOPE)


def taken_out(utc: str) -> str:
    """Word of a withdrawal of which no byte may be kept since a moment, ISO 8601: against, like a withdrawal.

    Asked for anew it is another word, so that whatever rests on the older one is due.
    """
    return f"{_TAKEN_OUT} {utc}"


def spelled(runner: str) -> str:
    """A runner's id without case and outer spaces: two ids alike in this may be of one runner."""
    return runner.strip().casefold()


def says_withdrawn(text: str) -> bool:
    """Whether a text has a word by which consent is taken back."""
    return _AGAINST.search(text) is not None


def events(consents: pd.DataFrame) -> list[ConsentEvent]:
    """The events of a table with the columns of ``sent_consents``, in its order.

    A line of which runner, scope, event or day could not be read or is no word of the definition, or that gives consent
    by no form that is known, is one that was not understood: of the scope and day that could be read, else of every
    scope and every day, and of anybody if its runner could not be read. Only a giving without a runner is no event at all, since it can take nothing from anybody.
    """
    return [event for _, event in events_by_row(consents)]


def events_by_row(consents: pd.DataFrame) -> list[tuple[int, ConsentEvent]]:
    """As ``events``, each with the row that tells it, counted from 0."""
    found = []
    cells = [consents[name].tolist() for name in (*COLUMNS, FORM)]
    for row, (runner, scope, event, day, form) in enumerate(zip(*cells, strict=True)):
        who = ANYBODY if _null(runner) else str(runner)
        what = None if _null(scope) or scope not in _SCOPES else str(scope)
        when = None if _null(day) else int(day)
        word = NOT_UNDERSTOOD if _null(event) or event not in _EVENTS else str(event)
        if what is None or when is None or spelled(str(form)) in _EVENTS or says_withdrawn(str(form)):
            # a word that stands in the wrong column
            word = NOT_UNDERSTOOD
        if word == GIVEN and (_null(form) or not str(form).strip()):
            # nobody knows what was signed, if anything was
            word = NOT_UNDERSTOOD
        if not (who == ANYBODY and not _null(event) and event == GIVEN):
            found.append((row, (who, what, word, when)))
    return found


class History:
    """Events of many runners, asked by runner, scope and day.

    The last event on or before the day decides; on the same day whatever is no giving wins. An event without a scope
    counts for every scope and one without a day for every day, and both only against. A giving counts only for the id
    as it is spelled in it; an event against, for every spelling of the id. A giving before the day of a voiding counts
    on no day.
    """

    def __init__(self, told: Iterable[ConsentEvent]) -> None:
        self._given: dict[tuple[str, str], list[int]] = defaultdict(list)
        self._against: dict[str, list[tuple[str | None, int | None]]] = defaultdict(list)
        self._void: dict[str, list[tuple[str | None, int]]] = defaultdict(list)
        self._unclear: set[str] = set()
        self._by_word: set[str] = set()
        self._spellings: dict[str, set[str]] = defaultdict(set)
        self._in_force: dict[tuple[str, str, int | None], bool] = {}
        for runner, scope, event, day in told:
            self._spellings[spelled(runner)].add(runner)
            if event == GIVEN:
                if scope is not None and day is not None:
                    self._given[runner, scope].append(day)
                continue
            if event == VOIDED and day is not None:
                self._void[spelled(runner)].append((scope, day))
                continue
            self._against[spelled(runner)].append((scope, day))
            if event == WITHDRAWN and day is None:
                self._by_word.add(spelled(runner))
            if event == NOT_UNDERSTOOD:
                self._unclear.add(spelled(runner))

    def in_force(self, runner: str | None, scope: str, day: int | None) -> bool:
        """Whether ``scope`` was given and not taken back on study day ``day``; None: after all that is known."""
        if not runner:
            return False
        asked = (runner, scope, day)
        if asked not in self._in_force:
            self._in_force[asked] = self._find(*asked)
        return self._in_force[asked]

    def covered(self, runner: str | None, day: int | None, scopes: Iterable[str]) -> bool:
        """Whether every one of ``scopes`` was in force."""
        return all(self.in_force(runner, scope, day) for scope in scopes)

    def is_unclear(self, runner: str | None) -> bool:
        """Whether an event that may be the runner's could not be understood."""
        return bool(self._unclear & {ANYBODY, spelled(runner or ANYBODY)})

    def is_withdrawn_by_word(self, runner: str | None) -> bool:
        """Whether the runner withdrew by word to the data manager: a line of a table always has a day."""
        return spelled(runner or ANYBODY) in self._by_word

    def is_spelled_otherwise(self, runner: str | None) -> bool:
        """Whether an event names the runner's id with other capitals."""
        return bool(self._spellings.get(spelled(runner or ANYBODY), set()) - {runner})

    def _find(self, runner: str, scope: str, day: int | None) -> bool:
        own = [*self._against.get(spelled(runner), ()), *self._against.get(ANYBODY, ())]
        against = [when for what, when in own if what in (scope, None)]
        if None in against:
            return False
        void_before = max(
            (when for what, when in self._void.get(spelled(runner), ()) if what in (scope, None)), default=None
        )
        given = [when for when in self._given.get((runner, scope), ()) if day is None or when <= day]
        given = [when for when in given if void_before is None or when >= void_before]
        taken = [when for when in against if when is not None and (day is None or when <= day)]
        return bool(given) and (not taken or max(given) > max(taken))


def _null(value: object) -> bool:
    """None, NaN or pandas' NA."""
    return value is None or type(value).__name__ == "NAType" or value != value
