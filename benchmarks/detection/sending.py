"""Whole deliveries to plant faults in: three runners' sessions, packed as a bag and received."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from benchmarks.detection.specimens import CONDITIONS, STUDY, VISITS, Case
from benchmarks.detection.way import STAMP, folder
from checks.context import Context, of_delivery
from checks.findings import Report
from checks.registry import Subject, catalogue
from checks.run import run_checks, run_one
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.runner import RUNNERS
from demo_site_uploads.simulator.tables import Rows
from demo_site_uploads.simulator.weeks import MISSING
from pipelines.intake.bag import receive
from schemas.consent import Consent

STANDING = Asked("standing", duration_s=0.1)
DIARISTS = sorted(set(RUNNERS) - {MISSING})  # that one's log has a hole
SHORT_S = 0.8  # checks of a delivery do not look into the recordings; long enough to meet the plates


@lru_cache(maxsize=400)
def _files(trial: PlannedTrial) -> dict[str, bytes]:
    return PlannedTrial.files(trial)


class Kept(PlannedTrial):
    """A trial whose files are made once, since no fault of a delivery changes them."""

    def files(self) -> dict[str, bytes]:
        """Path in the payload -> content."""
        return dict(_files(self))


@dataclass(frozen=True)
class Sent:
    """A delivery as a check sees it."""

    delivery: Delivery

    def context(self) -> Context:
        """Packed, put into the inbox, opened."""
        place = folder() / "sent"
        shutil.rmtree(place, ignore_errors=True)
        (place / "work").mkdir(parents=True)
        path = self.delivery.pack(place / "inbox", place / "pack")
        received, _ = receive(path, self.delivery.inbox, place / "work", STUDY)
        return of_delivery(STUDY, path.stem, Consent.of(received, STUDY))

    def report(self, check_name: str) -> Report:
        """What one check of the delivery says."""
        return run_one(catalogue()[check_name], self.context(), STAMP)

    def everything(self) -> Report:
        """What all checks of the delivery say."""
        return run_checks(Subject.DELIVERY, self.context(), STAMP)

    def spoilt(self, tables: Callable[[Rows], None]) -> Sent:
        """The same with rows changed."""
        return Sent(replace(self.delivery, tables_fault=tables))

    def with_payload(self, change: Callable[[dict[str, bytes]], None]) -> Sent:
        """The same with files of the payload changed."""
        return Sent(replace(self.delivery, payload_fault=change))

    def tampered(self, change: Callable[[Path], None]) -> Sent:
        """The same with the packed bag changed."""
        return Sent(replace(self.delivery, tamper=change))


def clean(case: Case) -> Sent:
    """The delivery of a case: runners, visits, condition and packing differ from case to case.

    One runner at two visits, with all standing trials of the first, a running trial, breathing gas and the weekly log;
    two runners at one visit.
    """
    chance = case.chance("delivery")
    names = [str(name) for name in chance.choice(DIARISTS, 3, replace=False)]
    first, second = (VISITS[i] for i in sorted(chance.choice(len(VISITS), 2, replace=False)))
    sessions = [Session(name, first, case.site) for name in names]
    later = Session(names[0], second, case.site)
    run_in = str(chance.choice(CONDITIONS))
    trials: list[PlannedTrial] = [Kept(sessions[0], condition, "standing", STANDING) for condition in CONDITIONS]
    trials.append(Kept(sessions[0], run_in, "1", Asked(duration_s=SHORT_S, muscles=bool(chance.random() < 0.5))))
    trials += [Kept(session, "cushioned", "standing", STANDING) for session in (*sessions[1:], later)]
    bouts = tuple(session.bout(condition) for session in (*sessions, later) for condition in CONDITIONS)
    number = 1 + case.number
    name = f"{case.site}-{number:03d}{'.zip' if chance.random() < 0.5 else ''}"
    return Sent(Delivery(case.site, name, case.site, number, tuple(trials), bouts, (names[0],)))
