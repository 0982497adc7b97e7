"""Distances on one segment: a foot that bends at its toes is no fault, a marker that comes loose is one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import FORWARD, Trial
from tests.builders import a_trial
from tests.checks.running_checks import of_trial, status


def toes_nearer(trial: Trial, millimetres: float, first_share: float, last_share: float) -> Trial:
    """The right forefoot marker comes nearer to the heel from one share of each right contact to another."""
    path = trial.markers["second_metatarsal_head_right"].copy()
    times = np.arange(len(path)) / trial.marker_rate_hz
    for start in 0.1 + 0.70 * np.arange(4):  # right contacts of 0.25 s
        share = (times - start) / 0.25
        path[(share > first_share) & (share < last_share), FORWARD] -= millimetres / 1000
    return replace(trial, markers=trial.markers | {"second_metatarsal_head_right": path})


@pytest.mark.parametrize(
    ("millimetres", "first", "last", "expected"),
    [
        (18, 0.6, 1.1, "pass"),  # pushing off over the toes
        (18, 0.0, 0.4, "found"),  # no foot bends while it lands
        (18, 0.6, 2.2, "found"),  # nor all through the swing
        (-18, 0.6, 1.1, "found"),  # nor does it grow
        (10, 0.0, 1.0, "pass"),
    ],
)
def test_a_foot_bends_at_its_toes_when_it_pushes_off(
    millimetres: float, first: float, last: float, expected: str
) -> None:
    trial = toes_nearer(a_trial(), millimetres, first, last)
    assert status("markers_keep_their_distance", of_trial(trial)) == expected
