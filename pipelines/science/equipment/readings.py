"""The rows of ``equipment_readings``: what plates, force, clusters, clocks and cameras showed in one trial."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from pipelines.science.equipment.lag import Lag, lag_of_force
from pipelines.science.equipment.plates import PlateReading
from pipelines.science.events.from_force import SIDES
from pipelines.science.events.ground import Ground
from pipelines.science.frames import Rows
from pipelines.science.trial_outcomes import longest_run, trial_mass_from_force
from schemas.equipment import ALL_PLATES, CAMERAS, CLUSTER, EQUIPMENT_READINGS, SECOND_CLOCK
from schemas.processing import Processing
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Trial

#: Own choice: the part of contact in which what is faster than the cut-off is vibration, and not the landing.
_UNDER_LOAD = 0.2, 0.9
_TURN = 3 + UP  # the moment about the vertical in a wrench


def equipment_rows(
    trial: Trial,
    readings: Sequence[PlateReading],
    ground: Ground,
    footfalls: Rows,
    processing: Processing,
    clock: Mapping[str, Any] | None = None,
) -> Rows:
    """Of a running trial one row per plate, one of all of them, one per cluster that carries, one of a second clock.

    trial: as outcomes see it. readings: of the trial as recorded. ground, footfalls: of the same trial. clock: its row
    of ``clock_fits``.
    """
    blank = dict.fromkeys(EQUIPMENT_READINGS.column_names)
    rows = list(_plates(trial, readings, ground, footfalls, processing)) if ground.plates else []
    for cluster, misfit in trial.misfits_m.items():
        known = misfit[np.isfinite(misfit)]
        found = float(np.median(known)) if len(known) else None
        rows.append(blank | {"trial_id": trial.trial_id, "device": f"{CLUSTER}{cluster}", "misfit_m": found})
    if clock is not None:
        rows.append(blank | {"trial_id": trial.trial_id, "device": SECOND_CLOCK} | _clock(clock))
    return Rows.of(EQUIPMENT_READINGS, rows)


def camera_rows(trial: Trial, processing: Processing) -> Rows:
    """Of a standing trial the row of its cameras."""
    blank = dict.fromkeys(EQUIPMENT_READINGS.column_names)
    scale = _marker_scale(trial, processing)
    row = blank | {"trial_id": trial.trial_id, "device": CAMERAS, "marker_scale_ratio": scale}
    return Rows.of(EQUIPMENT_READINGS, [row])


def _marker_scale(trial: Trial, processing: Processing) -> float | None:
    """Hip to ankle marker over leg length, mean of the legs that have both; None without any or without the length."""
    if not trial.leg_length_m or not trial.leg_length_m > 0:
        return None
    lengths = []
    for side in SIDES:
        ends = [
            trial.markers.get(f"{role}_{side}") for role in (processing.joints.hip_role, processing.joints.ankle_role)
        ]
        places = [np.nanmean(path, axis=0) for path in ends if path is not None and np.isfinite(path).any(axis=0).all()]
        if len(places) == len(ends):
            lengths.append(float(np.linalg.norm(places[0] - places[1])))
    return float(np.mean(lengths)) / trial.leg_length_m if lengths else None


def _clock(clock: Mapping[str, Any]) -> dict[str, Any]:
    names = ("clock_offset_s", "clock_drift_ppm", "clock_drift_error_ppm")
    if not clock["is_matched"]:
        return {}
    return {name: clock[name] for name in names} | {"clock_residual_s": clock["residual_s"]}


def _plates(
    trial: Trial, readings: Sequence[PlateReading], ground: Ground, footfalls: Rows, processing: Processing
) -> Iterator[dict[str, Any]]:
    known = {reading.number: reading for reading in readings}
    blank = dict.fromkeys(EQUIPMENT_READINGS.column_names)
    for place, plate in enumerate(ground.plates):
        row = blank | {"trial_id": trial.trial_id, "device": f"plate_{plate.number}"}
        if (reading := known.get(plate.number)) is not None:
            row |= _level(reading, processing.largest_level_n)
        yield row | _vibration(ground, place, processing.event_cutoff_hz)
    whole = blank | {"trial_id": trial.trial_id, "device": ALL_PLATES}
    whole["scale_ratio"] = _scale(trial, footfalls)
    if (lag := _lag(trial, ground, footfalls, processing)) is not None:
        whole |= {"lag_s": lag.lag_s, "lag_uncertainty_s": lag.uncertainty_s}
    yield whole


def _level(reading: PlateReading, most_n: float) -> dict[str, Any]:
    return {
        "unloaded_samples": reading.samples,
        "level_n": float(reading.force_n[UP]),
        "level_fore_aft_n": float(reading.force_n[FORWARD]),
        "level_sideways_n": float(reading.force_n[RIGHT]),
        "level_nm": float(np.abs(reading.moment_nm).max()),
        "level_change_n": reading.drift_n,
        "level_was_taken_off": reading.largest_n <= most_n,
        "noise_n": float(reading.noise_n[UP]),
        "dead_band_n": reading.dead_band_n,
    }


def _vibration(ground: Ground, place: int, cutoff_hz: float | None) -> dict[str, Any]:
    """What is faster than the cut-off for events while the plate alone carries a contact."""
    spans = list(_under_load(ground, place)) if cutoff_hz is not None else []
    if not spans or cutoff_hz is None:
        return {}
    plate, smooth = ground.plates[place], ground.below(cutoff_hz, (place,))
    raw = np.hstack([plate.force, plate.moment])
    fast = [(raw[a:b] - smooth[a:b])[:, [UP, _TURN]] for a, b in spans]
    if not all(np.isfinite(part).all() for part in fast):
        return {}
    vertical, turn = np.sqrt(np.mean(np.concatenate(fast) ** 2, axis=0))
    return {
        "vibration_n": float(vertical),
        "vibration_nm": float(turn),
        "vibration_hz": _strongest(fast, ground.rate_hz),
    }


def _under_load(ground: Ground, place: int) -> Iterator[tuple[int, int]]:
    for contact in ground.contacts:
        a, b = (contact.first + round(share * (contact.last - contact.first)) for share in _UNDER_LOAD)
        if ground.loaded(contact.start_s) == (place,) and b - a >= 8:
            yield a, b


def _strongest(parts: Sequence[FloatArray], rate_hz: float) -> float:
    """Frequency in Hz at which the vertical parts (m, 2) have most power, on average over them."""
    length = 1 << (max(map(len, parts)) - 1).bit_length()
    power = np.mean([np.abs(np.fft.rfft(part[:, 0] * np.hanning(len(part)), length)) ** 2 for part in parts], axis=0)
    return float(np.argmax(power) * rate_hz / length)


def _scale(trial: Trial, footfalls: Rows) -> float | None:
    mass = trial_mass_from_force(trial, footfalls)
    return mass / trial.mass_kg if mass is not None and trial.mass_kg and trial.mass_kg > 0 else None


def _lag(trial: Trial, ground: Ground, footfalls: Rows, processing: Processing) -> Lag | None:
    start, stop = longest_run(footfalls)
    if stop - start < 2:
        return None
    first, last = footfalls.numbers("contact_s")[start], footfalls.numbers("toe_off_s")[stop - 1]
    return lag_of_force(trial, ground, processing.joints, float(first), float(last))
