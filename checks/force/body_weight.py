"""Checks of the force plates against the runner: over whole steps the mean vertical force is body weight."""

from __future__ import annotations

import numpy as np

from checks.force import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.signals import measures as signals
from pipelines.science.trial_outcomes import whole_steps
from pipelines.science.workspace import Workspace
from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import Trial


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Mean vertical force over {steps} whole steps is {mean_n:.0f} N, that of {from_force_kg:.1f} kg, "
    "{off_percent:+.1f} % off the session's {mass_kg:.1f} kg.",
    expected="Over whole steps the ground carries the runner's weight: {weight_n:.0f} N, within "
    "{allowed_percent:.0f} %.",
    remedy="Compare with the other trials of the session. If all of them are off alike, check that the mass in "
    "sessions.csv is this runner's, in kg, as dressed for the run, and the scale it was taken on. If it changes with "
    "the day or the plate, stand a known weight on each plate and compare: a wrong gain, a wrong calibration matrix, a "
    "runner holding the handrail, or two recordings mixed up.",
    words=("steps", "mean_n", "from_force_kg", "off_percent", "mass_kg", "weight_n", "allowed_percent"),
    limits={
        "noted_fraction": Limit("1", "own choice: six real runs lie 0 to 4.5 % below a mass taken on another scale"),
        "returned_fraction": Limit("1", "own choice: above what scales and clothes explain; strides scatter by 0.6 %"),
        "single_step_times": Limit(
            "1", "own choice: a single step allows so many times as much; steps of two real runners scatter by 1.6 %"
        ),
    },
)
def mean_vertical_force_is_body_weight(
    trial: Trial,
    footfalls: Rows,
    work: Workspace,
    *,
    noted_fraction: float = 0.03,
    returned_fraction: float = 0.06,
    single_step_times: float = 2.0,
) -> Looked:
    """Mean vertical force over whole steps is the runner's body weight.

    A runner who neither rises nor sinks from one step to the next pushes his or her weight on average, whatever the
    style; so this finds wrong gains, mixed-up runners and wrong masses before every force is divided by that mass.
    """
    if reason := signals.without_force(trial) or signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    if not trial.mass_kg or not np.isfinite(trial.mass_kg):
        return nothing("the session has no body mass")
    steps, mass = whole_steps(footfalls), float(work.trial_outcomes.numbers("mass_from_force_kg")[0])
    if not np.isfinite(mass):
        return nothing("fewer than two contacts in a row")
    times = single_step_times if steps == 1 else 1.0
    off = abs(mass / trial.mass_kg - 1)
    if off <= noted_fraction * times:
        return looked(steps)
    returned = off > returned_fraction * times
    allowed_percent = 100 * times * (returned_fraction if returned else noted_fraction)
    fault = {
        "steps": steps,
        "mean_n": mass * STANDARD_GRAVITY,
        "weight_n": trial.mass_kg * STANDARD_GRAVITY,
        "from_force_kg": mass,
        "mass_kg": trial.mass_kg,
        "off_percent": 100 * (mass / trial.mass_kg - 1),
        "allowed_percent": allowed_percent,
        "place": "all plates",
        "moment_s": float(footfalls.numbers("contact_s").min()),
        "shows": shown.of_body_weight(100 * (mass / trial.mass_kg - 1), allowed_percent, trial),
        "weight": Weight.RETURNS if returned else Weight.NOTES,
    }
    return looked(steps, [fault])
