"""Whether consent covers what was sent. What was in force, row by row, is worked out in ``schemas.consent``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from checks.registry import Looked, Subject, Weight, check, looked, nothing
from schemas.catalogue import tables_of
from schemas.consent import Consent
from schemas.consent_history import GIVEN, events_by_row, spelled
from schemas.consent_lacks import UNLOOKED
from schemas.delivery import SENT_CONSENTS
from schemas.joined import delivered
from schemas.model import Layer, Table
from schemas.received import NOTHING_TO_SEND, Received

_CONSENTS = str(SENT_CONSENTS.file_name)
_NO_RUNNERS = "no runner's"
_COMPARE = (
    "Compare consents.csv with the signed form. If the form was signed by that day, add its row and send the delivery "
    "again; if the runner did not agree or took it back, leave out what is named here. Until then it is kept apart and "
    "nothing is computed from it"
)
_OF_WHO_WITHDREW = "their values are those of a runner who withdrew"
_LEAVE_OUT = (
    f"{NOTHING_TO_SEND}. Leave these rows out of what you send from now on; if the runner has agreed anew, tell the "
    "data manager, who notes it by a command. Until then they are kept apart and nothing is computed from them"
)


@check(
    about=Subject.DELIVERY,
    weight=Weight.WITHHOLDS,
    seen="Consent is not shown for {what}: {lack}.",
    expected="On {day} {scopes} have been given and not withdrawn.",
    remedy="{what_to_do}.",
    words=("what", "lack", "day", "scopes", "what_to_do"),
)
def consent_covers_the_trial(consent: Consent) -> Looked:
    """The runner had agreed, by the day of the session, to the recording of what the trial holds and to its pooling.

    Consent belongs to the runner, not to the study; where it cannot be shown, the data are not used. Other rows that it
    does not cover are counted table by table, and nothing else of them is shown.
    """
    if not consent.trials and not any(map(len, consent.received.tables.values())):
        return nothing("no trials are listed")
    lacks = {trial: lack for trial, lack in consent.lacks.items() if lack != UNLOOKED}
    faults = [_of_trial(trial, lack, consent) for trial, lack in lacks.items()]
    faults += [fault for table in tables_of(Layer.DELIVERY) for fault in _of_rows(table, consent)]
    faults += _near_misses(consent)
    return looked(max(1, len(consent.trials)), [{"what_to_do": _COMPARE, **fault} for fault in faults])


def is_of_nobody(finding: Mapping[str, Any]) -> bool:
    """Whether a finding tells of a line of consents.csv under a code that is nobody's."""
    about = (finding["check_name"], finding["file"])
    return about == (consent_covers_the_trial.__name__, _CONSENTS) and _NO_RUNNERS in str(finding["seen"])


def _of_trial(trial: str, lack: str, consent: Consent) -> dict[str, Any]:
    # the withheld runner and the day stay unsaid: findings are shown where withheld trials are not
    return {
        "trial_id": trial,
        "what": f"trial {trial}",
        "lack": lack,
        "day": "the day of the session",
        "scopes": _listed(consent.needed),
        "file": _CONSENTS,
        "place": f"trial_id {trial}",
    }


def _of_rows(table: Table, consent: Consent) -> Iterator[dict[str, Any]]:
    """Rows that are not covered, but for those of runners of whom a withheld trial tells already."""
    assert table.rows is not None
    told = {runner for trial in consent.withheld for runner in consent.owners_of(trial)}
    counts: Counter[str] = Counter()
    shut = consent.received.shut_rows.get(table.name, frozenset())
    keys = consent.received.tables[table.name][table.rows.by].tolist() if shut and table.rows.by else ()
    for row, (is_covered, nowhere, owners) in enumerate(
        zip(consent.covers(table), consent.leads_nowhere(table), consent.owners(table), strict=True)
    ):
        if is_covered:
            continue
        if shut and keys[row] in shut:
            counts[_OF_WHO_WITHDREW] += 1
        elif nowhere:
            counts[f"{table.rows.by} leads to no runner of the delivery"] += 1
        elif not owners & told:
            counts["not in force for the runner on that day"] += 1
    for lack, count in counts.items():
        yield {
            "what": f"{count} row{'s' if count > 1 else ''} of {table.file_name}",
            "lack": lack,
            "day": "that day",
            "scopes": _listed(sorted(table.rows.needs)),
            "file": table.file_name,
            "weight": Weight.NOTES,
            **({"what_to_do": _LEAVE_OUT} if lack == _OF_WHO_WITHDREW else {}),
        }


def _near_misses(consent: Consent) -> Iterator[dict[str, Any]]:
    """Codes of consents.csv that are nobody's and nearly that of a runner; the codes stay unsaid."""
    received = consent.received
    usual = {
        "day": "the day of each session",
        "scopes": _listed(consent.needed),
        "file": _CONSENTS,
        "weight": Weight.NOTES,
    }
    for row, near in consent.near_misses.items():
        like = "a runner" if len(near) == 1 else f"{len(near)} runners"
        lack = f"its code is {_NO_RUNNERS} of the delivery and nearly that of {like} (did you mean it?)"
        place = f"row {row + 1}, column participant_id"
        yield {"what": f"row {row + 1} of {_CONSENTS}", "lack": lack, "place": place, **usual}
    own = delivered(received)
    for row in _nobodys(received, own):
        if row not in consent.near_misses:
            lack = f"it takes consent back under a code that is {_NO_RUNNERS} of the delivery nor of one before it"
            place = f"row {row + 1}, column participant_id"
            yield {"what": f"row {row + 1} of {_CONSENTS}", "lack": lack, "place": place, **usual}
    if received.torn_consents:
        lack = "lines that cannot be read as rows count against whomever they name, since each may be a withdrawal"
        yield {"what": f"lines of {_CONSENTS}", "lack": lack, **usual}
    if count := sum(event[0] not in own for event in received.near_consents):
        like = "nearly that of one of another delivery, who is withheld (did you mean it?)"
        lack = f"the code is {_NO_RUNNERS} and {like}"
        yield {"what": f"{count} line{'s' if count > 1 else ''} of {_CONSENTS}", "lack": lack, **usual}


def _nobodys(received: Received, own: Collection[str]) -> Iterator[int]:
    """Rows of consents.csv with an event against consent under a code of whom nothing else is known."""
    known = {spelled(code) for code in (*own, *(event[0] for event in received.other_consents))}
    for row, (code, _, event, _) in events_by_row(received.tables[SENT_CONSENTS.name]):
        if event != GIVEN and code and spelled(code) not in known:
            yield row


def _listed(scopes: Iterable[str]) -> str:
    *others, last = scopes
    return f"{', '.join(others)} and {last}" if others else last
