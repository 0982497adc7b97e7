"""The rows of ``equipment_readings``: what the plates, the force as a whole and the clocks showed in one trial."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from pipelines.science.equipment.lag import Lag, lag_of_force
from pipelines.science.equipment.plates import PlateReading
from pipelines.science.events.ground import Ground
from pipelines.science.frames import Rows
from pipelines.science.trial_outcomes import longest_run, trial_mass_from_force
from schemas.equipment import ALL_PLATES, EQUIPMENT_READINGS
from schemas.processing import Processing
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Trial

#: Own choice: the part of contact in which what is faster than the cut-off is vibration, and not the landing.
_UNDER_LOAD = 0.2, 0.9
_TURN = 3 + UP  # the moment about the vertical in a wrench


def equipment_rows(
    trial: Trial, readings: Sequence[PlateReading], ground: Ground, footfalls: Rows, processing: Processing
) -> Rows:
    """One row per plate, and one of all of them; none of a trial without force.

    trial: as outcomes see it. readings: of the trial as recorded. ground, footfalls: of the same trial.
    """
    if not ground.plates:
        return Rows.of(EQUIPMENT_READINGS, [])
    known = {reading.number: reading for reading in readings}
    blank = dict.fromkeys(EQUIPMENT_READINGS.column_names)
    rows: list[dict[str, Any]] = []
    for place, plate in enumerate(ground.plates):
        row = blank | {"trial_id": trial.trial_id, "device": f"plate_{plate.number}"}
        if (reading := known.get(plate.number)) is not None:
            row |= _level(reading, processing.largest_level_n)
        rows.append(row | _vibration(ground, place, processing.event_cutoff_hz))
    whole = blank | {"trial_id": trial.trial_id, "device": ALL_PLATES}
    whole["scale_ratio"] = _scale(trial, footfalls)
    if (lag := _lag(trial, ground, footfalls, processing)) is not None:
        whole |= {"lag_s": lag.lag_s, "lag_uncertainty_s": lag.uncertainty_s}
    rows.append(whole)
    return Rows.of(EQUIPMENT_READINGS, rows)


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
