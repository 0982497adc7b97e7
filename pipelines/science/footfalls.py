"""Assembles the ``footfalls`` table of one trial. Definitions and formulas stand with the functions called here."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipelines.science.events.from_force import SIDES
from pipelines.science.footfall_signals import Signals
from pipelines.science.frames import Rows, computed_fields
from pipelines.science.gait import bounce, spatiotemporal, stiffness
from pipelines.science.gait.spatiotemporal import Footfall
from pipelines.science.signals.sampling import stretch
from pipelines.science.strikes import strike_columns
from schemas.model import Field
from schemas.outcomes import FOOTFALLS
from schemas.processing import Processing
from schemas.trial import Posture, Trial

#: What this module fills: everything but provenance, which is added where the row is stored.
COLUMNS: tuple[Field, ...] = computed_fields(FOOTFALLS)


def footfall_rows(signals: Signals, posture: Posture | None, speed_m_per_s: float | None) -> Rows:
    """One row per complete footfall, in order of time: ``footfalls`` less provenance.

    Contacts come from the summed vertical force, or without force plates from foot sensors or markers (see
    ``Contacts.believed``); a contact whose foot cannot be told (no markers, or hidden ones) is left out of the table,
    since no outcome of it can be used, but still parts the steps before and after it. Every column of force is null
    without plates or body mass, stiffness without body mass, every angle without ``posture``; see the field
    descriptions for the rest. Classes of foot strike are left null (``with_classes``). A trial without any
    gives no rows. Bad signals give nulls, not errors.
    """
    footfalls = signals.footfalls
    own = [i for i, footfall in enumerate(footfalls) if footfall.side is not None]
    rows: list[dict[str, Any]] = []
    for number, i in enumerate(own, start=1):
        row = _identity(signals.trial, signals, footfalls[i], number)
        row |= _times_and_distances(footfalls, i, signals, speed_m_per_s)
        row |= signals.forces[i]
        row |= _stiffness(signals.trial, row)
        rows.append(row | _bounce(signals, i))
    for row, strike in zip(rows, strike_columns(signals, [footfalls[i] for i in own], posture, rows), strict=True):
        row.update(strike)
    blank = dict.fromkeys(field.name for field in COLUMNS)  # a family that has no signal fills nothing
    return Rows.of(FOOTFALLS, ({**blank, **row} for row in rows))


def roles_of_footfalls(processing: Processing) -> set[str]:
    """Landmarks, without their sides, that footfalls and running speed are worked out from."""
    foot = processing.heel_role, processing.forefoot_role, processing.toe_role, processing.joints.ankle_role
    return {*foot, *processing.speed_roles}


def mean_speed(trial: Trial, processing: Processing) -> float | None:
    """Running speed in m/s: the belt's, as measured or else as set; on a runway the trunk's (``runway_speed``)."""
    if trial.surface == "treadmill":
        return trial.belt_speed_m_per_s or trial.set_speed_m_per_s
    return spatiotemporal.runway_speed(trial.markers, processing.speed_roles, trial.marker_rate_hz)


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


def _stiffness(trial: Trial, row: dict[str, Any]) -> dict[str, Any]:
    if trial.mass_kg is None or not trial.mass_kg > 0:
        return {}
    model = trial.mass_kg, row["contact_time_s"], row["flight_time_s"]
    return {
        "vertical_stiffness_kn_per_m": stiffness.vertical_stiffness(*model),
        "leg_stiffness_kn_per_m": stiffness.leg_stiffness(*model, trial.leg_length_m, row["speed_m_per_s"]),
    }


def _bounce(signals: Signals, i: int) -> dict[str, Any]:
    """How the centre of mass falls and rises; needs every contact of the stride in force."""
    footfalls = signals.footfalls
    then, last = spatiotemporal.next_of_other_foot(footfalls, i), spatiotemporal.next_of_same_foot(footfalls, i)
    if not signals.has_force or then is None or last is None:
        return {}
    contact = footfalls[i].contact
    times, both = stretch(signals.both, signals.rate, contact.start_s, footfalls[last].contact.start_s)
    height = bounce.heights(times, both[:, 1])
    carried, step = (int(np.searchsorted(times, end)) for end in (contact.end_s, footfalls[then].contact.start_s))
    low = float(height[: carried + 1].min())
    return {
        "centre_of_mass_fall_m": -low,
        "centre_of_mass_oscillation_m": float(height[: step + 1].max()) - low,
        "measured_vertical_stiffness_kn_per_m": float(both[: carried + 1, 3].max()) / -low / 1000 if low < 0 else None,
    }
