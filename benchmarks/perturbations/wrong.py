"""One thing that is wrong with a trial, as the equipment would have recorded it, in the sizes that are tried."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from schemas.trial import FloatArray, Plate, Trial


@dataclass(frozen=True)
class Perturbation:
    """One thing that is wrong. change: of the trial. settings: of the processing, in place of the study's.

    Another setting is another definition of the outcome and no fault of the equipment: what it is worth is shown, and
    nobody has to speak. times: how many times what uncertainties assume, where no check can see it; outcomes may then
    move as many times further.
    """

    name: str
    change: Callable[[Trial], Trial] = lambda trial: trial
    settings: dict[str, float] | None = None
    times: float = 1.0


def _plates(change: Callable[[Plate, float], Plate]) -> Callable[[Trial], Trial]:
    """The same of every plate; the second argument is the rate of force in Hz."""

    def changed(trial: Trial) -> Trial:
        rate = trial.analog_rate_hz or 1.0
        return replace(trial, plates=tuple(change(plate, rate) for plate in trial.plates))

    return changed


def _pushed(force: Callable[[int], FloatArray]) -> Callable[[Trial], Trial]:
    """A force (n, 3) N more at the middle of each plate."""

    def push(plate: Plate, _: float) -> Plate:
        extra = force(len(plate.force))
        turn = np.cross(plate.corners.mean(axis=0), extra)
        return replace(plate, force=plate.force + extra, moment=plate.moment + turn)

    return _plates(push)


def _offset(newtons: float, axis: int) -> Callable[[Trial], Trial]:
    return _pushed(lambda count: np.tile(newtons * np.eye(3)[axis], (count, 1)))


def _drift(newtons: float) -> Callable[[Trial], Trial]:
    return _pushed(lambda count: np.linspace(0, newtons, count)[:, None] * [0.0, 1.0, 0.0])


def _noise(newtons: float) -> Callable[[Trial], Trial]:
    return _pushed(lambda count: np.random.default_rng(7).normal(0, newtons, (count, 3)) * [0.5, 1.0, 0.5])


def _gain(times: float) -> Callable[[Trial], Trial]:
    return _plates(lambda plate, _: replace(plate, force=plate.force * times, moment=plate.moment * times))


def _lag(milliseconds: float) -> Callable[[Trial], Trial]:
    def late(plate: Plate, rate: float) -> Plate:
        samples = round(milliseconds / 1000 * rate)
        return replace(
            plate, force=np.roll(plate.force, samples, axis=0), moment=np.roll(plate.moment, samples, axis=0)
        )

    return _plates(late)


def _half_rate(trial: Trial) -> Trial:
    plates = tuple(replace(p, force=p.force[::2], moment=p.moment[::2], raw=p.raw[::2]) for p in trial.plates)
    return replace(trial, plates=plates, analog_rate_hz=(trial.analog_rate_hz or 0.0) / 2)


def _lost(seconds: float) -> Callable[[Trial], Trial]:
    """The converter repeats its last sample for so long, in the middle of the recording."""

    def hold(plate: Plate, rate: float) -> Plate:
        middle, count = len(plate.force) // 2, round(seconds * rate)
        force, moment, raw = plate.force.copy(), plate.moment.copy(), plate.raw.copy()
        for signal in (force, moment, raw):
            signal[middle : middle + count] = signal[middle - 1]
        return replace(plate, force=force, moment=moment, raw=raw)

    return _plates(hold)


def _horizontal(times: float = 1.0, crosstalk: float = 0.0) -> Callable[[Trial], Trial]:
    """Fore-aft and sideways force so many times as large, and so much of the vertical force in the fore-aft channel."""

    def changed(plate: Plate, _: float) -> Plate:
        extra = plate.force * [times - 1, 0.0, times - 1]
        extra[:, 0] += crosstalk * plate.force[:, 1]
        turn = np.cross(plate.corners.mean(axis=0), extra)
        return replace(plate, force=plate.force + extra, moment=plate.moment + turn)

    return _plates(changed)


def _markers_ahead(metres: float) -> Callable[[Trial], Trial]:
    def moved(trial: Trial) -> Trial:
        return replace(
            trial, markers={name: path + np.array([metres, 0.0, 0.0]) for name, path in trial.markers.items()}
        )

    return moved


def _larger(times: float) -> Callable[[Trial], Trial]:
    """All markers, about the middle of the way that they go."""

    def moved(trial: Trial) -> Trial:
        middle = np.nanmean(np.concatenate(list(trial.markers.values())), axis=0) * [1.0, 0.0, 1.0]
        return replace(trial, markers={name: middle + times * (path - middle) for name, path in trial.markers.items()})

    return moved


def _cut_below(newtons: float) -> Callable[[Trial], Trial]:
    def cut(plate: Plate, _: float) -> Plate:
        there = (plate.force[:, 1] > newtons)[:, None]
        return replace(
            plate,
            force=np.where(there, plate.force, 0.0),
            moment=np.where(there, plate.moment, 0.0),
            raw=np.where(there, plate.raw, 0.0),
        )

    return _plates(cut)


def _belt_told(times: float) -> Callable[[Trial], Trial]:
    """The table tells another speed of the belt."""

    def told(trial: Trial) -> Trial:
        if trial.surface != "treadmill":
            return trial
        speeds = [s and times * s for s in (trial.set_speed_m_per_s, trial.belt_speed_m_per_s)]
        return replace(trial, set_speed_m_per_s=speeds[0], belt_speed_m_per_s=speeds[1])

    return told


def _frames_cut(count: int) -> Callable[[Trial], Trial]:
    """So many frames, and their time in force, are gone in the middle."""

    def cut(trial: Trial) -> Trial:
        paths = {name: np.delete(path, _inner(len(path), count), axis=0) for name, path in trial.markers.items()}
        filled = {name: np.delete(was, _inner(len(was), count)) for name, was in trial.filled.items()}
        samples = round(count / trial.marker_rate_hz * (trial.analog_rate_hz or 0.0))
        return replace(_force_cut_of(trial, samples, pad=False), markers=paths, filled=filled)

    return cut


def _force_cut(seconds: float) -> Callable[[Trial], Trial]:
    """Of force alone so much is gone in the middle; at its end the last samples stand once more, reversed."""
    return lambda trial: _force_cut_of(trial, round(seconds * (trial.analog_rate_hz or 0.0)), pad=True)


def _force_cut_of(trial: Trial, samples: int, *, pad: bool) -> Trial:
    def of(signal: FloatArray) -> FloatArray:
        cut = np.delete(signal, _inner(len(signal), samples), axis=0)
        return np.concatenate([cut, cut[::-1][:samples]]) if pad else cut

    return _plates(lambda plate, _: replace(plate, force=of(plate.force), moment=of(plate.moment), raw=of(plate.raw)))(
        trial
    )


def _inner(length: int, count: int) -> slice:
    return slice(length // 2, length // 2 + count)


def _feet_late(seconds: float) -> Callable[[Trial], Trial]:
    """The markers of heel and forefoot, and not those of the ankle, are so late."""

    def late(trial: Trial) -> Trial:
        paths = dict(trial.markers)
        for name, path in paths.items():
            if "calcaneus" in name or "metatarsal" in name:
                frames, by = np.arange(len(path)), seconds * trial.marker_rate_hz
                paths[name] = np.stack([np.interp(frames - by, frames, column) for column in path.T], axis=1)
        return replace(trial, markers=paths)

    return late


def _shaking_markers(millimetres: float) -> Callable[[Trial], Trial]:
    def shaken(trial: Trial) -> Trial:
        chance = np.random.default_rng(8)
        paths = {name: path + chance.normal(0, millimetres / 1000, path.shape) for name, path in trial.markers.items()}
        return replace(trial, markers=paths)

    return shaken


GRID = (
    *(Perturbation(f"{n:+g} N vertically", _offset(n, 1)) for n in (-14, -8, 8, 14, 20)),
    *(Perturbation(f"{n:+g} N fore-aft", _offset(n, 0)) for n in (-14, 14, 20)),
    *(Perturbation(f"drift by {n:+g} N", _drift(n)) for n in (10, 20)),
    *(Perturbation(f"gain times {g}", _gain(g)) for g in (0.91, 0.97, 1.02, 1.05, 1.09)),
    *(Perturbation(f"horizontal gain times {g}", _horizontal(g)) for g in (0.8, 0.9, 1.1, 1.2)),
    *(Perturbation(f"{c:.0%} of vertical in fore-aft", _horizontal(crosstalk=c)) for c in (-0.02, 0.02, 0.05)),
    *(Perturbation(f"force {ms:+g} ms late", _lag(ms)) for ms in (-20, -10, -5, 5, 10, 20)),
    *(Perturbation(f"noise of {n:g} N", _noise(n)) for n in (5, 10, 15)),
    Perturbation("half the force samples", _half_rate),
    Perturbation("a packet of 30 ms lost", _lost(0.03)),
    Perturbation("a frame cut out", _frames_cut(1)),
    Perturbation("10 ms of force cut out", _force_cut(0.01)),
    Perturbation("foot markers 10 ms late", _feet_late(0.01)),
    *(Perturbation(f"force below {n} N set to 0", _cut_below(n)) for n in (24, 45)),
    Perturbation("markers 15 mm ahead of the plates", _markers_ahead(0.015)),
    Perturbation("markers 30 mm behind the plates", _markers_ahead(-0.03)),
    Perturbation("markers 50 mm ahead of the plates", _markers_ahead(0.05)),
    Perturbation("markers 50 mm behind the plates", _markers_ahead(-0.05)),
    Perturbation("markers 6 % too large", _larger(1.06)),
    Perturbation("markers shake by 1 mm", _shaking_markers(1)),
    Perturbation("markers shake by 3 mm", _shaking_markers(3), times=3),
    *(Perturbation(f"belt told {100 * (f - 1):+.0f} % off", _belt_told(f)) for f in (0.97, 1.08)),
    Perturbation("threshold of 30 N", settings={"contact_threshold_n": 30.0}),
)
#: Sizes between and beyond those of the grid, by which nothing was chosen.
BETWEEN = (
    *(Perturbation(f"{n:+g} N vertically", _offset(n, 1)) for n in (-17, -11, -4, 4, 11, 17, 30)),
    *(Perturbation(f"{n:+g} N fore-aft", _offset(n, 0)) for n in (-17, -8, 4, 8, 11, 17)),
    *(Perturbation(f"drift by {n:+g} N", _drift(n)) for n in (-15, -5, 5, 15)),
    *(Perturbation(f"gain times {g}", _gain(g)) for g in (0.94, 0.985, 1.01, 1.035, 1.07)),
    *(Perturbation(f"horizontal gain times {g}", _horizontal(g)) for g in (0.85, 0.93, 1.05, 1.15)),
    *(Perturbation(f"{c:.1%} of vertical in fore-aft", _horizontal(crosstalk=c)) for c in (-0.01, 0.015)),
    *(Perturbation(f"force {ms:+g} ms late", _lag(ms)) for ms in (-15, -8, -3, 3, 8, 15, 30)),
    *(Perturbation(f"noise of {n:g} N", _noise(n)) for n in (1, 2, 3, 4, 7, 12)),
    *(Perturbation(f"a packet of {1000 * s:g} ms lost", _lost(s)) for s in (0.015, 0.06)),
    Perturbation("3 frames cut out", _frames_cut(3)),
    *(Perturbation(f"{1000 * s:g} ms of force cut out", _force_cut(s)) for s in (0.003, 0.005, 0.02)),
    *(Perturbation(f"foot markers {1000 * s:+g} ms late", _feet_late(s)) for s in (-0.01, 0.003, 0.005, 0.02)),
    *(Perturbation(f"force below {n} N set to 0", _cut_below(n)) for n in (10, 18, 35, 60)),
    Perturbation("markers 10 mm behind the plates", _markers_ahead(-0.01)),
    *(Perturbation(f"markers {1000 * m:+g} mm ahead of the plates", _markers_ahead(m)) for m in (-0.065, 0.04, 0.08)),
    *(Perturbation(f"markers {100 * (f - 1):+.0f} % too large", _larger(f)) for f in (0.94, 1.01)),
    *(Perturbation(f"markers shake by {n:g} mm", _shaking_markers(n)) for n in (0.3, 0.6)),
    *(Perturbation(f"belt told {100 * (f - 1):+.0f} % off", _belt_told(f)) for f in (0.95, 1.02, 1.2)),
)
