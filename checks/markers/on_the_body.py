"""Whether the markers are where the body is: gaps, labels on the right marker, no jumps, a still standing trial."""

from __future__ import annotations

from typing import Any

import numpy as np

from checks import showing as show
from checks.markers import shown
from checks.markers.axes import turned_round
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.mechanics import runs
from schemas.study import Study
from schemas.trial import RIGHT, FloatArray, Trial


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Marker {marker} is missing for {gap_found_s:.2f} s, frames {first} to {last}, and for "
    "{missing_percent:.0f} % of the part with footfalls.",
    expected="No required marker is missing for longer than {gap_s:g} s from just before the first contact "
    "to just after the last toe-off.",
    remedy="Look for the marker under another or no label in frames {first} to {last} and label it there. "
    "If it was hidden, fill the gap from the other markers of the segment; do not draw a line across a "
    "contact.",
    words=("marker", "gap_found_s", "first", "last", "missing_percent"),
    limits={
        "gap_s": Limit("s", "common practice"),
        "margin_s": Limit("s", "common practice: events need a little signal on both sides"),
    },
)
def marker_gaps_are_short(
    trial: Trial, footfalls: Rows, study: Study, *, gap_s: float = 0.10, margin_s: float = 0.10
) -> Looked:
    """Marker gaps are short: none is missing for long while the runner is on the plates.

    Short gaps are filled during intake, as the study file says. A curve drawn across a long one is an invention, and it
    is smooth, so it looks better than the data.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    start, stop = _span(trial, footfalls, margin_s)
    faults, examined = [], 0
    for role in study.required_at(trial.site):
        xyz = trial.markers.get(role)
        if xyz is None or not np.isfinite(xyz).all(axis=1).any():
            continue  # required_markers_are_labelled says so
        missing = np.asarray(np.isnan(xyz[start:stop]).any(axis=1))
        examined += len(missing)
        a, b = max(runs(missing), key=lambda ab: ab[1] - ab[0], default=(0, 0))
        if (b - a) / trial.marker_rate_hz > gap_s:
            faults.append(
                {
                    "gap_found_s": (b - a) / trial.marker_rate_hz,
                    "missing_percent": 100 * missing.mean(),
                    "first": start + a + 1,
                    "last": start + b,
                    **_at(trial, study, role, start + a),
                    "shows": shown.lasting(trial, role, (start + a, start + b), "missing for", gap_s),
                }
            )
    return looked(examined, faults) if examined else nothing("no required marker was seen")


def _span(trial: Trial, footfalls: Rows, margin_s: float) -> tuple[int, int]:
    """Frames from just before the first contact to just after the last toe-off; all frames without footfalls."""
    frames = max((len(xyz) for xyz in trial.markers.values()), default=0)
    if not len(footfalls) or not trial.marker_rate_hz:
        return 0, frames
    start, stop = (
        np.nanmin(footfalls.numbers("contact_s")) - margin_s,
        np.nanmax(footfalls.numbers("toe_off_s")) + margin_s,
    )
    if not (np.isfinite(start) and np.isfinite(stop)):
        return 0, frames
    rate = trial.marker_rate_hz
    return max(0, int(np.floor(start * rate))), min(frames, int(np.ceil(stop * rate)) + 1)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Marker {marker} leaves its path by {jump_found_mm:.0f} mm from one frame to the next at "
    "frame {frame}; places like that in the trial: {count}.",
    expected="From one frame to the next a marker goes on as it went, within {jump_mm:g} mm.",
    remedy="Go to frame {frame} in the labelling step: either the marker was taken for another one or for "
    "a reflection there. Give the frames their right label, or delete and fill them, and export again.",
    words=("marker", "jump_found_mm", "frame", "count"),
    limits={
        "jump_mm": Limit(
            "mm",
            "common practice: at 200 Hz 60 mm is 2400 m/s2, above what a heel does at contact",
        )
    },
)
def markers_move_without_jumps(trial: Trial, study: Study, *, jump_mm: float = 60.0) -> Looked:
    """No marker leaves its path from one frame to the next and comes back or stays there.

    One wrong frame becomes a spike in velocity and a burst in acceleration, and a filter spreads it over its
    neighbours, where it can no longer be seen. A marker that the study can do without is only noted; exchanged labels
    on one foot are reported by markers_keep_their_distance.
    """
    if not trial.markers:
        return nothing("no markers in the recording")
    required = study.required_at(trial.site)
    faults, examined = [], 0
    exchanged = signals.exchanges(trial.markers, signals.EXCHANGE_TOLERANCE_M)
    for role, xyz in signals.exchanged_back(trial.markers, exchanged).items():
        bend = 1000 * np.diff(xyz, 2, axis=0)  # departure from a straight path
        off = signals.lengths(bend)
        examined += int(np.isfinite(off).sum())
        jumps = runs(off > jump_mm)
        if jumps:
            first = jumps[0][0]
            frame = first + 2 - _there_and_back(bend, jumps[0])
            axis = int(np.argmax(np.abs(bend[first])))
            faults.append(
                {
                    "jump_found_mm": float(off[first]),
                    "count": len(jumps),
                    "frame": frame + 1,
                    **_at(trial, study, role, frame),
                    "shows": shown.jump(trial, role, axis, bend, (first, frame), jump_mm),
                    **({} if role in required else {"weight": Weight.NOTES}),
                }
            )
    return looked(examined, faults) if examined else nothing("no marker is seen in three frames in a row")


def _there_and_back(bend: FloatArray, jump: tuple[int, int]) -> bool:
    """Whether a jump is the way back alone: of a single frame that leaves its path by less, it is twice as far."""
    start, stop = jump
    if stop - start != 1 or not 0 < start < len(bend) - 1:
        return False
    three = bend[start - 1 : start + 2]
    return bool(np.linalg.norm(three.sum(axis=0)) < 0.5 * np.linalg.norm(three[1]))


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Marker {marker} moves by {range_mm:.0f} mm during the standing trial, and {moving} of {markers} "
    "markers move too far.",
    expected="In a standing trial every required marker stays within {still_mm:g} mm.",
    remedy="If one marker alone moves, see whether its label jumps to another one. Otherwise cut the "
    "standing trial to a second or more in which the runner stands still and export that part; if there is "
    "none, record the standing trial again.",
    words=("marker", "range_mm", "moving", "markers"),
    limits={"still_mm": Limit("mm", "common practice: quiet standing sways by 10 to 20 mm at the pelvis")},
)
def standing_trial_stands_still(trial: Trial, study: Study, *, still_mm: float = 30.0) -> Looked:
    """The runner stands still in a static calibration trial (standing).

    The standing posture is the zero of every angle of the session; a shift of weight in it moves all of them.
    """
    if trial.kind != "standing":
        return nothing("not a standing trial")
    ranges, examined = {}, 0
    for role in study.required_at(trial.site):
        xyz = trial.markers.get(role)
        if xyz is None or not np.isfinite(xyz).all(axis=1).any():
            continue
        seen = xyz[np.isfinite(xyz).all(axis=1)]
        examined += len(seen)
        ranges[role] = 1000 * np.ptp(np.percentile(seen, [1, 99], axis=0), axis=0)  # one bad frame is no movement
    if not ranges:
        return nothing("no required marker was seen")
    role = max(ranges, key=lambda r: ranges[r].max())
    axis = int(np.argmax(ranges[role]))
    if ranges[role][axis] <= still_mm:
        return looked(examined)
    proof = shown.swayed(trial, role, axis, still_mm)
    frame = round(show.worst_at(proof, 0.0) * (trial.marker_rate_hz or 1.0))
    fault = {
        "moving": sum(bool(r.max() > still_mm) for r in ranges.values()),
        "markers": len(ranges),
        "range_mm": float(ranges[role][axis]),
        **_at(trial, study, role, frame),
        "shows": proof,
    }
    return looked(examined, [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{wrong} of {pairs} pairs of markers have left and right the wrong way round; {left} lies "
    "{beyond_mm:.0f} mm to the right of {right} on average.",
    expected="The runner's left markers lie to the left of the right ones, give or take {crossing_mm:g} mm.",
    remedy="{what_to_do}.",
    words=("wrong", "pairs", "left", "beyond_mm", "right", "what_to_do"),
    limits={"crossing_mm": Limit("mm", "common practice: feet may cross the middle line, knees and hips do not")},
)
def left_and_right_are_on_their_sides(
    trial: Trial, study: Study, work: Workspace, *, crossing_mm: float = 40.0
) -> Looked:
    """Left markers are on the runner's left, right ones on the right.

    Exchanged sides give every outcome to the other leg, and nothing else in the data tells.
    """
    beyond = {}
    for role, spec in study.marker_roles.items():
        left, right = (trial.markers.get(f"{role}_{side}") for side in signals.SIDES)
        if not spec.sided or left is None or right is None or len(left) != len(right):
            continue
        apart = 1000 * (left[:, RIGHT] - right[:, RIGHT])
        if np.isfinite(apart).any():
            beyond[role] = float(np.nanmean(apart))
    if not beyond:
        return nothing("no marker was seen on both sides")
    wrong = [role for role in beyond if beyond[role] > crossing_mm]
    if not wrong or (trial.kind == "running" and turned_round(work.anatomy.facing)):  # told by runner_runs_forwards
        return looked(len(beyond))
    role = max(wrong, key=lambda r: beyond[r])
    whole = len(wrong) > len(beyond) / 2
    fault = {
        "wrong": len(wrong),
        "pairs": len(beyond),
        "left": signals.named(trial, study, f"{role}_left"),
        "right": signals.named(trial, study, f"{role}_right"),
        "beyond_mm": beyond[role],
        "what_to_do": "Nearly all pairs are turned, so look at the axes first: 'right' in the profile, or "
        "a runner who came from the other end while the profile does not say runs_both_ways. If the axes "
        "are right, exchange the left and right labels and export again"
        if whole
        else f"Exchange the left and right labels of {', '.join(wrong)} and export again",
        "place": signals.few(wrong, "pairs of markers"),
        "moment_s": 0.0,
        "shows": shown.pairs(beyond, crossing_mm, trial),
    }
    return looked(len(beyond), [fault])


def _at(trial: Trial, study: Study, role: str, frame: int) -> dict[str, Any]:
    return {
        "marker": signals.named(trial, study, role),
        "place": f"{role}, frame {frame + 1}",
        "moment_s": frame / (trial.marker_rate_hz or 1.0),
    }
