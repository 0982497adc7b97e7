"""How the foot of each footfall strikes: angle, index and effective mass, with their markers read at contact.

Classes follow from angle and index and from how sure these are, so that they are given last (``with_classes``).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from pipelines.science.events.from_force import SIDES
from pipelines.science.footfall_signals import Signals
from pipelines.science.frames import Column, Rows
from pipelines.science.gait import bounce, foot_strike
from pipelines.science.gait.spatiotemporal import Footfall
from pipelines.science.signals.sampling import integral, stretch, values_at
from schemas.processing import Processing
from schemas.trial import UP, FloatArray, Posture

#: Own choice: how long before contact the ankle is looked at, shorter than its fall, and in how many frames at least.
FALLING_S, _FRAMES = 0.05, 5


def strike_columns(
    signals: Signals, footfalls: Sequence[Footfall], posture: Posture | None, rows: Sequence[Mapping[str, Any]]
) -> Iterator[dict[str, Any]]:
    """How the foot of each footfall strikes. All have a side; rows: what is known of them already."""
    angles, indices = _strike_angles(signals, footfalls, posture), _strike_indices(signals, footfalls)
    falls = falling_speeds(signals, footfalls)[0]
    for footfall, row, angle, index, fall in zip(
        footfalls, rows, _known(angles), _known(indices), falls.tolist(), strict=True
    ):
        yield {
            "foot_strike_angle_deg": angle,
            "strike_index_percent": index,
            "tibial_acceleration_peak_in_g": _shin_peak(signals, footfall),
            "effective_mass_fraction": _effective_mass(signals, footfall, row.get("impact_peak_time_s"), fall),
        }


def with_classes(footfalls: Rows, uncertainties: Rows, processing: Processing) -> Rows:
    """The same footfalls with their classes; uncertainties: of the same trial, as in ``outcome_uncertainties``."""
    listed, own = uncertainties.columns["outcome"], uncertainties.numbers("standard_uncertainty_value")
    off = dict(zip(listed, own.tolist(), strict=True))
    cutoffs = processing.strike_angle_rearfoot_deg, processing.strike_angle_forefoot_deg
    angle_off, index_off = (off.get(name, math.nan) for name in ("foot_strike_angle_deg", "strike_index_percent"))
    by_angle = [
        foot_strike.class_by_angle(value, angle_off, *cutoffs)
        for value in _known(footfalls.numbers("foot_strike_angle_deg"))
    ]
    by_index = [
        foot_strike.class_by_index(value, index_off) for value in _known(footfalls.numbers("strike_index_percent"))
    ]
    agree = [foot_strike.classes_agree(one, other) for one, other in zip(by_angle, by_index, strict=True)]
    classes: dict[str, Column] = {
        "strike_class_by_angle": by_angle,
        "strike_class_by_index": by_index,
        "strike_classes_agree": agree,
    }
    return Rows.of_columns(footfalls.table, {**footfalls.columns, **classes})


def falling_speeds(signals: Signals, footfalls: Sequence[Footfall]) -> FloatArray:
    """(2, m) of the ankle marker as recorded, at contact: m/s downward, and what white noise of 1 m is worth in it.

    NaN where it is not seen in every frame of the time before that is looked at, or in too few.
    """
    rate, found = signals.trial.marker_rate_hz, np.full((2, len(footfalls)), np.nan)
    for side, own in _by_side(footfalls):
        ankle = signals.trial.markers.get(f"{signals.processing.joints.ankle_role}_{side}")
        if ankle is None or not rate > 0:
            continue
        for i in own:
            contact_s = footfalls[i].contact.start_s
            frames = np.arange(math.ceil((contact_s - FALLING_S) * rate), math.floor(contact_s * rate) + 1)
            if len(frames) >= _FRAMES and frames[0] >= 0 and np.isfinite(heights := ankle[frames, UP]).all():
                found[:, i] = bounce.falling_speed(frames / rate - contact_s, heights)
    return found


def _shin_peak(signals: Signals, footfall: Footfall) -> float | None:
    shin = signals.shins.get(str(footfall.side))
    return shin.peak(footfall.contact.start_s, signals.processing.impact_latest_s) if shin is not None else None


def _effective_mass(signals: Signals, footfall: Footfall, lasts_s: float | None, fall: float) -> float | None:
    if lasts_s is None or signals.weight is None or not math.isfinite(fall):
        return None
    start_s = footfall.contact.start_s
    impulse_n_s = integral(*stretch(signals.both[:, 1], signals.rate, start_s, start_s + lasts_s))
    return bounce.effective_mass(impulse_n_s / signals.weight, fall, lasts_s)


def _known(values: FloatArray) -> list[float | None]:
    return [value if math.isfinite(value) else None for value in values.tolist()]


def _strike_angles(signals: Signals, footfalls: Sequence[Footfall], posture: Posture | None) -> FloatArray:
    """(m,) foot strike angles with markers interpolated at contact; NaN where a marker or the posture is missing."""
    roles, rate = (signals.processing.heel_role, signals.processing.forefoot_role), signals.trial.marker_rate_hz
    found = np.full(len(footfalls), np.nan)
    for side, own in _by_side(footfalls):
        moving = [path for role in roles if (path := signals.marker(role, side)) is not None]
        standing = [posture.markers.get(f"{role}_{side}") for role in roles] if posture else []
        still = [place for place in standing if place is not None]
        if len(moving) == len(still) == len(roles):
            contact_s = np.array([footfalls[i].contact.start_s for i in own])
            at_contact = [values_at(path, rate, contact_s) for path in moving]
            found[own] = foot_strike.foot_strike_angle(*at_contact, *still)
    return found


def _strike_indices(signals: Signals, footfalls: Sequence[Footfall]) -> FloatArray:
    """(m,) strike indices where the smoothed vertical force first reaches the study's force for them; else NaN."""
    settings, found = signals.processing, np.full(len(footfalls), np.nan)
    if not signals.has_force:
        return found
    force, rate = signals.filtered_vertical, signals.trial.marker_rate_hz
    for side, own in _by_side(footfalls):
        heel, toe = signals.marker(settings.heel_role, side), signals.marker(settings.toe_role, side)
        if heel is None or toe is None:
            continue
        spans = [(footfalls[i].contact.first, footfalls[i].contact.last) for i in own]
        when = [foot_strike.loaded_at(force, signals.rate, *span, settings.strike_index_force_n) for span in spans]
        loaded_s = np.array(when, float)  # NaN where there is none
        centre = values_at(signals.ground.centre_of_pressure, signals.rate, loaded_s)
        heel_then, toe_then = (values_at(path, rate, loaded_s) for path in (heel, toe))
        found[own] = foot_strike.strike_index(centre, heel_then, toe_then, settings.strike_index_toe_fraction)
    return found


def _by_side(footfalls: Sequence[Footfall]) -> Iterator[tuple[str, list[int]]]:
    for side in SIDES:
        if own := [i for i, footfall in enumerate(footfalls) if footfall.side == side]:
            yield side, own
