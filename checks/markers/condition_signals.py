"""Whether the signals of a trial fit the condition its row names. One trial and the standing trial of its condition."""

from __future__ import annotations

import numpy as np

from checks import showing as show
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.signals import measures as signals
from schemas.study import Study
from schemas.trial import UP, Posture, Trial


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="While the feet are flat on the ground, the forefoot markers are {off_mm:+.0f} mm higher than in standing "
    "trial {standing} of the same condition, '{condition}'.",
    expected="The same height within {height_mm:g} mm: the sole under the foot is the same.",
    remedy="Suspected: one of the two trials was recorded in other footwear than '{condition}' (a cushioned shoe lifts "
    "the foot by 20 to 30 mm), or the markers were put on anew in between. Look into the protocol sheet, correct the "
    "condition in trials.csv, and send the trial again; if nothing was wrong, leave it.",
    words=("off_mm", "standing", "condition"),
    limits={
        "height_mm": Limit(
            "mm", "own limit: half a cushioned sole; a sole gives by a few mm under load. Thin soles stay unseen"
        )
    },
)
def feet_stand_as_high_as_in_the_standing_trial(
    trial: Trial, footfalls: Rows, posture: Posture | None, study: Study, *, height_mm: float = 13.0
) -> Looked:
    """In mid-contact the forefoot is as high above the ground as in the static calibration trial of the condition.

    A shoe lifts the foot by its sole, so a wrong condition shows as a step in height; every difference between
    conditions is lost in a trial whose condition is wrong.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    if posture is None:
        return nothing("no standing trial of the session and condition")
    roles = dict.fromkeys((study.processing.forefoot_role, study.processing.toe_role))
    heights = []  # contact, role with side, mm above the standing trial
    for row in footfalls.records:
        for role in (f"{role}_{row['side']}" for role in roles):
            off = _above_standing(trial, posture, role, float(row["contact_s"]), float(row["toe_off_s"]))
            if np.isfinite(off):
                heights.append((float(row["contact_s"]), role, 1000 * off))
    if not heights:
        return nothing("no forefoot marker in both trials while a foot is flat")
    middle = float(np.median([off for *_, off in heights]))
    if abs(middle) <= height_mm:
        return looked(len(heights))
    moment_s, *_ = max(heights, key=lambda found: found[2] * np.sign(middle))
    fault = {
        "off_mm": middle,
        "standing": posture.trial_id,
        "condition": trial.condition,
        "place": "all contacts",
        "moment_s": moment_s,
        "shows": show.picture(
            show.one_by_one(
                "Height of the forefoot markers in flat contact, more than standing",
                "mm",
                [off for *_, off in heights],
                ["left" if role.endswith("left") else "right" for _, role, _ in heights],
                low=-height_mm,
                high=height_mm,
                across="Marker and contact, in order",
            )
        ),
    }
    return looked(len(heights), [fault])


def _above_standing(trial: Trial, posture: Posture, role: str, contact_s: float, toe_off_s: float) -> float:
    """Mean height of a marker from 30 to 50 % of a contact, when the foot is flat, above the standing trial's; m."""
    path, stood = trial.markers.get(role), posture.markers.get(role)
    if path is None or stood is None or not (np.isfinite(contact_s) and toe_off_s > contact_s):
        return float("nan")
    start, stop = (max(0, int(at * trial.marker_rate_hz)) for at in (contact_s, toe_off_s))
    during = path[start : stop + 2, UP]
    share = (np.arange(start, start + len(during)) / trial.marker_rate_hz - contact_s) / (toe_off_s - contact_s)
    flat = during[(share >= 0.3) & (share <= 0.5)]
    flat = flat[np.isfinite(flat)]
    return float(flat.mean() - stood[UP]) if len(flat) else float("nan")
