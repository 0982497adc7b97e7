"""Changes of a recording that no check of the recording sees; they are told only by comparison with what came before."""

from __future__ import annotations

from dataclasses import replace

from demo_site_uploads.simulator.faults import Fault
from demo_site_uploads.simulator.labs import Recording
from demo_site_uploads.simulator.trial import SimulatedTrial


def origin_set_anew(millimetres: float) -> Fault:
    """The laboratory set the origin of its cameras anew and exported again: every marker is moved by the same amount.

    A few millimetres are what a new calibration gives; any amount, however small, is a change that needs a reason.
    """

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        return replace(recording, points=recording.points + millimetres)

    return plant
