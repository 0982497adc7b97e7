"""Whether what was computed from a trial can be running: number, order, duration and size of footfalls.

Looks at the footfalls of one trial; speed is in ``speed``. Whether a whole laboratory differs from the others is
another subject.
"""

from __future__ import annotations

import numpy as np

from checks.outcomes import shown
from checks.outcomes.places import at_contact
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.signals import measures as signals
from schemas.trial import UP, Trial


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{count} complete footfalls were found.",
    expected="At least {needed:g} on a {surface}.",
    remedy="Look at the vertical force: {what_to_do}.",
    words=("count", "needed", "surface", "what_to_do"),
    limits={
        "treadmill_footfalls": Limit(
            "1",
            "common practice for taking part at all; a stable mean needs 25 steps or more "
            "(Oliveira & Pirscoveanu, Sci Rep)",
        ),
        "runway_footfalls": Limit("1", "common practice"),
    },
)
def enough_footfalls_are_complete(
    trial: Trial, footfalls: Rows, *, treadmill_footfalls: float = 6, runway_footfalls: float = 1
) -> Looked:
    """A running trial holds enough complete footfalls.

    A mean over too few footfalls says more about those footfalls than about the runner.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    count = int(np.isfinite(footfalls.numbers("contact_time_s")).sum())
    treadmill = trial.surface == "treadmill"
    needed = treadmill_footfalls if treadmill else runway_footfalls
    if count >= needed:
        return looked(count)
    peak = trial.force[:, UP]
    fault = {
        "count": count,
        "needed": needed,
        "surface": trial.surface,
        "what_to_do": "if the runner is on the belt for longer than was exported, export the whole "
        "recording; if it never comes back to zero between steps, the plate's zero is off"
        if treadmill
        else "if the foot hit a plate that was left out of the export, switch it on and export again; if "
        "no plate was hit, send another pass in place of this one",
        "place": "all plates",
        "moment_s": float(np.nanargmax(peak) / (trial.analog_rate_hz or 1.0)) if np.isfinite(peak).any() else None,
        "shows": shown.too_few(trial, count, needed),
    }
    return looked(max(1, count), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{wrong} of {footfalls} contacts last too short or too long, {place} the most: {contact_time_found_s:.3f} s.",
    expected="A running contact lasts {shortest_s:g} to {longest_s:g} s.",
    remedy="Look at the vertical force there. Too short: a vibration or a touch that is not a footfall, or "
    "a foot half off the plate. Too long: a plate that does not come back to zero, two feet on one plate, "
    "or walking. Correct the zero or cut the trial to the part with running and export again.",
    words=("wrong", "footfalls", "contact_time_found_s"),
    limits={
        "shortest_s": Limit("s", "common practice: sprinting"),
        "longest_s": Limit("s", "common practice: the slowest jog; running at 2.7 m/s takes 0.27 (SD 0.02) s"),
    },
)
def contact_times_are_credible(
    trial: Trial, footfalls: Rows, *, shortest_s: float = 0.10, longest_s: float = 0.45
) -> Looked:
    """Each contact lasts as long as a running contact can.

    Contact time goes into duty factor, stiffness and loading rate, so a false contact spoils all of them.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    known = [row for row in footfalls.records if np.isfinite(row["contact_time_s"])]
    times = np.array([row["contact_time_s"] for row in known])
    beyond = np.maximum(shortest_s - times, times - longest_s)
    if not (beyond > 0).any():
        return looked(len(known))
    worst = known[int(np.argmax(beyond))]
    fault = {
        "wrong": int((beyond > 0).sum()),
        "footfalls": len(known),
        "contact_time_found_s": float(worst["contact_time_s"]),
        **at_contact(
            worst,
            shown.each("Contact time of each footfall", "s", known, "contact_time_s", low=shortest_s, high=longest_s),
        ),
    }
    return looked(len(known), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{wrong} of {footfalls} active peaks are too low or too high, that of {place} the "
    "most: {peak_bw:.2f} times body weight.",
    expected="The active peak of running is {lowest_bw:g} to {highest_bw:g} times body weight.",
    remedy="All footfalls: check the body mass in sessions.csv and the gain of the plate. One footfall: "
    "the foot was partly beside the plate, or two feet were on it; send another trial in place of this one.",
    words=("wrong", "footfalls", "peak_bw"),
    limits={
        "lowest_bw": Limit("{BW}", "thrust maximum 1.2 to 2.5 from walking to fast running (Keller et al. 1996)"),
        "highest_bw": Limit("{BW}", "common practice; 2.0 to 2.9 from 1.5 to 6 m/s (Nilsson & Thorstensson 1989)"),
    },
)
def active_peaks_are_credible(
    trial: Trial, footfalls: Rows, *, lowest_bw: float = 1.2, highest_bw: float = 4.5
) -> Looked:
    """Each footfall's active peak, per body weight, is one a runner can have.

    It is the plainest sign of a wrong mass, a wrong gain or a foot that hit the plate only in part.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    known = [row for row in footfalls.records if np.isfinite(row["active_peak_bw"])]
    if not known:
        return nothing("no active peak is known, for want of force or body mass")
    peaks = np.array([row["active_peak_bw"] for row in known])
    beyond = np.maximum(lowest_bw / peaks.clip(1e-9), peaks / highest_bw)
    if not (beyond > 1).any():
        return looked(len(known))
    worst = known[int(np.argmax(beyond))]
    fault = {
        "wrong": int((beyond > 1).sum()),
        "footfalls": len(known),
        "peak_bw": float(worst["active_peak_bw"]),
        **at_contact(
            worst,
            shown.each("Active peak of each footfall", "{BW}", known, "active_peak_bw", low=lowest_bw, high=highest_bw),
        ),
    }
    return looked(len(known), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="After {apart_s:.2f} s {place} follows another {side} footfall; {wrong} of {pairs} pairs of "
    "footfalls are like that.",
    expected="Left and right take turns: contacts less than {within_s:g} s apart are of different feet.",
    remedy="Look at the foot markers at this moment: either a contact of the other foot was missed in "
    "between, so that the force needs a look, or the left and right labels change places there.",
    words=("apart_s", "side", "wrong", "pairs"),
    limits={
        "within_s": Limit(
            "s", "common practice: strides take 0.6 s or more; measured: quick runners' 0.57 s, a hop at most 0.55 s"
        )
    },
)
def sides_alternate(trial: Trial, footfalls: Rows, *, within_s: float = 0.55) -> Looked:
    """Left and right footfalls take turns.

    Two in a row on one side mean a missed contact or exchanged labels; step time, flight time and every difference
    between the legs are then wrong.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    known = [row for row in footfalls.records if row["side"] in signals.SIDES and np.isfinite(row["contact_s"])]
    known = sorted(known, key=lambda row: row["contact_s"])
    apart = np.diff([row["contact_s"] for row in known])
    sides = np.array([row["side"] for row in known])
    close = apart < within_s
    same = np.flatnonzero(close & (sides[1:] == sides[:-1]))
    if not close.any():
        return nothing("no two footfalls in a row")
    if not len(same):
        return looked(close.sum())
    row = known[int(same[0]) + 1]
    contacts = {side: [one["contact_s"] for one in known if one["side"] == side] for side in signals.SIDES}
    fault = {
        "wrong": len(same),
        "pairs": int(close.sum()),
        "apart_s": float(apart[same[0]]),
        "side": row["side"],
        **at_contact(row, shown.turns(contacts, float(known[int(same[0])]["contact_s"]), row["contact_s"], within_s)),
    }
    return looked(close.sum(), [fault])
