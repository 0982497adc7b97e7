"""Whether the channels of force hold their own signals, and not those of the channels beside them."""

from __future__ import annotations

import numpy as np

from checks.force import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.equipment.lag import lag_of_vertical
from pipelines.science.gait.spells import rate_of
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import UP, FloatArray, Trial

#: Type -> which of its channels add up to the vertical force; those of type 4 do so by a matrix only.
VERTICAL = {1: (2,), 2: (2,), 3: (4, 5, 6, 7)}
#: Own choices: how many places are tried, what part of the largest is a load, and how much later force may be.
MOST_PLACES, LOADED, MOST_LAG_S = 2, 0.2, 0.03
#: Own choice: what is not alike must be less than this part of what it is in any other of these channels.
CLEARLY = 0.4


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Every analog channel holds the signal of another one: what lifts the pelvis stands {places} {side} the "
    "channels that are said to be the vertical force (likeness {found:.3f} there, {as_is:.3f} in these), and these "
    "carry {carried:.2f} of the runner's weight.",
    expected="The channels of the vertical force carry the runner's weight within {weight_fraction:g} of it, or else "
    "no channel beside them moves as the pelvis does.",
    remedy="Export the trial again, and compare the order of the analog channels with their labels: one channel too "
    "many or too few at their beginning does this. Change no plate, unit or muscle because of what else is said here.",
    words=("places", "side", "found", "as_is", "carried"),
    limits={"weight_fraction": Limit("1", "own choice: far outside what running and a wrong gain make")},
)
def channels_hold_their_own_signals(trial: Trial, work: Workspace, *, weight_fraction: float = 0.4) -> Looked:
    """The vertical force stands in the channels that are said to hold it.

    Moved by one channel, a moment is taken for the vertical force and a muscle for a moment, and a dozen checks advise
    to correct polarity, zero and gain. The pelvis tells: the vertical force lifts it, and no unit matters to that.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    columns, samples = _verticals(trial)
    if samples is None or not trial.mass_kg:
        return nothing("the order of the channels, or the runner's mass, is not known, or a plate is of type 4")
    own = _signal(columns, samples, 0)
    loaded = np.flatnonzero(np.abs(own) > LOADED * np.abs(own).max()) if own is not None else np.empty(0, int)
    if own is None or len(loaded) < 2:
        return nothing("no channel of the vertical force changes")
    total = np.sum([plate.force[:, UP] for plate in trial.plates], axis=0)
    carried = float(np.nanmean(total[loaded[0] : loaded[-1] + 1])) / (trial.mass_kg * STANDARD_GRAVITY)
    if abs(carried - 1) <= weight_fraction:
        return looked(len(trial.plates))
    likeness = {by: _likeness(trial, work, columns, samples, by) for by in range(-MOST_PLACES, MOST_PLACES + 1)}
    best = max(likeness, key=lambda by: likeness[by])
    others = max(value for by, value in likeness.items() if by != best)
    if best == 0 or likeness[best] == 0 or 1 - likeness[best] > CLEARLY * (1 - others):
        return looked(len(trial.plates))
    fault = {
        "places": "one channel" if abs(best) == 1 else f"{abs(best)} channels",
        "side": "behind" if best > 0 else "before",
        "found": likeness[best],
        "as_is": likeness[0],
        "carried": carried,
        "place": "analog channels",
        "moment_s": 0.0,
        "shows": shown.places_of_channels(likeness, carried, weight_fraction),
    }
    return looked(len(trial.plates), [fault])


def _verticals(trial: Trial) -> tuple[list[list[int]], FloatArray | None]:
    """Columns of each plate's vertical channels, and all analog channels (n, c) in the order of the file."""
    description = trial.facts.description
    own = {plate.number: plate for plate in trial.plates}
    if description is None:
        return [], None
    says = [plate for plate in description.plates.plates if plate.number in own and plate.c3d_type in VERTICAL]
    taken = {c - 1: own[plate.number].raw[:, i] for plate in says for i, c in enumerate(plate.channels)}
    count = description.read_as.channels
    if len(says) != len(trial.plates) or len(taken) + len(trial.channels) != count:
        return [], None
    others = iter(trial.channels)
    every = [taken[i] if i in taken else next(others).samples for i in range(count)]
    return [[plate.channels[i] - 1 for i in VERTICAL[plate.c3d_type]] for plate in says], np.stack(every, axis=1)


def _signal(columns: list[list[int]], samples: FloatArray, by: int) -> FloatArray | None:
    """(n,) the channels ``by`` places beside the vertical ones, each plate's by its largest; None if all are still."""
    total = np.zeros(len(samples))
    for own in columns:
        signal = samples[:, [(column + by) % samples.shape[1] for column in own]].sum(axis=1)
        signal = signal - np.median(signal)
        largest = np.abs(signal).max()
        if largest > 0:  # a plate that nobody met may read nothing
            total += signal / largest
    return total if np.isfinite(total).all() and total.any() else None


def _likeness(trial: Trial, work: Workspace, columns: list[list[int]], samples: FloatArray, by: int) -> float:
    """How much that signal moves as the pelvis does, 0 where it does not; its sign does not matter."""
    signal, rate = _signal(columns, samples, by), rate_of(trial)
    if signal is None:
        return 0.0
    loaded = np.flatnonzero(np.abs(signal) > LOADED * np.abs(signal).max())
    span = loaded[0] / rate, loaded[-1] / rate
    lags = [lag_of_vertical(trial, sign * signal, rate, work.processing.joints, *span) for sign in (1.0, -1.0)]
    return max((lag.likeness for lag in lags if lag is not None and abs(lag.lag_s) < MOST_LAG_S), default=0.0)
