"""Accepted trials that come again with other content: one without saying why, one with a reason."""

from __future__ import annotations

from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.faults_resends import origin_set_anew
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.tables import Rows

SESSION = Session("FS-17", "week_10", "corrie", mass_kg=75.5)
STANDING = Asked("standing", duration_s=0.1)
REASON = "Markers exported again after the origin of the cameras had been set anew."


def _trials(*changed: str) -> tuple[PlannedTrial, ...]:
    """Two small standing trials; those in ``changed`` as exported again."""
    return tuple(
        PlannedTrial(SESSION, c, "standing", STANDING, origin_set_anew(2.0) if c in changed else None)
        for c in ("cushioned", "thin_soled")
    )


def _one_reason(rows: Rows) -> None:
    told = next(row for row in rows.trials if row["condition"] == "thin_soled")
    told["resend_reason"] = REASON


def deliveries() -> tuple[Delivery, ...]:
    """Two trials that are accepted, and both again with other bytes."""
    both = ("cushioned", "thin_soled")
    return (
        Delivery("corrie", "corrie-014.zip", "corrie", 14, _trials()),
        Delivery("corrie", "corrie-015.zip", "corrie", 15, _trials(*both), tables_fault=_one_reason),
    )
