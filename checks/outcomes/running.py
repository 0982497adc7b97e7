"""Whether what was computed from a trial can be running: number, order, duration and size of footfalls, speed.

Looks at the footfalls of one trial. Whether a whole laboratory differs from the others is another subject.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.signals import measures as signals
from schemas.study import Study
from schemas.trial import FORWARD, UP, Trial


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
        "signal": "force:all:vertical",
    }
    return looked(max(1, count), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{wrong} of {footfalls} contacts last too short or too long, {place} the most: {contact_time_found_s:.3f} s.",
    expected="A running contact lasts {shortest_s:g} to {longest_s:g} s.",
    remedy="Look at the vertical force there. Too short: a vibration or a touch that is not a footfall, or "
    "a foot half off the plate. Too long: a plate that does not come back to zero, two feet on one plate, "
    "or walking. Mend the zero or cut the trial to the part with running and export again.",
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
        **_at(worst, "force:all:vertical"),
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
        **_at(worst, "force:all:vertical"),
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
    fault = {
        "wrong": len(same),
        "pairs": int(close.sum()),
        "apart_s": float(apart[same[0]]),
        "side": row["side"],
        **_at(row, "force:all:vertical"),
    }
    return looked(close.sum(), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="Fore-aft impulse adds up to {net_percent:+.1f} % of the vertical impulse over {count} footfalls.",
    expected="At steady speed braking and propulsion cancel, within {share_percent:g} % of the vertical impulse.",
    remedy="Check the fore-aft zero of the plate with the belt running and nobody on it, then whether belt "
    "and plate were level (1 % of slope shows as 1 % here) and whether the runner drifted along the belt.",
    words=("net_percent", "count"),
    limits={"share_percent": Limit("%", "common practice; equality at steady speed follows from Newton's second law")},
)
def fore_aft_impulse_balances_at_steady_speed(trial: Trial, footfalls: Rows, *, share_percent: float = 2.0) -> Looked:
    """On a treadmill braking and propulsive impulse cancel over the trial.

    The runner stays in place, so what brakes must also drive; a remainder is an offset, a slope or crosstalk from the
    vertical channel, and it goes into braking and propulsion in full.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    if trial.surface != "treadmill":
        return nothing("not a treadmill: one pass need not be at steady speed")
    net_s, vertical_s = (footfalls.numbers(f"{name}_impulse_bw_s") for name in ("net_fore_aft", "vertical"))
    both = np.flatnonzero(np.isfinite(net_s) & (vertical_s > 0))
    if len(both) < 2:
        return nothing("fewer than two footfalls with both impulses")
    net = 100 * float(net_s[both].sum() / vertical_s[both].sum())
    if abs(net) <= share_percent:
        return looked(len(both))
    fault = {
        "net_percent": net,
        "count": len(both),
        "place": "all plates",
        "moment_s": float(footfalls.numbers("contact_s")[both[0]]),
        "signal": "force:all:fore_aft",
    }
    return looked(len(both), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The runner went at {speed_found:.2f} m/s, {off_percent:+.0f} % off.",
    expected="{wanted:.2f} m/s, the {which} that the tables tell, within {allowed_percent:.0f} %.",
    remedy="Check the {which} in trials.csv, or where it says none in sessions.csv (m/s, not km/h), and the speed that "
    "{source} showed. If the speed in the table is wrong, correct it and send the delivery again; if the runner was "
    "off, leave the trial as it is.",
    words=("speed_found", "off_percent", "wanted", "which", "allowed_percent", "source"),
    limits={"speed_fraction": Limit("1", "common practice: labs hold 5 % while recording; twice that is noted")},
)
def speed_keeps_to_the_protocol(trial: Trial, footfalls: Rows, study: Study, *, speed_fraction: float = 0.10) -> Looked:
    """The runner runs at the speed the protocol sets, and on a treadmill at the one measured of the belt.

    Nearly every outcome changes with speed, so a comparison of footwear at two speeds compares speeds. On a treadmill
    the speed is that of the foot while it stands on the belt, which is independent of what the tables say.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    told = {"set speed": trial.set_speed_m_per_s, "belt speed": trial.belt_speed_m_per_s}
    known = {which: speed for which, speed in told.items() if speed and np.isfinite(speed)}
    if not known:
        return nothing("no speed is set")
    if trial.surface == "treadmill":
        speeds = _belt_speeds(trial, footfalls, study.processing.forefoot_role)
    else:
        speeds = footfalls.numbers("speed_m_per_s")
        speeds = speeds[np.isfinite(speeds)]
    if not len(speeds):
        return nothing("no speed is known, for want of markers")
    speed, first = float(np.median(speeds)), footfalls.records[0]
    which, wanted = max(known.items(), key=lambda one: abs(speed / one[1] - 1))
    if abs(speed / wanted - 1) <= speed_fraction:
        return looked(len(speeds))
    fault = {
        "speed_found": speed,
        "wanted": wanted,
        "which": which,
        "off_percent": 100 * (speed / wanted - 1),
        "allowed_percent": 100 * speed_fraction,
        "source": "the treadmill" if trial.surface == "treadmill" else "the timing gates",
        **_at(first, f"marker:{study.processing.forefoot_role}_{first['side']}:forward"),
    }
    return looked(len(speeds), [fault])


def _belt_speeds(trial: Trial, footfalls: Rows, role: str) -> np.ndarray:
    """Backward speed of the forefoot from 30 to 60 % of each contact, when it stands on the belt; (footfalls,) m/s."""
    speeds = []
    for contact, toe_off, side in zip(*(footfalls.columns[n] for n in ("contact_s", "toe_off_s", "side")), strict=True):
        xyz = trial.markers.get(f"{role}_{side}")
        if xyz is None or not (np.isfinite(contact) and np.isfinite(toe_off)):
            continue
        start, stop = (max(0, int(at * trial.marker_rate_hz)) for at in (contact, toe_off))
        times = np.arange(start, min(stop + 2, len(xyz))) / trial.marker_rate_hz
        share, forward = (times - contact) / (toe_off - contact), xyz[start : stop + 2, FORWARD]
        use = (share >= 0.3) & (share <= 0.6) & np.isfinite(forward)
        if use.sum() >= 3:
            since = times[use] - times[use].mean()
            speeds.append(-float(since @ forward[use] / (since @ since)))
    return np.array(speeds)


def _at(footfall: Any, signal: str) -> dict[str, Any]:
    return {
        "place": signals.footfall_place(footfall),
        "moment_s": float(footfall["contact_s"]),
        "signal": signal,
    }
