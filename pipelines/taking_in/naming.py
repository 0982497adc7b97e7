"""What a delivery is called, and how it stands to the deliveries before it: the same content, number or ids again.

Nothing is written here. A faulty number or id becomes a Problem, which a check turns into a finding.
"""

from __future__ import annotations

from dataclasses import replace

from pipelines.depot.arrivals import Record, short_hash, slug
from pipelines.depot.desk import Desk, Opened
from pipelines.depot.earlier import column
from pipelines.judging.same_signals import with_copies
from schemas.received import Problem, Received

_BAG_FAULTS = {"archive", "bag", "bag_info"}


def numbered(received: Received) -> str | None:
    """The delivery id made of site and number; None if the bag does not say both."""
    if received.site is None or received.number is None:
        return None
    return f"{received.site}-{received.number:03d}"


def name_for_stopped(opened: Opened, all_records: dict[str, Record]) -> str:
    """The id of a delivery that is not taken in: its number if no other arrival has it, else its name as it came."""
    own = numbered(opened.received)
    if own is None or own != slug(own):
        plain = f"{slug(opened.inbox_site)}-unnumbered-{slug(opened.name.replace('.', '-'))}"[:64]
        holder = all_records.get(plain)
        return (
            plain if holder is None or holder.arrival == opened.arrival else f"{plain[:57]}-{short_hash(opened.name)}"
        )
    holder = all_records.get(own)
    if holder is None or (holder.arrival == opened.arrival and not holder.held):
        return own
    return f"{own}.{slug(opened.name)}"[:64]


def same_content(opened: Opened, all_records: dict[str, Record]) -> Record | None:
    """The delivery that brought the same bytes before, if any."""
    received = opened.received
    if not received.fingerprint or any(p.kind in _BAG_FAULTS for p in received.problems):
        return None
    same = [
        r for r in all_records.values() if r.held and r.site == received.site and r.fingerprint == received.fingerprint
    ]
    return next((r for r in same if r.arrival == opened.arrival), same[0] if same else None)


def with_number_conflict(opened: Opened, all_records: dict[str, Record]) -> Opened:
    """Adds a problem if the number was used before for other content."""
    holder = all_records.get(numbered(opened.received) or "")
    if holder is None or not holder.held:
        return opened
    received = opened.received
    problem = Problem(
        "bag_info",
        f"delivery number {received.number} of {received.site} was used before for other content, "
        f"which came as {holder.arrival.partition('/')[2]}",
        "a number that was not used before; raise Delivery-Number in bag-info.txt and send the bag again",
        file="bag-info.txt",
        place="Delivery-Number",
    )
    return replace(opened, received=replace(received, problems=(*received.problems, problem)))


def with_earlier_trials(desk: Desk, opened: Opened, all_records: dict[str, Record]) -> Opened:
    """Adds which trials earlier deliveries brought, and a problem for each id of another laboratory and each copy."""
    received = opened.received
    known: dict[str, str] = {}
    taken: list[Problem] = []
    for record in all_records.values():
        if not record.taken_in or record.arrival == opened.arrival:
            continue
        own_site = record.site == received.site
        if own_site and (record.number or 0) >= (received.number or 0):
            continue
        for table, key in (("standings", "trial_id"), ("sessions", "session_id")):
            earlier = set(column(desk.depot, record, table, key))
            if own_site:
                known |= dict.fromkeys(earlier, record.delivery_id) if key == "trial_id" else {}
            else:
                taken += _taken_ids(received, earlier, key, record)
    taken += with_copies(desk.depot, opened, all_records.values())
    return replace(opened, received=replace(received, known_trials=known, problems=(*received.problems, *taken)))


def _taken_ids(received: Received, earlier: set[str], key: str, record: Record) -> list[Problem]:
    sent = "sent_trials" if key == "trial_id" else "sent_sessions"
    return [
        Problem(
            "key",
            f"{key} {value} was used before by another laboratory, {record.site}",
            f"a {key} that is used once in the whole study",
            file="trials.csv" if key == "trial_id" else "sessions.csv",
            place=f"column {key}",
            session_id=value if key == "session_id" else None,
            trial_id=value if key == "trial_id" else None,
        )
        for value in sorted(earlier & set(received.tables[sent][key].dropna()))
    ]
