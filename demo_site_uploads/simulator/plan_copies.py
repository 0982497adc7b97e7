"""A recording that comes a second time as another trial: resampled, so that no checksum tells."""

from __future__ import annotations

from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.faults import played_at_another_speed
from demo_site_uploads.simulator.labs import Recording, lab, record
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.trial import SimulatedTrial

SESSION = Session("FS-17", "week_5", "corrie")
RUN = Asked(duration_s=1.0, muscles=False)
FIRST = PlannedTrial(SESSION, "cushioned", "1", RUN)
STRETCH = 1.02  # a slip of one setting in an export; enough to change every byte


def _as_first(recording: Recording, trial: SimulatedTrial) -> Recording:
    """What was recorded in the first trial, exported with another number of frames."""
    other = FIRST.simulated()
    return played_at_another_speed(STRETCH)(record(other, lab(SESSION.site), muscles=False), other)


def deliveries() -> tuple[Delivery, ...]:
    """The copy goes by the name of another pass in the same shoes."""
    standing = PlannedTrial(SESSION, "cushioned", "standing", Asked("standing", duration_s=0.2))
    trials = (standing, FIRST, PlannedTrial(SESSION, "cushioned", "2", RUN, _as_first))
    return (Delivery("corrie", "corrie-016.zip", "corrie", 16, trials),)
