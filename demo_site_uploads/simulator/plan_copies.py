"""A recording that comes a second time as another trial: resampled, so that no checksum tells."""

from __future__ import annotations

from dataclasses import replace

from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.faults import played_at_another_speed
from demo_site_uploads.simulator.labs import Recording, lab, record
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.trial import SimulatedTrial

SESSION = Session("FS-17", "week_5", "corrie", mass_kg=76.6)
FIRST = PlannedTrial(
    replace(SESSION, visit="week_0", mass_kg=None), "cushioned", "1", Asked(muscles=False)
)  # of corrie-001
STRETCH = 1.02  # a slip of one setting in an export; enough to change every byte


def _as_first(recording: Recording, trial: SimulatedTrial) -> Recording:
    """What was recorded in the first trial, exported with another number of frames."""
    other = FIRST.simulated()
    return played_at_another_speed(STRETCH)(record(other, lab(SESSION.site), muscles=False), other)


def deliveries() -> tuple[Delivery, ...]:
    """The pass of an earlier visit is sent once more as one of this visit."""
    standing = PlannedTrial(SESSION, "cushioned", "standing", Asked("standing", duration_s=0.2))
    trials = (standing, PlannedTrial(SESSION, "cushioned", "1", Asked(muscles=False), _as_first))
    return (Delivery("corrie", "corrie-016.zip", "corrie", 16, trials),)
