"""Whether the frames of the markers were measured: not held, repeated or drawn between others.

Each of these leaves paths without a gap, so plots look well. What the cameras lost is for ``marker_sight``.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from checks import showing as show
from checks.markers import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.signals import measures as signals
from pipelines.science.signals.measures import BoolArray
from pipelines.science.signals.middle import median
from pipelines.science.workspace import Workspace
from schemas.mechanics import runs
from schemas.study import Study
from schemas.trial import Trial

_FEWEST_MARKERS = 3  # one or two markers may rest for a frame by chance; three at once are the frame's doing


def _same(work: Workspace, role: str) -> tuple[BoolArray, BoolArray]:
    """(frames - 1,) whether a frame has exactly the position of the one before, and whether both were measured."""
    path, known = work.trial.markers[role], work.measured[role]
    both = known[1:] & known[:-1]
    return both & (path[1:] == path[:-1]).all(axis=1), both


def _repeated(work: Workspace) -> tuple[BoolArray, BoolArray]:
    """(frames - 1,) whether every marker seen in a frame and the one before stayed exactly where it was, and whether
    enough markers were seen to tell. Markers of another length than most are left out."""
    lengths = [len(path) for path in work.trial.markers.values()]
    frames = max(set(lengths), key=lengths.count, default=0)
    pairs = [_same(work, role) for role, path in work.trial.markers.items() if len(path) == frames > 1]
    if len(pairs) < _FEWEST_MARKERS:
        return np.zeros(0, bool), np.zeros(0, bool)
    same, both = (np.sum([pair[i] for pair in pairs], axis=0) for i in (0, 1))
    enough = np.asarray(both >= _FEWEST_MARKERS)
    return enough & np.asarray(same == both), enough


def repeated_frames(work: Workspace) -> BoolArray:
    """(frames - 1,) whether a frame repeats the one before in every marker; empty with too few markers."""
    return _repeated(work)[0]


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Marker {marker} has exactly the same position for {held_found_s:.3f} s, frames {first} to {last}, while "
    "other markers move; places like that in the trial: {count}.",
    expected="No marker of a running trial keeps exactly one position for longer than {held_s:g} s.",
    remedy="Look at frames {first} to {last} in the labelling step: the last position was carried on over a gap. "
    "Delete the held frames, fill them from the other markers of the segment or leave the gap open, and export again.",
    words=("marker", "held_found_s", "first", "last", "count"),
    limits={"held_s": Limit("s", "common practice: even a foot on the ground gives way by tenths of a millimetre")},
)
def markers_are_not_frozen(trial: Trial, work: Workspace, study: Study, *, held_s: float = 0.05) -> Looked:
    """No marker of a running trial stands still to the last digit while the others go on.

    Some programs fill a gap with the last position they saw. There is no hole then, the speed is zero where it was
    greatest, and whoever looks for gaps finds none.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    repeated, _ = _repeated(work)
    faults, examined = [], 0
    for role in trial.markers:
        same, both = _same(work, role)
        examined += int(both.sum())
        own = same & ~repeated if len(repeated) == len(same) else same
        held = [(a, b) for a, b in runs(own) if (b - a) / (trial.marker_rate_hz or 1.0) > held_s]
        if held:
            a, b = max(held, key=lambda ab: ab[1] - ab[0])
            faults.append(
                {
                    "held_found_s": (b - a) / (trial.marker_rate_hz or 1.0),
                    "first": a + 1,
                    "last": b + 1,
                    "count": len(held),
                    **moment_of(trial, study, role, a),
                    "signal": None,
                    "shows": shown.lasting(trial, role, (a, b), "held for", held_s),
                }
            )
    return looked(examined, faults) if examined else nothing("no marker is seen in two frames in a row")


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{count} of {frames} frames repeat the one before in every marker to the last digit; the first is frame "
    "{frame}, and they come {rhythm}.",
    expected="No frame of a running trial repeats the one before, or at most {share_percent:g} % of them, "
    "which is then only noted.",
    remedy="Look in the camera system for frames that were lost and put in again, and for an export at a higher rate "
    "than was recorded. Export at the rate of the cameras with lost frames left empty.",
    words=("count", "frames", "frame", "rhythm"),
    limits={"share_percent": Limit("%", "common practice: one frame lost in a hundred is bridged by the filter")},
)
def frames_are_not_repeated(trial: Trial, work: Workspace, *, share_percent: float = 1.0) -> Looked:
    """No frame is a copy of the one before.

    A lost frame that is replaced by a copy makes every marker stop and jump: speeds fall to zero and double within one
    frame, and events found from markers move with it.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    repeated, enough = _repeated(work)
    copies = np.flatnonzero(repeated)
    if not len(copies):
        return looked(int(enough.sum())) if enough.any() else nothing("fewer than three markers were seen together")
    steps = np.diff(copies)
    frame = int(copies[0]) + 1
    fault = {
        "count": len(copies),
        "frames": int(enough.sum()),
        "frame": frame + 1,
        "rhythm": f"every {np.median(steps):.0f} frames as a rule" if len(steps) else "once",
        "place": f"frame {frame + 1}",
        "moment_s": frame / (trial.marker_rate_hz or 1.0),
        "shows": shown.repeated(
            trial, 100 * len(copies) / enough.sum(), share_percent, frame / (trial.marker_rate_hz or 1.0)
        ),
        **({"weight": Weight.NOTES} if 100 * len(copies) <= share_percent * enough.sum() else {}),
    }
    return looked(int(enough.sum()), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Of every {period} frames only one was measured: the others lie on straight lines between them, with "
    "{drawn_mm:.3f} mm departure against {measured_mm:.3f} mm (medians of all markers).",
    expected="All frames depart from the middle of their neighbours alike; the straightest by no less than "
    "{least_fraction:g} of the others.",
    remedy="The cameras recorded at {true_hz:g} Hz and the export raised it to {stated_hz:g} Hz. Export at the rate of "
    "the cameras. If that is now the rate of the site, ask the data manager to change marker_rate_hz.",
    words=("period", "drawn_mm", "measured_mm", "true_hz", "stated_hz"),
    limits={
        "least_fraction": Limit(
            "1", "common practice; above 0.94 in one real run and in simulated ones; 0 to 0.35 on a line"
        )
    },
)
def frames_are_not_drawn_between_others(trial: Trial, work: Workspace, *, least_fraction: float = 0.5) -> Looked:
    """No frame was made by drawing a line between two measured ones.

    A recording at half the rate looks like one at the full rate then, and says so, but contact is still only known to
    the nearest measured frame and fast peaks are cut off. Positions stored in steps as coarse as their noise hide it.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    off = _off_the_middle(work)
    if off.shape[1] < 50:
        return nothing("fewer than 50 frames in a row were seen")
    period, others, top = max((_drawn(off, period) for period in (2, 3, 4, 5)), key=lambda found: found[2] - found[1])
    if not others < least_fraction * top:
        return looked(off.size)
    fault = {
        "period": period,
        "drawn_mm": 1000 * others,
        "measured_mm": 1000 * top,
        "true_hz": trial.marker_rate_hz / period,
        "stated_hz": trial.marker_rate_hz,
        "place": "marker rate",
        "shows": show.picture(
            show.one_by_one(
                "Departure from the middle of both neighbours, median of all markers",
                "mm",
                [1000 * _typical(off[:, rest::period]) for rest in range(period)],
                low=1000 * least_fraction * top,
                across=f"Frame of each {period}",
            )
        ),
    }
    return looked(off.size, [fault])


