"""Checks of the force plates against the runner: over whole steps the mean vertical force is body weight."""

from __future__ import annotations

import numpy as np

from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.signals import measures as signals
from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import UP, Trial


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Mean vertical force over {steps} whole steps is {mean_n:.0f} N, that of {from_force_kg:.1f} kg, "
    "{off_percent:+.0f} % off the session's {mass_kg:.1f} kg.",
    expected="Over whole steps the ground carries the runner's weight: {weight_n:.0f} N, within "
    "{allowed_percent:.0f} %.",
    remedy="Check first that the mass in sessions.csv is this runner's, in kg. If it is, stand a known "
    "weight on the plate and compare: a wrong gain, a wrong calibration matrix, a runner holding the "
    "handrail or a foot beside the plate shows there.",
    words=("steps", "mean_n", "from_force_kg", "off_percent", "mass_kg", "weight_n", "allowed_percent"),
    limits={
        "treadmill_fraction": Limit(
            "1", "Newton's second law gives equality over whole strides; common practice for the limit"
        ),
        "runway_fraction": Limit("1", "common practice: one step of a runner may rise or sink"),
    },
)
def mean_vertical_force_is_body_weight(
    trial: Trial,
    footfalls: Rows,
    *,
    treadmill_fraction: float = 0.10,
    runway_fraction: float = 0.20,
) -> Looked:
    """Mean vertical force over whole steps is the runner's body weight.

    A runner who neither rises nor sinks from one step to the next pushes his or her weight on average, whatever the
    style; so this finds wrong gains, mixed-up runners and wrong masses before every force is divided by that mass.
    """
    if reason := signals.without_force(trial) or signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    if not trial.mass_kg or not np.isfinite(trial.mass_kg):
        return nothing("the session has no body mass")
    mean, steps = _mean_over_steps(trial, footfalls)
    if steps < 1:
        return nothing("fewer than two contacts in a row")
    weight = trial.mass_kg * STANDARD_GRAVITY
    allowed = treadmill_fraction if trial.surface == "treadmill" else runway_fraction
    if abs(mean / weight - 1) <= allowed:
        return looked(steps)
    fault = {
        "steps": steps,
        "mean_n": mean,
        "weight_n": weight,
        "from_force_kg": mean / STANDARD_GRAVITY,
        "mass_kg": trial.mass_kg,
        "off_percent": 100 * (mean / weight - 1),
        "allowed_percent": 100 * allowed,
        "place": "all plates",
        "moment_s": float(footfalls.numbers("contact_s").min()),
        "signal": "force:all:vertical",
    }
    return looked(steps, [fault])


def _mean_over_steps(trial: Trial, footfalls: Rows) -> tuple[float, int]:
    """Mean vertical force in N over whole steps, and their number; NaN and 0 where there is no whole step.

    Mean impulse of the contacts over mean time of the steps between them. On a runway, where there are few, this uses
    both contacts of a single step, which averages out the difference between left and right.
    """
    rate = trial.analog_rate_hz or 1.0
    force = trial.force[:, UP]
    times = np.arange(len(force)) / rate
    contacts = np.stack([footfalls.numbers("contact_s"), footfalls.numbers("toe_off_s")], axis=1)
    steps = footfalls.numbers("step_time_s")
    steps = steps[np.isfinite(steps)]
    if not len(steps) or len(contacts) < 2:
        return float("nan"), 0
    impulses = [
        np.nansum(force[(times >= start) & (times <= end)]) / rate
        for start, end in contacts
        if np.isfinite(start) and np.isfinite(end)
    ]
    return float(np.mean(impulses) / np.mean(steps)), len(steps)
