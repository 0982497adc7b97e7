"""What the depot knows of consent beyond one delivery: events of other deliveries, withdrawals, trials withheld later.

It stands in the books (``pipelines.depot.books.gates``), and nothing of it is shown. Whether an event covers a day is
in ``schemas.consent_history``; how a runner is taken out in ``pipelines.deciding.withdrawal``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from pipelines.depot.books.knowing import knowledge
from pipelines.depot.books.rows import Gate, Record
from pipelines.depot.desk import Desk, Opened
from pipelines.identity.gas_prints import prints_of_table
from schemas.consent import Consent
from schemas.consent_history import ANYBODY, GIVEN, spelled
from schemas.consent_lacks import told_by
from schemas.delivery import RECORDED
from schemas.delivery_beside import SENT_BREATHS
from schemas.joined import delivered, runners_of, shas_of_trials
from schemas.near_ids import Runners, that_may_concern
from schemas.privacy import EVERY_SCOPE
from schemas.received import ConsentEvent, Received

#: Scopes without which nothing of a trial can be kept, since bytes cannot be cut out of its file.
WHOLE_TRIAL = frozenset({EVERY_SCOPE, *RECORDED.needs})


def gate_of(consent: Consent, withheld: Mapping[str, str]) -> Gate:
    """What a delivery tells the gate, and what its own rested on. withheld: trial id -> its name in the depot."""
    received = consent.received
    own = {event for event in consent.events if event[0] != ANYBODY}
    told: dict[str, set[ConsentEvent]] = {}
    for event in own | set(received.other_consents):
        told.setdefault(spelled(event[0]), set()).add(event)
    runners = tuple(sorted(runners_of(received)))
    return Gate(
        runners,
        tuple(sorted(own, key=repr)),
        {name: trial for trial, name in withheld.items()},
        consent.shas,
        consent.runner_of,
        tuple(f.sha256 for f in received.files if "/" not in f.path),
        {runner: knowledge(told.get(spelled(runner), ())) for runner in runners},
        received.shut_trials,
    )


def taken_away(consent: Consent) -> Gate:
    """What a delivery that is not taken in tells the gate: events that take consent away, or were not understood."""
    own = {event for event in consent.events if event[0] != ANYBODY and event[2] != GIVEN}
    return Gate(events=tuple(sorted(own, key=repr)))


def with_all_consents(desk: Desk, opened: Opened, delivery_id: str | None) -> Opened:
    """Adds what the depot knows of the runners' consent, so that the gate sees the whole history.

    delivery_id: what the delivery is called, if it has a number.
    """
    received = opened.received
    gates, runners = desk.books.gates, runners_of(received)
    withdrawn = desk.books.withdrawals.events(runners | gates.spellings(runners))
    told = gates.told(runners, but=delivery_id) | set(withdrawn)
    shut = gates.shut(received.site, received.number, shas_of_trials(received))
    near = _near(desk, received, delivery_id)
    received = replace(
        received,
        other_consents=tuple(sorted(told, key=repr)),
        near_consents=tuple(sorted(near, key=repr)),
        shut_rows=_taken_out(desk, received),
        shut_trials=shut,
    )
    return replace(opened, received=received)


def _taken_out(desk: Desk, received: Received) -> dict[str, frozenset[str]]:
    """Sessions with breathing gas that was taken out when a runner withdrew, under whatever code it comes now."""
    if not desk.books.withdrawals.any():
        return {}
    found = prints_of_table(received.tables[SENT_BREATHS.name])
    out = desk.books.withdrawals.files_taken_out({one for own in found.values() for one in own})
    sessions = frozenset(session for session, own in found.items() if own & out)
    return {SENT_BREATHS.name: sessions} if sessions else {}


def _near(desk: Desk, received: Received, delivery_id: str | None) -> set[ConsentEvent]:
    """Events against consent under codes that are nobody's, as of the runners they may be about.

    Those of this delivery may be about any runner the depot knows; those of others, about this one's.
    """
    own, gates = delivered(received), desk.books.gates
    runners = Runners(own | gates.with_trials())
    told = told_by(received)
    found = that_may_concern(told, runners)
    for nearer in (own, own | gates.with_trials(received.site)):  # of one laboratory a short code may mean only one
        found |= that_may_concern((event for event in told if not runners.has(event[0])), Runners(nearer))
    codes = {code for code in gates.against(but=delivery_id) if runners.meant_by(code)}
    return found | that_may_concern(gates.told(codes, but=delivery_id), runners, own)


def changed(desk: Desk) -> list[Record]:
    """Deliveries whose gate no longer rests on what is known today; the latest of a site first."""
    return desk.books.gates.resting_on_less()
