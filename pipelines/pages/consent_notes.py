"""What of consents may not have been understood: tables that nobody could read, codes of nobody."""

from __future__ import annotations

from checks.consent.covers import is_of_nobody
from pipelines.pages.facts import Delivery, Facts, Finding
from schemas.delivery import SENT_CONSENTS


def unread(facts: Facts) -> list[Delivery]:
    """Stopped deliveries whose consents.csv could not be read; one that is only missing says nothing."""
    return [
        delivery
        for delivery in facts.stopped
        if any(
            one.file == SENT_CONSENTS.file_name and not one.seen.rstrip(".").endswith("is missing")
            for one in facts.findings_of.get(delivery.delivery_id, ())
            if one.weight == "stops"
        )
    ]


def of_nobody(facts: Facts) -> list[Finding]:
    """Findings on lines of consents.csv under a code that is nobody's."""
    return [one for one in facts.findings if is_of_nobody({**vars(one)})]
