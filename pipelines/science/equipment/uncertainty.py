"""How far the outcomes of a trial's footfalls can be trusted: each input off by its own standard uncertainty in turn.

What an input may be off by follows from the trial's equipment readings; what that is worth is found by computing the
first footfalls again (propagation by perturbation, as in JCGM 100:2008, 5.1.3, note 2, from memory). Parts that are
independent add as squares. What a method itself does (another definition of contact, another filter) is no part of it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.science.equipment.plates import PlateReading
from pipelines.science.frames import Rows, computed_fields
from schemas.equipment import ALL_PLATES, OUTCOME_UNCERTAINTIES
from schemas.model import Kind
from schemas.outcomes import FOOTFALLS
from schemas.trial import UP, FloatArray, Plate, Trial

#: How many footfalls are computed again, and how much of the recording is kept on both sides of them (own choices).
FOOTFALLS_AGAIN, MARGIN_S = 6, 0.4
#: Gain and body mass cannot be told apart, and six real runs lay up to 4.5 % below a mass taken on another scale (taken
#: as a rectangular distribution). Marker positions: 1 mm, common practice for a calibrated volume.
UNSEEN_SCALE, MARKER_M = 0.045, 0.001
#: Where neither mean force nor the pelvis can tell: the limits at which trials go back.
UNKNOWN_SCALE, UNKNOWN_LAG_S = 0.12, 0.03
#: Own choice: with a single draw what hangs on one slope, such as speed, can come out far too sure.
MARKER_DRAWS = 4
_RECTANGULAR = 3**-0.5
#: Own choice: less than that is the noise of the reading, and not worth computing for.
SMALLEST_DRIFT_N = 0.5

_NOT_JUDGED = {"contact_s", "toe_off_s"}
#: Columns of footfalls that have an uncertainty.
JUDGED = tuple(c for c in computed_fields(FOOTFALLS) if c.kind is Kind.REAL and c.name not in _NOT_JUDGED)
Again = Callable[[Trial], Rows]


@dataclass(frozen=True)
class Doubt:
    """Standard uncertainties of the inputs, by plate number or of the whole.

    drift_n: how far a level was seen to wander from start to end. scale: as a part of 1.
    """

    level_n: Mapping[int, float]
    drift_n: Mapping[int, float]
    noise_n: Mapping[int, float]
    scale: float
    lag_s: float


def doubt_of(readings: Sequence[PlateReading], equipment: Rows, marker_rate_hz: float) -> Doubt:
    """What the inputs of a trial may be off by. equipment: its ``equipment_readings``."""
    by_device = {row["device"]: row for row in equipment.records}
    level, noise = {}, {}
    for reading in readings:
        seen = by_device[f"plate_{reading.number}"]
        vibration = seen["vibration_n"] if np.isfinite(seen["vibration_n"]) else 0.0
        dead = (reading.dead_band_n or 0.0) * _RECTANGULAR  # any level below it would have been cut away
        left = float(reading.noise_n.max()) / reading.samples**0.5
        level[reading.number] = float(np.hypot(dead, left))
        noise[reading.number] = max(float(reading.noise_n[UP]), vibration)
    whole = by_device[ALL_PLATES]
    scale, lag = abs(whole["scale_ratio"] - 1), whole["lag_s"]
    frame_s = 1 / marker_rate_hz if marker_rate_hz > 0 else 0.0
    return Doubt(
        level,
        {reading.number: 1.5 * reading.drift_n for reading in readings},  # from middle to middle of thirds it is 2/3
        noise,
        max(UNSEEN_SCALE * _RECTANGULAR, scale) if np.isfinite(scale) else UNKNOWN_SCALE * _RECTANGULAR,
        float(np.hypot(lag, np.hypot(whole["lag_uncertainty_s"], frame_s / 2 * _RECTANGULAR)))
        if np.isfinite(lag)
        else UNKNOWN_LAG_S * _RECTANGULAR,
    )


def uncertainty_rows(part: Trial, plain: Rows, doubt: Doubt, by_force: Again, by_markers: Again) -> Rows:
    """Rows of ``outcome_uncertainties`` less provenance; none of a trial without footfalls.

    part: what ``first_footfalls`` left of the trial. plain: its footfalls. by_force: computes the footfalls of the part
    with changed plates, as they are, that is, without taking a level off once more; by_markers: with changed markers.
    """
    count = len(plain)
    if not count:
        return Rows.of(OUTCOME_UNCERTAINTIES, [])
    parts = {name: _changes(plain, by_force(changed)) for name, changed in _perturbed(part, doubt).items()}
    chance = np.random.default_rng(2)
    parts["markers"] = _mean_of([_changes(plain, by_markers(_shaken(part, chance))) for _ in range(MARKER_DRAWS)])
    drift = parts.pop("drift", {})
    parts["level"] = {name: _together(value, drift.get(name, np.nan)) for name, value in parts["level"].items()}
    rows = []
    for column in JUDGED:
        own = {f"from_{name}_value": change[column.name] for name, change in parts.items()}
        known = [value for value in own.values() if np.isfinite(value)]
        if not any(value > 1e-12 for value in known):  # nothing that is read of the equipment moves it
            continue
        rows.append(
            {
                "trial_id": part.trial_id,
                "outcome": column.name,
                "outcome_unit": column.unit,
                "standard_uncertainty_value": float(np.sqrt(np.sum(np.square(known)))),
                **own,
                "footfall_count": count,
            }
        )
    return Rows.of(OUTCOME_UNCERTAINTIES, rows)


def _together(one: float, other: float) -> float:
    """Root of the sum of squares of those that are known; NaN if neither is."""
    known = [value for value in (one, other) if np.isfinite(value)]
    return float(np.sqrt(np.sum(np.square(known)))) if known else float("nan")


def first_footfalls(trial: Trial, footfalls: Rows, roles: Collection[str]) -> Trial:
    """The recording cut to its first footfalls, and to markers of these roles; times count from where it then begins.

    trial: as outcomes see it. footfalls: its own, at least one. roles: without their sides.
    """
    last = min(FOOTFALLS_AGAIN, len(footfalls)) - 1
    start = max(0.0, footfalls.numbers("contact_s")[0] - MARGIN_S)
    stop = footfalls.numbers("toe_off_s")[last] + MARGIN_S
    rate, force_rate = trial.marker_rate_hz, trial.analog_rate_hz or 0.0
    first = int(start * rate)
    frames = slice(first, int(stop * rate) + 1)
    begin = round(first / rate * force_rate) if rate > 0 else int(start * force_rate)
    samples = slice(begin, int(stop * force_rate) + 1)
    names = {f"{role}{side}" for role in roles for side in ("", "_left", "_right")}
    return replace(
        trial,
        markers={name: path[frames] for name, path in trial.markers.items() if name in names},
        filled={name: flags[frames] for name, flags in trial.filled.items()},
        plates=tuple(replace(p, force=p.force[samples], moment=p.moment[samples]) for p in trial.plates),
    )


def _perturbed(trial: Trial, doubt: Doubt) -> dict[str, Trial]:
    """Part of the uncertainty -> the trial with that input off by its standard uncertainty; the same each time."""
    chance = np.random.default_rng(1)
    length = len(trial.plates[0].force)

    def level(plate: Plate) -> Plate:
        return _with_force(plate, np.full((length, 3), doubt.level_n.get(plate.number, 0.0)))

    def drift(plate: Plate) -> Plate:
        return _with_force(
            plate, np.outer(np.linspace(-0.5, 0.5, length), [0.0, doubt.drift_n.get(plate.number, 0.0), 0.0])
        )

    def noise(plate: Plate) -> Plate:
        size = doubt.noise_n.get(plate.number, 0.0)
        return _with_force(plate, chance.normal(0, size, (length, 3)) * [0.5, 1.0, 0.5])

    def gain(plate: Plate) -> Plate:
        return replace(plate, force=plate.force * (1 + doubt.scale), moment=plate.moment * (1 + doubt.scale))

    def late(plate: Plate) -> Plate:
        samples = max(1, round(doubt.lag_s * (trial.analog_rate_hz or 1.0)))
        return replace(plate, force=_later(plate.force, samples), moment=_later(plate.moment, samples))

    changed = {
        name: replace(trial, plates=tuple(map(change, trial.plates)))
        for name, change in (("level", level), ("noise", noise), ("scale", gain), ("lag", late))
    }
    if max(map(abs, doubt.drift_n.values()), default=0.0) > SMALLEST_DRIFT_N:
        changed["drift"] = replace(trial, plates=tuple(map(drift, trial.plates)))
    return changed


def _mean_of(draws: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Root mean square over draws, of each column over those that tell."""
    found = {}
    for column in JUDGED:
        known = [draw[column.name] for draw in draws if np.isfinite(draw[column.name])]
        found[column.name] = float(np.sqrt(np.mean(np.square(known)))) if known else float("nan")
    return found


