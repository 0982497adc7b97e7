"""One trial at one laboratory: the runner put on the belt, or on the runway so that the feet meet the plates."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from demo_site_uploads.simulator.body import body_of
from demo_site_uploads.simulator.labs import lab, turned_round
from demo_site_uploads.simulator.runner import RUNNERS, Gait, Runner, gait_of
from demo_site_uploads.simulator.steps import Course
from demo_site_uploads.simulator.trial import (
    FootLoad,
    SimulatedTrial,
    random_source,
    simulate_contraction,
    simulate_running,
    simulate_standing,
)

SPEED_M_PER_S = 3.0
RUNWAY_S, STANDING_S, CONTRACTION_S = 1.2, 0.4, 1.5
TREADMILL_S = {"brack": 2.4, "tarn": 3.6}  # the second needs more shared contacts to match two clocks
UNEVENNESS = {"brack": 1.0, "corrie": 1.0, "tarn": 1.6}


@dataclass(frozen=True)
class Asked:
    """What is asked of the runner in one trial, beyond runner, condition, visit and laboratory.

    shift_m: how far from the usual place the feet land on the runway. gait: instead of the runner's own. muscles: whether
    their amplifier is on, at a laboratory that records them in the trial's own file.
    """

    kind: str = "running"
    speed_m_per_s: float = SPEED_M_PER_S
    duration_s: float | None = None
    backwards: bool = False
    shift_m: float = 0.0
    hop_at: int | None = None
    gait: Gait | None = None
    first_contact_s: float = 0.13
    muscles: bool = True


def simulate_trial(
    trial_id: str, site: str, runner: Runner | str, condition: str, visit: str, asked: Asked | None = None
) -> SimulatedTrial:
    """The trial in study axes as the laboratory's floor has them, with the truth: times, sides, peaks, angles, mass.

    On a runway ``footfalls`` holds those that meet a plate; on a treadmill all, also those cut off by the ends.
    """
    asked = asked or Asked()
    if isinstance(runner, str):
        runner = RUNNERS[runner]
    where = lab(site)
    gait = asked.gait or gait_of(runner, condition, visit)
    if asked.kind == "standing":
        return simulate_standing(
            trial_id,
            runner,
            condition,
            gait,
            place=(0.0, 0.0),
            rates=where.rates,
            duration_s=asked.duration_s or STANDING_S,
        )
    electrodes = f"{runner.participant_id}-{visit}-{site}"
    if asked.kind == "reference_contraction":
        length = asked.duration_s or CONTRACTION_S
        return simulate_contraction(
            trial_id, runner, condition, gait, rates=where.rates, duration_s=length, electrodes=electrodes
        )
    side = "right" if random_source(trial_id + "/side").random() < 0.5 else "left"
    duration = asked.duration_s or TREADMILL_S.get(site, RUNWAY_S)
    course = Course(
        asked.speed_m_per_s,
        asked.first_contact_s,
        duration,
        first_side=side,
        hop_at=asked.hop_at,
        unevenness=UNEVENNESS[site],
    )
    trial = simulate_running(
        trial_id, runner, condition, gait, course, belt=where.treadmill, rates=where.rates, electrodes=electrodes
    )
    if where.treadmill:
        return trial
    trial = _onto_the_plates(trial, body_of(runner, 0.0).foot_m, asked.shift_m)
    return turned_round(trial) if asked.backwards else trial


def _onto_the_plates(trial: SimulatedTrial, foot_m: float, shift_m: float) -> SimulatedTrial:
    """Moved along the runway so that the second contact lies in the middle plate's middle, or ``shift_m`` further."""
    wanted = [f for f in trial.footfalls if f.contact_s > 0.1]
    move = np.array([shift_m - wanted[1].heel[0] - foot_m / 2, 0.0, 0.0])
    loads = tuple(FootLoad(x.side, x.force, x.cop + move, x.free_moment) for x in trial.loads)
    footfalls = tuple(
        replace(f, heel=(f.heel[0] + move[0], f.heel[1]))
        for f in trial.footfalls
        if f.heel[0] + move[0] > -1.8 and f.heel[0] + move[0] + foot_m < 1.8
    )
    markers = {role: p + move for role, p in trial.markers.items()}
    return replace(trial, markers=markers, loads=loads, footfalls=footfalls)
