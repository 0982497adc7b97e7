"""Whether a runner's consent was in force on a day. A pure function; the check that uses it is in ``consents``."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from schemas.received import ConsentEvent, Received

if TYPE_CHECKING:
    import pandas as pd

#: What makes up an event, in the order of ``ConsentEvent``.
COLUMNS = ("participant_id", "scope", "event", "study_day")


def history(delivery: Received) -> pd.DataFrame:
    """Every consent event known of the delivery's runners: its own, those of other deliveries, and withdrawals."""
    import pandas as pd

    own = delivery.tables["sent_consents"][list(COLUMNS)]
    if not delivery.other_consents:
        return own
    others = pd.DataFrame(list(delivery.other_consents), columns=list(COLUMNS))
    return pd.concat([own.astype(object), others.astype(object)], ignore_index=True)


def events(consents: pd.DataFrame) -> list[ConsentEvent]:
    """The events of a table of consents whose runner and kind could be read; null for a scope or day that could not."""
    cells = zip(*(consents[name] for name in COLUMNS), strict=True)
    return [
        (str(runner), None if _null(scope) else str(scope), str(event), None if _null(day) else int(day))
        for runner, scope, event, day in cells
        if not _null(runner) and not _null(event)
    ]


def covered(consents: pd.DataFrame, participant_id: str, study_day: int, scopes: Iterable[str]) -> bool:
    """Whether every one of ``scopes`` was given and not withdrawn on ``study_day``.

    ``consents`` has the columns of ``sent_consents``. The last event on or before the day decides; on the same day
    withdrawal wins. A withdrawal whose day or scope could not be read counts against the runner's every day or
    scope, since nobody can say that it does not; anything else that could not be read counts as not there.
    """
    own = consents[consents["participant_id"] == participant_id]
    events = [
        (None if _null(day) else int(day), None if _null(scope) else scope, event)
        for day, scope, event in zip(own["study_day"], own["scope"], own["event"], strict=True)
        if not _null(event)
    ]
    return not _null(study_day) and all(_in_force(events, int(study_day), scope) for scope in scopes)


def _in_force(events: list[tuple[int | None, str | None, str]], study_day: int, scope: str) -> bool:
    own = [(day, e) for day, of, e in events if of == scope or (of is None and e == "withdrawn")]
    if any(event == "withdrawn" and day is None for day, event in own):
        return False
    known = [(day, event) for day, event in own if day is not None and day <= study_day]
    if not known:
        return False
    last = max(day for day, _ in known)
    return all(event == "given" for day, event in known if day == last)


def _null(value: object) -> bool:
    """None, NaN or pandas' NA."""
    return value is None or type(value).__name__ == "NAType" or value != value
