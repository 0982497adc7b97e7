"""Where a finding on a footfall stands."""

from __future__ import annotations

from typing import Any

from checks.evidence import Picture
from pipelines.science.signals import measures as signals


def at_contact(footfall: Any, shows: Picture) -> dict[str, Any]:
    """The places that a fault tells: the footfall, its contact and what is shown."""
    return {
        "place": signals.footfall_place(footfall),
        "moment_s": float(footfall["contact_s"]),
        "shows": shows,
    }
