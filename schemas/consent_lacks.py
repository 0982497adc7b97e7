"""Why consent does not cover a trial, as a clause for people; who and when stays unsaid.

What covers what is worked out in ``schemas.consent``; here its answers become words.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from schemas.consent_history import FORM, GIVEN, events, events_by_row, spelled
from schemas.delivery import SENT_CONSENTS
from schemas.joined import delivered
from schemas.near_ids import NearMiss, Runners
from schemas.privacy import SESSION
from schemas.received import ConsentEvent, Problem, Received

if TYPE_CHECKING:
    from schemas.consent import Consent

#: Why a trial waits that consent covers.
UNLOOKED = "its code, or that of its session or runner, holds a word that nobody has looked at"

_MOST_PLACES = 3


def lack_of(consent: Consent, trial: str) -> str | None:
    """What keeps the consent for a trial from being shown; None if it is in force."""
    if why := consent.received.shut_trials.get(trial):
        return why
    session = consent.trials[trial][SESSION]
    own = consent.visits.get(session or "", ())
    if not own:
        return "its session is not in sessions.csv, so that the runner and the day are not known"
    if any(runner is None or day is None for runner, day in own):
        return "sessions.csv does not say which runner or which study day"
    missing = [scope for scope in consent.needed if not consent.agreed(session, frozenset({scope}))]
    if not missing:
        looked_at = trial not in consent.received.unlooked and consent.on_session(session, frozenset())
        return None if looked_at else UNLOOKED
    runners = {runner for runner, _ in own if runner}
    hint = _near_rows(consent.near_misses, runners)
    if any(map(consent.history.is_unclear, runners)):
        places = hint or _unclear_places(consent.received, runners)
        return f"a line of consents.csv that may be about its runner cannot be understood{places}"
    if any(map(consent.history.is_withdrawn_by_word, runners)):
        return "its runner withdrew by word to the data manager; consent given anew counts once that is noted there"
    other = any(map(consent.history.is_spelled_otherwise, runners))
    spelling = "; consents.csv has the runner's code in another spelling" if other else ""
    return f"not in force on the day of its session: {', '.join(missing)}{spelling}{hint}"


def told_by(received: Received) -> tuple[ConsentEvent, ...]:
    """What consents.csv says: its rows, and the lines that are none."""
    return (*events(received.tables[SENT_CONSENTS.name]), *received.torn_consents)


def near_misses(received: Received) -> Mapping[int, tuple[NearMiss, ...]]:
    """Row of consents.csv -> runners of the delivery, where its code is nobody's and nearly that of one of them.

    A code that differs in a letter or digit and under which consent was given is another runner's, unless of this one
    the table tells nothing.
    """
    runners = Runners(delivered(received))
    told = events_by_row(received.tables[SENT_CONSENTS.name])
    codes = {spelled(event[0]) for _, event in told}
    given = {spelled(event[0]) for _, event in told if event[2] == GIVEN}
    found = {}
    for row, (code, *_) in told:
        near = runners.meant_by(code)
        near = tuple(n for n in near if n.sure or spelled(code) not in given or spelled(n.runner) not in codes)
        if near:
            found[row] = near
    return found


def _near_rows(misses: Mapping[int, tuple[NearMiss, ...]], runners: set[str]) -> str:
    """Where consents.csv has a code that is nobody's and nearly that of one of these runners."""
    rows = [row for row, near in misses.items() if any(miss.runner in runners for miss in near)]
    shown = ", ".join(str(row + 1) for row in rows[:3])
    return f" (row {shown} of consents.csv has a code that is nearly the runner's: did you mean it?)" if rows else ""


def _unclear_places(received: Received, runners: set[str]) -> str:
    """Where in consents.csv, as far as intake told; of a runner's words nothing is repeated."""
    told = [p for p in received.problems if p.kind == "cell" and p.file == SENT_CONSENTS.file_name and p.place]
    own = [p for p in told if p.participant_id is None or spelled(p.participant_id) in map(spelled, runners)]
    cells: dict[str, list[str]] = {}  # what a cell holds and should -> where
    for problem in (own or told)[:_MOST_PLACES]:
        cells.setdefault(_held(problem), []).append(str(problem.place))
    return f" ({'; '.join(_together(places) + held for held, places in cells.items())})" if cells else ""


def _together(places: list[str]) -> str:
    """Cells of one column by their lines; of different ones one after the other."""
    parts = [place.partition(", ") for place in places]
    if len(places) > 1 and len({column for _, _, column in parts}) == 1:
        lines = [line.removeprefix("line ") for line, _, _ in parts]
        return f"lines {', '.join(lines[:-1])} and {lines[-1]}, {parts[0][2]}"
    return "; ".join(places)


def _held(problem: Problem) -> str:
    """Of the version of the form what the cell holds and should, of which nothing tells who it is."""
    of_form = str(problem.place).endswith(f"column {FORM}")
    return f": {problem.seen}; expected: {problem.expected}" if of_form else ""
