"""Assembles the ``footfalls`` table of one trial. Definitions and formulas stand with the functions called here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from pipelines.science.events.contacts import Contacts, has_force
from pipelines.science.events.from_force import SIDES
from pipelines.science.frames import Rows, computed_fields
from pipelines.science.gait import foot_strike, spatiotemporal, stiffness
from pipelines.science.gait.force import force_outcomes
from pipelines.science.gait.spatiotemporal import Footfall
from pipelines.science.signals.sampling import stretch, values_at
from pipelines.science.signals.smooth import SmoothMarkers
from schemas.mechanics import STANDARD_GRAVITY
from schemas.model import Field
from schemas.outcomes import FOOTFALLS
from schemas.processing import Processing
from schemas.trial import FORWARD, UP, FloatArray, Posture, Trial

#: What this module fills: everything but provenance, which is added where the row is stored.
COLUMNS: tuple[Field, ...] = computed_fields(FOOTFALLS)
_IN_PLANE = [FORWARD, UP]


def footfall_rows(signals: Signals, posture: Posture | None, speed_m_per_s: float | None) -> Rows:
    """One row per complete footfall, in order of time: ``footfalls`` less provenance.

    Contacts come from the summed vertical force, or without force plates from foot sensors or markers (see
    ``Contacts.believed``); a contact whose foot cannot be told (no markers, or hidden ones) is left out of the table,
    since no outcome of it can be used, but still parts the steps before and after it. Every column of force is null
    without plates or body mass, stiffness without body mass, every angle without ``posture``; see the field
    descriptions for the rest. A trial in which nothing is found gives no rows. Bad signals give nulls, not errors.
    """
    footfalls = signals.footfalls
    own = [i for i, footfall in enumerate(footfalls) if footfall.side is not None]
    strikes = _strikes(signals, [footfalls[i] for i in own], posture)
    rows: list[dict[str, Any]] = []
    for number, (i, strike) in enumerate(zip(own, strikes, strict=True), start=1):
        row = _identity(signals.trial, signals, footfalls[i], number)
        row |= _times_and_distances(footfalls, i, signals, speed_m_per_s)
        row |= signals.forces[i]
        row |= _stiffness(signals.trial, row)
        rows.append(row | strike)
    blank = dict.fromkeys(field.name for field in COLUMNS)  # a family that has no signal fills nothing
    return Rows.of(FOOTFALLS, ({**blank, **row} for row in rows))


def roles_of_footfalls(processing: Processing) -> set[str]:
    """Landmarks, without their sides, that footfalls and running speed are worked out from."""
    return {processing.heel_role, processing.forefoot_role, processing.toe_role, *processing.speed_roles}


def mean_speed(trial: Trial, processing: Processing) -> float | None:
    """Running speed in m/s: the belt's, as measured or else as set; on a runway the trunk's (``runway_speed``)."""
    if trial.surface == "treadmill":
        return trial.belt_speed_m_per_s or trial.set_speed_m_per_s
    return spatiotemporal.runway_speed(trial.markers, processing.speed_roles, trial.marker_rate_hz)


class Signals:
    """The signals of one trial as its footfalls need them.

    both: (n, 4) N, force forward and up, then both once more, filtered as for peaks.
    """

    def __init__(self, trial: Trial, processing: Processing, contacts: Contacts, smooth: SmoothMarkers) -> None:
        self.trial, self.processing, self._markers = trial, processing, smooth.paths
        self.has_force = has_force(trial)
        self.rate = trial.analog_rate_hz or 0.0
        self.ground = contacts.ground
        self.both = np.hstack([self.ground.raw[:, _IN_PLANE], self.ground.smooth[:, _IN_PLANE]])
        found = contacts.believed
        self.footfalls = [Footfall(contact, side) for side, contact, _ in found]
        self.method = found[0][2] if found else None
        mass = trial.mass_kg
        self.weight = mass * STANDARD_GRAVITY if mass is not None and mass > 0 else None

    @property
    def filtered_vertical(self) -> FloatArray:
        """(n,) N: vertical force filtered as for peaks; (0,) without force."""
        return self.both[:, 3]

    @cached_property
    def forces(self) -> list[dict[str, Any]]:
        """The columns of force of each footfall, in order; none of a foot that cannot be told."""
        return [_forces(self, one) if one.side is not None else {} for one in self.footfalls]

    def first(self, count: int, contact_late_s: FloatArray, toe_off_late_s: FloatArray) -> Signals:
        """The same with the first footfalls alone, their contacts and toe-offs (count,) later by so many seconds."""
        other = copy(self)
        late = zip(self.footfalls[:count], contact_late_s.tolist(), toe_off_late_s.tolist(), strict=True)
        other.footfalls = [_moved(footfall, *by) for footfall, *by in late]
        vars(other).pop("forces", None)  # those of other contacts
        return other

    def marker(self, role: str, side: str) -> FloatArray | None:
        """Path of one marker (frames, 3) m, or None if the trial lacks it."""
        return self._markers.get(f"{role}_{side}")


def _moved(footfall: Footfall, contact_s: float, toe_off_s: float) -> Footfall:
    contact = footfall.contact
    later = replace(contact, start_s=contact.start_s + contact_s, end_s=contact.end_s + toe_off_s)
    return replace(footfall, contact=later)


def _identity(trial: Trial, signals: Signals, footfall: Footfall, number: int) -> dict[str, Any]:
    contact = footfall.contact
    return {
        "trial_id": trial.trial_id,
        "footfall_number": number,
        "side": footfall.side,
        "contact_s": contact.start_s,
        "toe_off_s": contact.end_s,
        "event_method": signals.method,
        "plate_count": len(signals.ground.loaded(contact.start_s)) if signals.has_force else None,
    }


def _times_and_distances(
    footfalls: Sequence[Footfall], i: int, signals: Signals, speed: float | None
) -> dict[str, Any]:
    contact_s = spatiotemporal.contact_time(footfalls, i)
    step_s, stride_s = spatiotemporal.step_time(footfalls, i), spatiotemporal.stride_time(footfalls, i)
    if signals.trial.surface == "treadmill":
        step_m = spatiotemporal.belt_distance(speed, step_s)
        stride_m = spatiotemporal.belt_distance(speed, stride_s)
    else:
        found = {side: signals.marker(signals.processing.heel_role, side) for side in SIDES}
        heels = {side: path for side, path in found.items() if path is not None}
        ends = spatiotemporal.next_of_other_foot(footfalls, i), spatiotemporal.next_of_same_foot(footfalls, i)
        step_m, stride_m = (
            spatiotemporal.ground_distance(footfalls, i, j, heels, signals.trial.marker_rate_hz) for j in ends
        )
    return {
        "contact_time_s": contact_s,
        "flight_time_s": _flight_time(footfalls, i),
        "step_time_s": step_s,
        "stride_time_s": stride_s,
        "cadence_step_per_min": spatiotemporal.cadence(step_s),
        "step_length_m": step_m,
        "stride_length_m": stride_m,
        "speed_m_per_s": speed,
        "duty_factor_fraction": spatiotemporal.duty_factor(contact_s, step_s, stride_s),
    }


def _flight_time(footfalls: Sequence[Footfall], i: int) -> float | None:
    """Flight time, or None where the other foot lands first: events of two feet from sensors or markers may overlap."""
    flight_s = spatiotemporal.flight_time(footfalls, i)
    return flight_s if flight_s is not None and flight_s >= 0 else None


def _forces(signals: Signals, footfall: Footfall) -> dict[str, Any]:
    if signals.weight is None or not signals.has_force:
        return {}
    contact, settings = footfall.contact, signals.processing
    times, both = stretch(signals.both, signals.rate, contact.start_s, contact.end_s)
    force, filtered = both[:, :2], both[:, 2:]
    return force_outcomes(
        times,
        force,
        filtered,
        signals.weight,
        impact_window_fraction=settings.impact_window_fraction,
        impact_prominence_bw=settings.impact_prominence_bw,
        loading_fraction=settings.loading_fraction,
    )


def _stiffness(trial: Trial, row: dict[str, Any]) -> dict[str, Any]:
    if trial.mass_kg is None or not trial.mass_kg > 0:
        return {}
    model = trial.mass_kg, row["contact_time_s"], row["flight_time_s"]
    return {
        "vertical_stiffness_kn_per_m": stiffness.vertical_stiffness(*model),
        "leg_stiffness_kn_per_m": stiffness.leg_stiffness(*model, trial.leg_length_m, row["speed_m_per_s"]),
    }


def _strikes(signals: Signals, footfalls: Sequence[Footfall], posture: Posture | None) -> Iterator[dict[str, Any]]:
    """How the foot of each footfall strikes; all have a side."""
    settings = signals.processing
    cutoffs = settings.strike_angle_rearfoot_deg, settings.strike_angle_forefoot_deg
    for angle, index in zip(
        _known(_strike_angles(signals, footfalls, posture)), _known(_strike_indices(signals, footfalls)), strict=True
    ):
        by_angle = foot_strike.class_by_angle(angle, *cutoffs)
        by_index = foot_strike.class_by_index(index)
        yield {
            "foot_strike_angle_deg": angle,
            "strike_class_by_angle": by_angle,
            "strike_index_percent": index,
            "strike_class_by_index": by_index,
            "strike_classes_agree": foot_strike.classes_agree(by_angle, by_index),
        }


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
