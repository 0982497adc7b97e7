"""Checks of the distances between markers of one segment: bone does not change its length within a trial."""

from __future__ import annotations

from typing import Any

import numpy as np

from checks.markers import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.study import Study
from schemas.trial import Trial

#: Own choices: how long after toe-off a foot takes to straighten, and how much of a bend may lie outside push-off.
LEAVING_S, PUSHING_SHARE = 0.06, 0.9


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The distance from {first} to {second} leaves its median of {median_mm:.0f} mm by up to "
    "{worst_mm:.0f} mm, and by more than {allowed_mm:.0f} mm in {bad} of {frames} frames{diagnosis}.",
    expected="Two markers on one segment keep their distance within {allowed_mm:.0f} mm.",
    remedy="Go to frame {frame} in the labelling step: {what_to_do}.",
    words=(
        "first",
        "second",
        "median_mm",
        "worst_mm",
        "allowed_mm",
        "bad",
        "frames",
        "diagnosis",
        "frame",
        "what_to_do",
    ),
    limits={
        "foot_mm": Limit(
            "mm",
            "Winter 2009, Table A.1: heel to fifth metatarsal varies with an SD of 4 mm in walking; about four SD",
        ),
        "shank_mm": Limit(
            "mm",
            "common practice: wide, because skin over the femoral epicondyle slides as the knee bends",
        ),
        "share_percent": Limit("%", "common practice"),
    },
)
def markers_keep_their_distance(
    trial: Trial,
    study: Study,
    work: Workspace,
    *,
    foot_mm: float = 15.0,
    shank_mm: float = 60.0,
    share_percent: float = 5.0,
) -> Looked:
    """Markers on one foot, and those on one shank, keep their distance from each other.

    A distance that jumps means labels that change places or a marker that came loose; either bends the foot angle,
    and with it the foot-strike class, without any gap that would show it. A foot bends at its toes: where heel and
    forefoot marker come nearer to each other in the second half of most contacts and at no other time, the marker lies
    in front of that joint, and the distance is none of a rigid segment.
    """
    exchanged = list(signals.exchanges(trial.markers, foot_mm / 1000))
    faults = [_exchange_fault(trial, study, *found, foot_mm) for found in exchanged]
    mended = signals.exchanged_back(trial.markers, exchanged)
    examined = 0
    for first, second, allowed_mm in _pairs(foot_mm, shank_mm):
        apart = signals.distance(mended, first, second)
        if apart is None:
            continue
        off = signals.departure(apart) * 1000
        known = int(np.isfinite(off).sum())
        examined += known
        beyond = np.flatnonzero(off > allowed_mm)
        if 100 * len(beyond) > share_percent * known and not _bends_at_the_toes(work, first, second, apart, beyond):
            faults.append(_distance_fault(trial, study, first, second, apart, allowed_mm))
    return looked(examined, faults) if examined else nothing("no two markers of one foot or shank")


def _bends_at_the_toes(work: Workspace, first: str, second: str, apart: np.ndarray, beyond: np.ndarray) -> bool:
    """Whether heel and forefoot marker are too near to each other, in pushing off, in most contacts, and only then."""
    heel, toe, _ = signals.FOOT
    side = first.rsplit("_", 1)[1]
    if (first, second) != (f"{heel}_{side}", f"{toe}_{side}") or (apart[beyond] > np.nanmedian(apart)).any():
        return False
    times = beyond / (work.trial.marker_rate_hz or 1.0)
    own = [row for row in work.footfalls.records if row["side"] == side and np.isfinite(row["contact_time_s"])]
    pushing = [
        (times >= (row["contact_s"] + row["toe_off_s"]) / 2) & (times <= row["toe_off_s"] + LEAVING_S) for row in own
    ]
    if not pushing:
        return False
    with_bend = sum(bool(one.any()) for one in pushing)
    first_s, last_s = own[0]["contact_s"], own[-1]["toe_off_s"] + LEAVING_S
    judged = (times >= first_s) & (times <= last_s)
    within = np.any(pushing, axis=0)[judged]
    return 2 * with_bend > len(own) and bool(judged.any()) and float(within.mean()) > PUSHING_SHARE


def _pairs(foot_mm: float, shank_mm: float) -> list[tuple[str, str, float]]:
    heel, second, fifth = signals.FOOT
    pairs = [(heel, second, foot_mm), (heel, fifth, foot_mm), (second, fifth, foot_mm), (*signals.SHANK, shank_mm)]
    return [(f"{a}_{side}", f"{b}_{side}", allowed) for side in signals.SIDES for a, b, allowed in pairs]


def _exchange_fault(
    trial: Trial, study: Study, first: str, second: str, third: str, swapped: np.ndarray, allowed_mm: float
) -> dict[str, Any]:
    """The labels of ``first`` and ``second`` change places; shown on the distance from the third marker."""
    apart = signals.distance(trial.markers, third, first)
    assert apart is not None  # exchanges() found it
    fault = _distance_fault(trial, study, third, first, apart, allowed_mm, np.flatnonzero(swapped))
    one, other = signals.named(trial, study, first), signals.named(trial, study, second)
    return {
        **fault,
        "diagnosis": f"; exchanging {one} and {other} in {int(swapped.sum())} frames brings both back",
        "what_to_do": f"there and in {int(swapped.sum()) - 1} other frames {one} carries the label of {other} and the "
        f"other way round. Exchange the two labels in these frames and export again",
        "place": f"{first} and {second}, from frame {fault['frame']}",
    }


def _distance_fault(
    trial: Trial,
    study: Study,
    first: str,
    second: str,
    apart: np.ndarray,
    allowed_mm: float,
    frames: np.ndarray | None = None,
) -> dict[str, Any]:
    off = signals.departure(apart) * 1000
    bad = np.flatnonzero(off > allowed_mm)
    frame = int((bad if frames is None else frames)[0])
    worst_s = int(np.nanargmax(off)) / (trial.marker_rate_hz or 1.0)
    usual = float(np.nanmedian(apart))
    return {
        "first": signals.named(trial, study, first),
        "second": signals.named(trial, study, second),
        "median_mm": 1000 * usual,
        "worst_mm": float(np.nanmax(off)),
        "allowed_mm": allowed_mm,
        "bad": len(bad),
        "frames": int(np.isfinite(off).sum()),
        "frame": frame + 1,
        "diagnosis": "",
        "what_to_do": "see whether one of the two carries another marker's label there and relabel it. If "
        "a marker came loose, leave the trial out and note it in the comment column",
        "place": f"{first} to {second}, from frame {frame + 1}",
        "moment_s": worst_s,
        "shows": shown.apart(trial, first, second, worst_s, usual=usual, within=allowed_mm / 1000),
    }
