"""Whether all markers tell of one course of time: no frames missing unseen, and no marker of a foot later than others.

Frames that were repeated or drawn are for ``frames``; force against markers for ``force``.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator

import numpy as np

from checks import showing as show
from checks.markers import shown
from checks.markers.frames import repeated_frames
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.events.from_force import SIDES
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.processing import Processing
from schemas.study import Study
from schemas.trial import FloatArray, Trial

#: Own choices: markers that moved less between two frames, a few times what they shake, tell nothing, nor do fewer.
_MOVES_M, _FEWEST_MARKERS = 0.005, 4
#: Own choice: of what is expected the steps before and after have at least so much, or the marker was starting.
_EVENLY = 0.6
#: Own choices: how far apart in time two markers are looked for, how finely, and how much must be seen.
_FURTHEST_S, _STEP_S, _LEAST_S = 0.04, 0.004, 0.5


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Between frames {first} and {last} every marker goes {ratio:.1f} times as far as between the frames before "
    "and after; places like that in the trial: {count}.",
    expected="Markers go on from frame to frame evenly: between any two frames by less than {most_ratio:g} times what "
    "the neighbouring frames lead to expect.",
    remedy="About {lost} went missing there, and nothing tells of the time: contact and stride across it "
    "are too short, and speed is too great. Fetch the recording from the cameras' computer, look for lost frames or "
    "packets there, and export it whole, with lost frames left empty.",
    words=("first", "last", "ratio", "count", "lost"),
    limits={
        "most_ratio": Limit(
            "1", "own choice: 2 where one frame is missing; 1.1 at most in three real and eighteen simulated runs"
        )
    },
)
def no_frames_are_missing_untold(trial: Trial, work: Workspace, *, most_ratio: float = 1.6) -> Looked:
    """No frames were cut out of a recording without a trace of it.

    The paths have no gap then, and each stride across the cut is shorter than it was.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    ratios = _ratios(work)
    known = np.isfinite(ratios)
    beyond = np.flatnonzero(known & (ratios > most_ratio))
    if not len(beyond):
        return looked(int(known.sum())) if known.any() else nothing("too few markers move from frame to frame")
    frame = int(beyond[np.argmax(ratios[beyond])])
    lost = max(1, round(float(ratios[frame])) - 1)
    fault = {
        "first": frame + 1,
        "last": frame + 2,
        "ratio": float(ratios[frame]),
        "count": len(beyond),
        "lost": f"{lost} frame{'s' if lost > 1 else ''}",
        "place": f"frame {frame + 2}",
        "moment_s": (frame + 1) / trial.marker_rate_hz,
        "shows": shown.steps(trial, ratios, frame, most_ratio),
    }
    return looked(int(known.sum()), [fault])


