"""Which deliveries the three laboratories send. Faults are planted in ``plan_faults``; what each must lead to is listed
in ``expected_findings.csv``, which is written by hand: it says what should be found, not what was found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from demo_site_uploads.simulator import (
    plan_copies,
    plan_force,
    plan_markers,
    plan_muscle,
    plan_resends,
    plan_rows,
    plan_study,
)
from demo_site_uploads.simulator.breathing import Bout
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.plan_faults import faulty_deliveries

CONDITIONS = ("cushioned", "thin_soled", "unshod")
VISITS = ("week_0", "week_5", "week_10")
STANDING = Asked(kind="standing", duration_s=0.3)
CONTRACTION = Asked(kind="reference_contraction")
TRAVELLER = "FS-03"  # measured in every laboratory
GUESTS = {  # of other laboratories, measured at corrie as well, before the change-over; kg when weighed there
    "FS-01": (58.9, ("cushioned", "thin_soled")),
    "FS-02": (76.3, ("cushioned", "thin_soled")),
    "FS-10": (74.6, ("cushioned",)),
    "FS-12": (79.0, ("cushioned",)),
    "FS-13": (54.7, ("cushioned",)),
}
HOST = "corrie"
COHORT = {  # those without planted faults, before the change-over
    "brack": ("FS-01", "FS-02", TRAVELLER, "FS-10"),
    "corrie": (TRAVELLER, "FS-04", "FS-05", "FS-11", "FS-15", "FS-17"),
    "tarn": (TRAVELLER, "FS-12", "FS-13", "FS-14"),
}
STAYERS = {"brack": "FS-10", "corrie": "FS-11", "tarn": "FS-12"}  # measured at all three visits
CONTRACTED = ("FS-01", "FS-02")  # made a reference contraction
WITHOUT_MUSCLES = {
    ("FS-05", "corrie"),
    ("FS-15", "corrie"),
    ("FS-17", "corrie"),
    ("FS-10", "brack"),
}  # keeps files small


def _good(session: Session) -> list[PlannedTrial]:
    """A whole session without faults. On the runway the runner passes once in each condition, every second time back.

    At week 5 nobody runs unshod, which keeps files small.
    """
    trials = []
    if session.site == "brack" and session.participant_id in CONTRACTED:
        trials.append(PlannedTrial(session, "unshod", "contraction", CONTRACTION))
    for number, condition in enumerate(CONDITIONS if session.visit != "week_5" else CONDITIONS[:2]):
        trials.append(PlannedTrial(session, condition, "standing", STANDING))
        muscles = (session.participant_id, session.site) not in WITHOUT_MUSCLES
        asked = Asked(backwards=session.site == "corrie" and number == 1, muscles=muscles)
        trials.append(PlannedTrial(session, condition, "1", asked))
    return trials


def _guests() -> list[PlannedTrial]:
    """What runners of other laboratories ran at their host's: short, without muscles and breathing gas."""
    standing, running = replace(STANDING, duration_s=0.2), Asked(muscles=False)
    return [
        PlannedTrial(Session(runner, "week_0", HOST, mass_kg=mass_kg), condition, *what)
        for runner, (mass_kg, conditions) in GUESTS.items()
        for condition in conditions
        for what in (("standing", standing), ("1", running))
    ]


def _clean(
    number: int,
    arrives_as: str,
    sessions: list[Session],
    diaries: tuple[str, ...] = (),
    guests: Sequence[PlannedTrial] = (),
) -> Delivery:
    """A delivery of whole sessions, with breathing gas for each condition, and of its guests'."""
    site = sessions[0].site
    trials = (*(t for s in sessions for t in _good(s)), *guests)
    bouts: tuple[Bout, ...] = tuple(s.bout(condition) for s in sessions for condition in CONDITIONS)
    return Delivery(site, arrives_as, site, number, trials, bouts=bouts, diaries=diaries)


def _before(site: str) -> Delivery:
    """All runners of one laboratory before the change-over."""
    sessions = [Session(runner, "week_0", site) for runner in COHORT[site]]
    return _clean(1, f"{site}-001.zip", sessions, guests=_guests() if site == HOST else ())


def _after(site: str, number: int) -> Delivery:
    """Half-way and at the end, with the weeks of all its own runners; the traveller's are sent by the first only."""
    sessions = [Session(STAYERS[site], visit, site) for visit in VISITS[1:]]
    diaries = tuple(r for r in COHORT[site] if r != TRAVELLER or site == "brack")
    return _clean(number, f"{site}-{number:03d}.zip", sessions, diaries)


def deliveries() -> tuple[Delivery, ...]:
    """All demonstration deliveries."""
    good = (*map(_before, COHORT), _after("brack", 4), _after("corrie", 6), _after("tarn", 2))
    by_subject = (plan_force, plan_markers, plan_muscle, plan_study, plan_resends, plan_copies)
    by_hand = (*good, *faulty_deliveries(), *(d for plan in by_subject for d in plan.deliveries()))
    return (*by_hand, *plan_rows.deliveries({f"{d.site}-{d.number or 0:03d}" for d in by_hand}))