def _shaken(trial: Trial, chance: np.random.Generator) -> Trial:
    """Every marker where it may sit and as it may shake; which draw is whose hangs on the paths, not on names."""
    in_turn = sorted(trial.markers.items(), key=lambda item: item[1].tobytes())
    shaken = {
        name: path + chance.normal(0, MARKER_M, 3) + chance.normal(0, MARKER_M, path.shape) for name, path in in_turn
    }
    return replace(trial, markers={name: shaken[name] for name in trial.markers})


def _with_force(plate: Plate, extra: FloatArray) -> Plate:
    """A force more, at the middle of the plate."""
    return replace(plate, force=plate.force + extra, moment=plate.moment + np.cross(plate.corners.mean(axis=0), extra))


def _later(samples: FloatArray, count: int) -> FloatArray:
    return np.concatenate([np.repeat(samples[:1], count, axis=0), samples[:-count]])


def _changes(plain: Rows, changed: Rows) -> dict[str, float]:
    """Column -> root mean square of how far it moved, over the footfalls that both have; NaN where none tells."""
    here, there = plain.numbers("contact_s"), changed.numbers("contact_s")
    if not len(here) or not len(there):
        return {column.name: float("nan") for column in JUDGED}
    pairs = [(i, int(np.argmin(np.abs(there - when)))) for i, when in enumerate(here)]
    pairs = [
        (i, j)
        for i, j in pairs
        if abs(there[j] - here[i]) < 0.1 and plain.columns["side"][i] == changed.columns["side"][j]
    ]
    own, other = [i for i, _ in pairs], [j for _, j in pairs]
    moved = _numbers(changed)[:, other] - _numbers(plain)[:, own]
    known = np.isfinite(moved)
    with np.errstate(invalid="ignore"):  # a column that tells nothing
        size = np.sqrt((np.where(known, moved, 0.0) ** 2).sum(axis=1) / known.sum(axis=1))
    return dict(zip((column.name for column in JUDGED), size.tolist(), strict=True))


def _numbers(footfalls: Rows) -> FloatArray:
    """(columns that have an uncertainty, footfalls)"""
    return np.stack([footfalls.numbers(column.name) for column in JUDGED])