def _ratios(work: Workspace) -> FloatArray:
    """(frames - 1,) of each step the median over the markers of its size along what its neighbours lead to expect.

    The steps two before and two after are followed by a cubic. NaN where too few markers move, or a frame repeats one.
    """
    lengths = [len(path) for path in work.trial.markers.values()]
    frames = max(set(lengths), key=lengths.count, default=0)
    paths = [
        np.where(work.measured[role][:, None], path, np.nan)
        for role, path in work.trial.markers.items()
        if len(path) == frames
    ]
    if frames < 6 or len(paths) < _FEWEST_MARKERS:
        return np.empty(0)
    steps = np.diff(np.stack(paths, axis=1), axis=0)
    again = repeated_frames(work)
    if len(again) == len(steps):
        steps[again] = np.nan
    expected = (-steps[:-4] + 4 * steps[1:-3] + 4 * steps[3:-1] - steps[4:]) / 6
    squares = (expected**2).sum(axis=2)
    along = np.divide(
        (steps[2:-2] * expected).sum(axis=2), squares, out=np.full_like(squares, np.nan), where=squares > 0
    )
    evenly = [(steps[part] * expected).sum(axis=2) > _EVENLY * squares for part in (slice(1, -3), slice(3, -1))]
    along[~((squares > _MOVES_M**2) & evenly[0] & evenly[1])] = np.nan
    found = np.full(len(steps), np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # of frames in which nothing moves
        medians = np.nanmedian(along, axis=1)
    found[2:-2] = np.where(np.isfinite(along).sum(axis=1) >= _FEWEST_MARKERS, medians, np.nan)
    return found


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Marker {marker} comes {late_ms:.0f} ms {order} than {other}, which keeps its distance best so: within "
    "{then_mm:.1f} mm instead of {as_is_mm:.1f} mm.",
    expected="Markers of one foot and its ankle were seen at the same time, within {most_ms:g} ms.",
    remedy="Look for a filter that only some markers went through, or for two systems of cameras whose files were put "
    "together, and export all markers alike.",
    words=("marker", "late_ms", "order", "other", "then_mm", "as_is_mm"),
    limits={
        "most_ms": Limit("ms", "own choice: 0.9 ms at most in three real and eighteen simulated runs"),
        "most_fraction": Limit(
            "1", "own choice: a delay explains most of what the distance changes by, exchanged labels do not"
        ),
    },
)
def markers_of_a_foot_move_together(
    trial: Trial, work: Workspace, study: Study, *, most_ms: float = 2.5, most_fraction: float = 0.7
) -> Looked:
    """No marker of a foot is later than its ankle or than the other markers of the foot.

    Heel and ankle are so near the same axis that their distance hardly changes, whatever the foot does. Contact found
    from foot markers that are late is late by as much, and strike and ankle angles are read on the slope beside it.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    faults, examined = [], 0
    for first, second in _pairs(work.processing):
        if not {first, second} <= trial.markers.keys():
            continue
        found = _delay(trial.markers[first], trial.markers[second], trial.marker_rate_hz)
        if found is None:
            continue
        examined += 1
        late_s, then_m, as_is_m = found
        if abs(late_s) * 1000 > most_ms and then_m < most_fraction * as_is_m:
            told = {"late_ms": 1000 * abs(late_s), "order": "later" if late_s > 0 else "earlier"}
            told |= {"other": signals.named(trial, study, second), "then_mm": 1000 * then_m, "as_is_mm": 1000 * as_is_m}
            told |= {"marker": signals.named(trial, study, first), "place": f"{first}, {second}"}
            apart = show.line(
                "",
                1000 * np.linalg.norm(trial.markers[first] - trial.markers[second], axis=1),
                trial.marker_rate_hz,
                around=trial.duration_s / 2,
            )
            proof = show.picture(
                show.number(
                    "Delay at which the distance changes least", "ms", 1000 * late_s, low=-most_ms, high=most_ms
                ),
                show.over_time("Distance of both markers as they were recorded", "mm", apart),
            )
            faults.append({**told, "moment_s": trial.duration_s / 2, "shows": proof})
    return looked(examined, faults) if examined else nothing("no two markers of one foot and its ankle are well seen")


def _pairs(processing: Processing) -> Iterator[tuple[str, str]]:
    """Markers whose distance changes little: the heel and the ankle, the heel and the front of the foot."""
    for side in SIDES:
        for other in (processing.joints.ankle_role, processing.forefoot_role):
            yield f"{processing.heel_role}_{side}", f"{other}_{side}"


def _delay(one: FloatArray, other: FloatArray, rate_hz: float) -> tuple[float, float, float] | None:
    """By how much the first is later, s: where their distance is kept best; its spread there and as it is, m.

    None where less than ``_LEAST_S`` is seen of both, or no delay that is looked for is best.
    """
    if not rate_hz > 0 or len(one) != len(other):
        return None
    known = np.asarray(np.isfinite(one).all(axis=1) & np.isfinite(other).all(axis=1))
    edge = int(np.ceil(_FURTHEST_S * rate_hz))
    if known[edge:-edge].sum() < _LEAST_S * rate_hz:
        return None
    frames = np.arange(len(one))
    delays = np.arange(-_FURTHEST_S, _FURTHEST_S + _STEP_S / 2, _STEP_S)
    inside = frames[edge:-edge][known[edge:-edge]]
    then = inside + delays[:, None] * rate_hz
    moved = (np.interp(then, frames[known], column[known]) for column in one.T)
    apart = np.sqrt(sum((path - still) ** 2 for path, still in zip(moved, other[inside].T, strict=True)))
    spreads = _spreads(apart)
    squares = spreads**2
    best = int(np.argmin(squares))
    if not 0 < best < len(delays) - 1:
        return None
    before, least, after = squares[best - 1 : best + 2]
    late = delays[best] + _STEP_S * (before - after) / (2 * (before - 2 * least + after))
    return float(late), float(spreads[best]), float(spreads[len(delays) // 2])


def _spreads(values: FloatArray) -> FloatArray:
    """Standard deviation (k,) of (k, n) less the outermost twentieth, where labels change places or a marker jumps."""
    low, high = np.percentile(values, [2.5, 97.5], axis=1)
    within = (values >= low[:, None]) & (values <= high[:, None])
    count = within.sum(axis=1)
    off = values - (np.where(within, values, 0.0).sum(axis=1) / count)[:, None]
    return np.asarray(np.sqrt(np.where(within, off**2, 0.0).sum(axis=1) / count))
