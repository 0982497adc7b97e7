"""What a delivery is called, and how it stands to the deliveries before it: the same content, number or ids again.

Nothing is written here. A faulty number or id becomes a Problem, which a check turns into a finding.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipelines.depot.arrivals import short_hash, slug
from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Opened
from pipelines.intake.bag import SITE
from pipelines.judging.same_signals import with_copies
from schemas.received import NOTHING_TO_SEND, Problem, Received

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

_BAG_FAULTS = {"archive", "bag", "bag_info"}


def numbered(received: Received) -> str | None:
    """The delivery id made of site and number; None if the bag does not say both."""
    if received.site is None or received.number is None:
        return None
    return f"{received.site}-{received.number:03d}"


def name_for_stopped(opened: Opened, books: Books) -> str:
    """The id of a delivery that is not taken in: its number if no other arrival has it, else its name as it came."""
    own = numbered(opened.received)
    if own is None or own != slug(own):
        own = "misplaced" if other_site(opened.received) else f"{slug(opened.inbox_site)}-unnumbered"
        plain = f"{own}-{slug(opened.name.replace('.', '-'))}"[:64]
        holder = books.deliveries.get(plain)
        return (
            plain
            if holder is None or holder.arrival == opened.arrival
            else f"{plain[:57]}-{short_hash(opened.arrival)}"
        )
    holder = books.deliveries.get(own)
    if holder is None or (holder.arrival == opened.arrival and not holder.held):
        return own
    return f"{own}.{slug(opened.name)}"[:64]


def other_site(received: Received) -> str | None:
    """The site of the study that a bag names, if it lay in the inbox of another one and counts as that one's."""
    named = received.bag_info.get(SITE)
    return named if named is not None and received.site is not None and named != received.site else None


def same_content(opened: Opened, books: Books) -> Record | None:
    """The delivery that brought the same bytes before, if any."""
    received = opened.received
    if not received.fingerprint or any(p.kind in _BAG_FAULTS for p in received.problems):
        return None
    same = books.deliveries.same_content(received.site, received.fingerprint)
    return next((r for r in same if r.arrival == opened.arrival), same[0] if same else None)


def with_number_conflict(opened: Opened, books: Books) -> Opened:
    """Adds a problem if the number was used before, be it for the same content that came another, faulty way.

    What is held and comes once more in the inbox of another laboratory is told as that alone: nothing is to be sent.
    """
    received = opened.received
    holder = books.deliveries.get(numbered(received) or "") or _held_of_another(received, books)
    if holder is None or not holder.held:
        return opened
    came_as = holder.arrival.partition("/")[2]
    if received.fingerprint and received.fingerprint == holder.fingerprint:
        again = Problem(
            "bag_info",
            f"the same content came before as {came_as}, and is held",
            "each delivery once, in its own site's folder",
            file="bag-info.txt",
            place="Delivery-Number",
            mend=f"{NOTHING_TO_SEND}: delivery {holder.delivery_id} counts as it is. Take this copy out of the inbox",
        )
        others = (p for p in received.problems if received.number is not None or p.kind != "bag_info")
        return replace(opened, received=replace(received, problems=(*others, again)))
    problem = Problem(
        "bag_info",
        f"delivery number {received.number} of {received.site} was used before for other content, "
        f"which came as {came_as}",
        "a number that was not used before; raise Delivery-Number in bag-info.txt and send the bag again",
        file="bag-info.txt",
        place="Delivery-Number",
    )
    return replace(opened, received=replace(received, problems=(*received.problems, problem)))


def _held_of_another(received: Received, books: Books) -> Record | None:
    """The held delivery of the laboratory that a bag names, whose content lies in another laboratory's inbox."""
    named = received.bag_info.get(SITE)
    if not received.fingerprint or named is None or named == received.inbox_site:
        return None
    return next(iter(books.deliveries.same_content(named, received.fingerprint)), None)


def with_earlier_trials(books: Books, opened: Opened) -> Opened:
    """Adds which trials earlier deliveries brought, and a problem for each id of another laboratory and each copy."""
    received, arrival = opened.received, opened.arrival
    came = books.deliveries.came(numbered(received))
    trials = {str(t) for t in received.tables["sent_trials"]["trial_id"].dropna()}
    sessions = {str(s) for s in received.tables["sent_sessions"]["session_id"].dropna()}
    taken = _taken(received, books, came, trials, sessions)
    taken += with_copies(books, opened, came)
    known = books.trials.known_before(received.site, received.number, arrival, trials)
    return replace(opened, received=replace(received, known_trials=known, problems=(*received.problems, *taken)))


def _taken(received: Received, books: Books, came: str | None, trials: set[str], sessions: set[str]) -> list[Problem]:
    """A problem for each id that another laboratory used; which one is nobody else's business."""
    by_trial = {t.trial_id for t in books.trials.ids_of_others(received.site, came, trials)}
    by_session = {str(t.session_id) for t in books.trials.sessions_of_others(received.site, came, sessions)}
    return [
        *(_taken_id("trial_id", value) for value in sorted(by_trial)),
        *(_taken_id("session_id", value) for value in sorted(by_session)),
    ]


def _taken_id(key: str, value: str) -> Problem:
    return Problem(
        "key",
        f"{key} {value} was used before by another site",
        f"a {key} that is used once in the whole study",
        file="trials.csv" if key == "trial_id" else "sessions.csv",
        place=f"column {key}",
        session_id=value if key == "session_id" else None,
        trial_id=value if key == "trial_id" else None,
    )
