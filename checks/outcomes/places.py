"""Where a finding on a footfall stands."""

from __future__ import annotations

from typing import Any

from pipelines.science.signals import measures as signals


def at_contact(footfall: Any, signal: str) -> dict[str, Any]:
    """The places that a fault tells: the footfall, its contact and the signal to be shown."""
    return {
        "place": signals.footfall_place(footfall),
        "moment_s": float(footfall["contact_s"]),
        "signal": signal,
    }
