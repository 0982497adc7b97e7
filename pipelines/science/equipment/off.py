"""What it is worth in the footfalls' outcomes if events by another method than force, or markers, are off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from pipelines.science.equipment.doubt import BELT, RECTANGULAR, UNKNOWN_BELT, Doubt, EventDoubt
from pipelines.science.equipment.moved import Moves, by_column, numbers_of, root_mean_square
from pipelines.science.events.from_force import SIDES
from pipelines.science.footfall_signals import Signals
from pipelines.science.frames import Rows
from pipelines.science.gait import foot_strike, spatiotemporal, stiffness
from pipelines.science.signals.filters import white_noise_left
from pipelines.science.strikes import FALLING_S, falling_speeds
from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import FloatArray, Trial

#: How far events are moved to see what it does: smaller than a frame of most cameras, and places are interpolated.
_STEP_S = 0.002
#: An outcome of a footfall hangs on its own events and those of the next two.
_APART = 3


@dataclass(frozen=True)
class Worth:
    """Part of an uncertainty -> outcome -> what it is worth; and by how many s it moves contact and toe-off."""

    parts: dict[str, Moves]
    events: dict[str, tuple[float, float]] = field(default_factory=dict)


def by_events(plain: Rows, moved: Callable[[FloatArray, FloatArray], Rows], doubt: EventDoubt) -> Worth:
    """What events are worth in the outcomes of footfalls ``plain``, one after the other.

    moved: the same footfalls with contacts and toe-offs (n,) later by so many seconds. Every third event is moved at a
    time, so that all that an outcome hangs on is moved by itself; scatter then adds as squares, bias as a sum.
    """
    here, count = numbers_of(plain), len(plain)
    still = np.zeros(count)
    slopes = []
    for event in range(2):
        for first in range(_APART):
            late = still.copy()
            late[first::_APART] = _STEP_S
            changed = moved(late, still) if event == 0 else moved(still, late)
            slopes.append((numbers_of(changed) - here) / _STEP_S)
    contact, toe_off = np.array(slopes[:_APART]), np.array(slopes[_APART:])
    squares = (
        (doubt.contact_bias_s * contact.sum(axis=0)) ** 2
        + (doubt.toe_off_bias_s * toe_off.sum(axis=0)) ** 2
        + (doubt.contact_scatter_s**2) * (contact**2).sum(axis=0)
        + (doubt.toe_off_scatter_s**2) * (toe_off**2).sum(axis=0)
    )
    events = (
        float(np.hypot(doubt.contact_bias_s, doubt.contact_scatter_s)),
        float(np.hypot(doubt.toe_off_bias_s, doubt.toe_off_scatter_s)),
    )
    worth = Worth({"events": by_column(np.sqrt(squares))}, {"events": events})
    if doubt.clock_s:
        worth.parts["lag"] = by_column(doubt.clock_s * (contact + toe_off).sum(axis=0))
        worth.events["lag"] = doubt.clock_s, doubt.clock_s
    return worth


def by_markers(trial: Trial, signals: Signals, footfalls: Rows, doubt: Doubt) -> dict[str, float]:
    """What places of markers are worth in the outcomes of footfalls of the trial, in closed form, column by column."""
    settings, rate = signals.processing, trial.marker_rate_hz
    left = white_noise_left(settings.filter_order, settings.marker_cutoff_hz, rate)[0]
    place = float(np.hypot(doubt.marker_sits_m, doubt.marker_shakes_m * left))
    worth: dict[str, float] = {}
    length = _length(signals, settings.heel_role, settings.forefoot_role)
    if np.isfinite(footfalls.numbers("foot_strike_angle_deg")).any() and length > 0:
        worth["foot_strike_angle_deg"] = foot_strike.angle_uncertainty(length, place)
    index = footfalls.numbers("strike_index_percent")
    length = _length(signals, settings.heel_role, settings.toe_role)
    if np.isfinite(index).any() and length > 0:
        each = foot_strike.index_uncertainty(
            index, length, place, settings.strike_index_toe_fraction, doubt.plates_sit_m
        )
        worth["strike_index_percent"] = float(root_mean_square(each[None])[0])
    masses = footfalls.numbers("effective_mass_fraction")
    if np.isfinite(masses).any():
        own = [one for one in signals.footfalls if one.side is not None][: len(footfalls)]
        fall, noise = falling_speeds(signals, own)
        stopped = fall + STANDARD_GRAVITY * footfalls.numbers("impact_peak_time_s")
        off = np.hypot(doubt.marker_shakes_m * noise, doubt.foot_skin_m / FALLING_S)  # skin moves so far in that time
        worth["effective_mass_fraction"] = float(root_mean_square((masses * off / stopped)[None])[0])
    if trial.surface == "treadmill":
        return worth | _by_belt(trial, signals, footfalls)
    slopes = spatiotemporal.trunk_slopes(trial.markers, settings.speed_roles, rate)
    shaken = spatiotemporal.speed_uncertainty(slopes, doubt.marker_shakes_m, doubt.marker_sits_m)
    speed = float(np.hypot(shaken, doubt.marker_scale * _median(footfalls.numbers("speed_m_per_s"))))
    worth |= {"speed_m_per_s": speed, "leg_stiffness_kn_per_m": _leg_stiffness(trial, footfalls, speed)}
    for name in ("step_length_m", "stride_length_m"):
        lengths = footfalls.numbers(name)
        if np.isfinite(lengths).any():
            worth[name] = float(np.hypot(2**0.5 * place, doubt.marker_scale * np.nanmedian(lengths)))
    return worth


def _by_belt(trial: Trial, signals: Signals, footfalls: Rows) -> dict[str, float]:
    """What the speed that the tables tell of a belt is worth: off by what the feet on it say, if they say anything."""
    told, seen = (
        footfalls.numbers("speed_m_per_s"),
        spatiotemporal.belt_speeds(trial.markers, signals.processing.forefoot_role, trial.marker_rate_hz, footfalls),
    )
    if not np.isfinite(told).any():
        return {}
    speed = float(np.nanmedian(told))
    off = float(np.median(seen)) / speed - 1 if len(seen) else UNKNOWN_BELT * RECTANGULAR
    part = float(np.hypot(off, BELT))
    lengths = {
        name: part * float(np.nanmedian(footfalls.numbers(name)))
        for name in ("step_length_m", "stride_length_m")
        if np.isfinite(footfalls.numbers(name)).any()
    }
    return {
        "speed_m_per_s": part * speed,
        "leg_stiffness_kn_per_m": _leg_stiffness(trial, footfalls, part * speed),
        **lengths,
    }


def _median(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _length(signals: Signals, heel_role: str, front_role: str) -> float:
    """Distance in m of two markers of the foot, mean of the feet that have both; NaN without one."""
    lengths = []
    for side in SIDES:
        heel, front = signals.marker(heel_role, side), signals.marker(front_role, side)
        if heel is not None and front is not None:
            apart = np.linalg.norm(front - heel, axis=1)
            lengths += [float(np.median(apart[np.isfinite(apart)]))] if np.isfinite(apart).any() else []
    return float(np.mean(lengths)) if lengths else float("nan")


def _leg_stiffness(trial: Trial, footfalls: Rows, faster_m_per_s: float) -> float:
    """By how much it changes if the runner was so much faster; NaN where it is not known."""
    if trial.mass_kg is None or trial.leg_length_m is None or not np.isfinite(faster_m_per_s):
        return float("nan")
    moved = []
    for row in footfalls.records:
        if np.isfinite(row["leg_stiffness_kn_per_m"]):
            faster = row["speed_m_per_s"] + faster_m_per_s
            model = trial.mass_kg, row["contact_time_s"], row["flight_time_s"], trial.leg_length_m, faster
            other = stiffness.leg_stiffness(*model)
            moved.append(np.nan if other is None else other - row["leg_stiffness_kn_per_m"])
    return float(root_mean_square(np.array([moved], float))[0]) if moved else float("nan")