def _drawn(off: np.ndarray, period: int) -> tuple[int, float, float]:
    """The period, and the departure of the frames between (m) and of the one in ``period`` that departs most (m).

    Of several periods the true one has the greatest contrast; others mix measured frames with drawn ones.
    """
    medians = np.array([_typical(off[:, rest::period]) for rest in range(period)])
    top = int(np.argmax(medians))
    return period, float(np.delete(medians, top).max()), float(medians[top])


def _off_the_middle(work: Workspace) -> np.ndarray:
    """(markers, frames - 2) m: distance of each frame from the middle of its neighbours, NaN where not measured."""
    lengths = [len(path) for path in work.trial.markers.values()]
    frames = max(set(lengths), key=lengths.count, default=0)
    rows = [
        signals.lengths(np.diff(np.where(work.measured[role][:, None], path, np.nan), 2, axis=0) / 2)
        for role, path in work.trial.markers.items()
        if len(path) == frames > 2
    ]
    return np.array(rows) if rows and np.isfinite(rows).any() else np.empty((0, 0))


def _typical(values: np.ndarray) -> float:
    seen = values[np.isfinite(values)]
    return median(seen) if len(seen) else 0.0


def moment_of(trial: Trial, study: Study, role: str, frame: int) -> dict[str, Any]:
    """What a finding about one marker in one frame (from 0) names: marker, place, moment and signal."""
    return {
        "marker": signals.named(trial, study, role),
        "place": f"{role}, frame {frame + 1}",
        "moment_s": frame / (trial.marker_rate_hz or 1.0),
        "signal": f"marker:{role}:up",
    }
