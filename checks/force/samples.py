"""Whether the samples of force are those the converter took: none repeated, none torn out.

Cut-off peaks are for ``force``.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from checks.force import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.gait.spells import rate_of
from pipelines.science.signals import measures as signals
from schemas.mechanics import runs
from schemas.trial import FloatArray, Plate, Trial

_DIRECTIONS = ("fore_aft", "vertical", "sideways")
#: Own choice: a packet of samples that is sent again comes within this time.
PACKET_S = 0.2
#: Own choice: below it an impact peak is only a few samples wide and cannot be told from a torn sample.
FAST_ENOUGH_HZ = 500.0


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{copies} samples of the loaded plate {number} are exact copies, in all its channels, of those {back} before; "
    "the longest stretch lasts {longest_s:.3f} s.",
    expected="Under a foot no two samples are alike in all channels: fewer than {samples:g} in a row repeat.",
    remedy="The converter lost packets and the program filled the holes. If the recording program keeps the raw file, "
    "export from it again; else send another trial in place of this one. Then close other programs on the recording "
    "computer and give the converter its own connection.",
    words=("copies", "number", "back", "longest_s"),
    limits={"samples": Limit("1", "own choice; with six channels and noise even two are all but impossible")},
)
def force_samples_are_not_repeated(trial: Trial, *, samples: float = 3) -> Looked:
    """No sample under load is held, and no block of samples comes twice.

    A hole that was filled with old samples shortens or shifts the peak it hides, and nothing else in the trial looks
    wrong.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    rate, faults, examined = rate_of(trial), [], 0
    for plate in trial.plates:
        back = _copied_from(plate, round(PACKET_S * rate))
        examined += int((back >= 0).sum())
        stretches = [ab for lag in np.unique(back[back > 0]) for ab in runs(back == lag) if ab[1] - ab[0] >= samples]
        if stretches:
            a, b = max(stretches, key=lambda ab: ab[1] - ab[0])
            fault = {
                "number": plate.number,
                "copies": sum(end - start for start, end in stretches),
                "back": "one sample" if back[a] == 1 else f"{back[a] / rate:.3f} s",
                "longest_s": (b - a) / rate,
                "moment_s": a / rate,
            }
            proof = shown.copied(trial, plate, (a, b), int(back[a]), samples)
            faults.append({**fault, "place": f"plate {plate.number}", "shows": proof})
    return looked(examined, faults) if examined else nothing("no plate was loaded")


def _copied_from(plate: Plate, furthest: int, loaded_n: float = 50.0) -> np.ndarray:
    """(n,) how many samples back the same sample stands: 0 if nowhere near, -1 where the plate is not loaded.

    Compared are all channels as the file has them, or the forces where the channels are not known.
    """
    force = np.asarray(plate.force, float).reshape(-1, 3)
    rows = np.asarray(plate.raw, float) if plate.raw.ndim == 2 and len(plate.raw) == len(force) else force
    back = np.full(len(force), -1)
    loaded = np.flatnonzero((np.linalg.norm(force, axis=1) > loaded_n) & np.isfinite(rows).all(axis=1))
    if not len(loaded) or not rows.shape[1]:
        return back
    kind = _mixed(rows[loaded])
    order = np.argsort(kind, kind="stable")  # samples of one kind together, in order of time
    lag = np.zeros(len(loaded), int)
    alike = (rows[loaded[order[1:]]] == rows[loaded[order[:-1]]]).all(axis=1)
    lag[order[1:]] = np.where(alike, np.diff(loaded[order]), 0)
    back[loaded] = np.where(lag <= furthest, lag, 0)
    return back


def _mixed(rows: FloatArray) -> NDArray[np.uint64]:
    """(n,) a number for each row (n, c), equal for equal rows; rows that are not may share one, but hardly ever do."""
    bits = np.ascontiguousarray(rows + 0.0).view(np.uint64)  # with one zero instead of two
    mixed = np.zeros(len(rows), np.uint64)
    for column in bits.T:
        mixed = (mixed ^ (column >> np.uint64(29)) ^ column) * np.uint64(0x9E3779B97F4A7C15)
    return mixed


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Single samples of plate {number} stand out of their neighbours, {count} of them, the most by {worst_n:.0f} N "
    "({direction}).",
    expected="Force changes smoothly: a sample fits the two before and the two after it within {spike_n:g} N.",
    remedy="Look at the moment named here in the raw recording. If the spike is not there, export again; if it is, "
    "send another trial in place of this one, then look for a loose plug, static from the belt, or the trigger's cable "
    "beside the force cable. Do not smooth it away: the study cannot see what was under it.",
    words=("number", "count", "worst_n", "direction"),
    limits={"spike_n": Limit("N", "own choice; at 1000 Hz impact peaks of 5 ms stay below 20 N")},
)
def force_has_no_spikes(trial: Trial, *, spike_n: float = 100.0) -> Looked:
    """No sample of force is torn out of the line of its neighbours.

    One false sample is enough to make the steepest slope of a footfall, which is what the instantaneous loading rate
    is, or to start a contact.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    rate = rate_of(trial)
    if rate < FAST_ENOUGH_HZ:
        return nothing(f"force is sampled below {FAST_ENOUGH_HZ:g} Hz, where an impact peak looks like a spike")
    faults, examined = [], 0
    for plate in trial.plates:
        off = _off_the_line(np.asarray(plate.force, float).reshape(-1, 3))
        examined += int(np.isfinite(off).any(axis=1).sum())
        if (off > spike_n).any():
            worst, column = map(int, np.unravel_index(int(np.nanargmax(off)), off.shape))
            proof = shown.spike(trial, plate, off, column, worst, spike_n)
            where = {"number": plate.number, "place": f"plate {plate.number}", "shows": proof}
            faults.append({**_spike_fault(off, spike_n, rate), **where})
    return looked(examined, faults) if examined else nothing("no force is known")


def _off_the_line(force: FloatArray) -> FloatArray:
    """(n, 3) N: how far each sample stands out of its neighbours; NaN at the ends, 0 where it does not.

    It stands out by its distance from the cubic through the two before and the two after it, whose middle is
    (-a + 4 b + 4 d - e) / 6, but by no more than from either neighbour, and to the same side of both: a step is no
    spike, nor is what stands beside one.
    """
    off = np.full(force.shape, np.nan)
    if len(force) < 5:
        return off
    a, b, c, d, e = (force[i : len(force) - 4 + i] for i in range(5))
    from_line = np.abs(c - (-a + 4 * b + 4 * d - e) / 6)
    from_neighbours = np.minimum(np.abs(c - b), np.abs(c - d))
    off[2:-2] = np.where((c - b) * (c - d) >= 0, np.minimum(from_line, from_neighbours), 0.0)
    return off


def _spike_fault(off: FloatArray, spike_n: float, rate: float) -> dict[str, Any]:
    worst, column = np.unravel_index(int(np.nanargmax(off)), off.shape)
    return {
        "count": int((off > spike_n).any(axis=1).sum()),
        "worst_n": float(off[worst, column]),
        "direction": _DIRECTIONS[column].replace("_", "-"),
        "moment_s": float(worst / rate),
    }
