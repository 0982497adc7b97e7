"""The second stage of a delivery: checked as a whole, beside all others, and which of its trials consent covers.

Nothing is written. What is checked is in ``checks``; what earlier deliveries brought in ``naming`` and ``resends``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from checks.findings import Report, Status
from checks.registry import Weight
from checks.run import check_delivery
from pipelines.depot.books.rows import Record
from pipelines.depot.consents import with_all_consents
from pipelines.depot.desk import Desk, Opened
from pipelines.taking_in.later_rows import with_later_rows
from pipelines.taking_in.naming import name_for_stopped, numbered, with_earlier_trials, with_number_conflict
from pipelines.taking_in.resends import before_of, with_changed_trials
from schemas.consent import Consent

if TYPE_CHECKING:
    from pipelines.depot.books.rows import TrialVersion


@dataclass(frozen=True)
class Gated:
    """A delivery of which all is known but what its trials are like.

    consent: what may be used of it; delivery_id, report: as it would be taken in; stops: whether it may not be;
    earlier: accepted versions of its trials that deliveries before brought; before: its record if the depot holds it.
    """

    opened: Opened
    consent: Consent
    delivery_id: str
    report: Report
    stops: bool
    earlier: Mapping[str, TrialVersion]
    before: Record | None

    def rests_on(self, opened: Opened, earlier: Mapping[str, TrialVersion], before: Record | None) -> bool:
        """Whether it would come out the same from these, as far as it was not stopped: a name may hang on more."""
        alike = replace(self.opened.received, tables={}) == replace(opened.received, tables={})
        tables = self.opened.received.tables is opened.received.tables  # not compared: the same object, or another
        return alike and tables and (self.earlier, self.before) == (earlier, before)


def gate(desk: Desk, opened: Opened, before: Record | None = None, ahead: Gated | None = None) -> Gated:
    """Check a delivery as a whole, beside all others, and find which trials consent covers. Writes nothing.

    ahead: how it was gated before others were taken in; it holds still if what the depot knows of it is the same.
    """
    if before is None:
        opened = with_number_conflict(opened, desk.books)
    opened = with_all_consents(desk, with_earlier_trials(desk.books, opened), numbered(opened.received))
    opened = with_later_rows(desk, opened)
    earlier = before_of(desk.books, opened)
    if ahead is not None and not ahead.stops and ahead.rests_on(opened, earlier, before):
        return ahead
    consent = with_changed_trials(Consent.of(opened.received, desk.study.study), earlier)
    number = numbered(consent.received)
    delivery_id = number or name_for_stopped(opened, desk.books)
    report, consent = check_delivery(desk.study.study, delivery_id, consent, desk.stamp)
    stops = opened.payload is None or number is None or _stops(report)
    return Gated(opened, consent, delivery_id, report, stops, earlier, before)


def _stops(report: Report) -> bool:
    """Whether the delivery may not be taken in: a check says so, or one that might have said so crashed."""
    return any(f.weight is Weight.STOPS for f in report.findings) or any(
        r.status is Status.CRASHED for r in report.runs
    )
