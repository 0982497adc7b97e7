"""Whether foot sensors tell the contacts that are there: two levels, every contact once, the right foot, no delay.

Levels and closings are found here by the settings that outcomes use; how well methods agree is taken from the outcomes'
own tables. Accelerometers are judged by these tables only.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from checks.sensors import shown
from pipelines.science.events.switches import (
    Switch,
    agreement_of,
    by_sensor,
    delays,
    every_contact_once,
    markers_are_mirrored,
    on_other_feet,
    rows_of_both_feet,
    slope,
    touches_that_tell,
)
from pipelines.science.frames import Rows
from pipelines.science.muscles.measures import contacts_by_side, file_of
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.trial import Trial

_NO_SWITCH = "no footswitch was recorded"
_MATCHED = "sensor_against"  # clocks matched on the contacts themselves: their delay is zero by construction


def _fault(switch: Switch, trial: Trial, channels: ChannelFacts | None, at_s: float, **values: Any) -> dict[str, Any]:
    return {
        "label": repr(switch.signal.label),
        "side": switch.signal.side,
        "place": f"foot sensor {switch.signal.label}",
        "file": file_of(switch.signal, trial, channels),
        "signal": f"channel:{switch.signal.label}",
        "moment_s": min(max(at_s, 0.0), trial.duration_s),
        **values,
    }


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {side} foot sensor {label} does not switch: it stays between {low:.3g} and {high:.3g} {unit} while the "
    "{foot} touches the ground {count} times.",
    expected="Two levels, one on the ground and one in the air.",
    remedy="Press the sole by hand and watch the channel; look for a broken lead, a sensor that slipped from under the "
    "foot, or the wrong input. Where contacts come from this sensor the trial must be recorded again.",
    words=("side", "label", "low", "high", "unit", "foot", "count"),
)
def foot_sensors_switch(trial: Trial, channels: ChannelFacts | None, footfalls: Rows, work: Workspace) -> Looked:
    """A footswitch of a running trial has two levels.

    A switch that never closes gives no contacts at all, and what was to be timed by it, a second file's clock or the
    steps themselves, is timed by something else or not at all. Where contacts come from the sensors themselves, a dead
    one leaves none of its foot; then the other foot's tell, since between two of them a runner lands on this one.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    by_side = contacts_by_side(footfalls)
    touches = [(switch, touches_that_tell(switch, by_side)) for switch in work.switches]
    judged = [(switch, touched) for switch, touched in touches if touched]
    if not judged:
        return nothing(_NO_SWITCH)
    faults = []
    for switch, touched in judged:
        if switch.level is None:
            low, high = np.nanpercentile(switch.signal.samples, [1, 99])
            found = {"low": low, "high": high, "unit": switch.signal.unit, "count": touched.count, "foot": touched.foot}
            proof = shown.one_level(switch, work.processing.sensors.switch_contrast, touched.first_s)
            faults.append(_fault(switch, trial, channels, touched.first_s, **found, signal=None, shows=proof))
    return looked(len(judged), faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {side} foot sensor {label} {what} near {moment_s:.2f} s{more}.",
    expected="One closing for each contact of the foot.",
    remedy="Look for a sensor that slipped or is worn out, or a lead that breaks for a moment; tape the sensor under "
    "the part of the foot that lands first. Steps that were timed by this sensor alone are wrong at that place.",
    words=("side", "label", "what", "more"),
    limits={
        "missed": Limit("1", "own choice: strides of a steady runner vary by a few per cent, a missed contact doubles"),
        "doubled": Limit("1", "own choice: a doubled contact is far less than a stride away"),
    },
)
def foot_sensors_close_once_for_each_contact(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    missed: float = 1.6,
    doubled: float = 0.6,
) -> Looked:
    """A footswitch closes once for each contact of its foot.

    A contact that it misses makes a stride of double length, one that it tells twice a stride that is none. Contacts
    are compared with those of force or markers; where the footfalls rest on the sensors themselves, with the sensor's
    own usual interval.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    faults, judged = [], 0
    for switch in work.switches:
        if switch.level is None:
            continue
        wrong = every_contact_once(switch, footfalls, missed, doubled)
        judged += wrong is not None
        if wrong:
            rest = len(wrong) - 1
            more = f", and so at {rest} other {'moment' if rest == 1 else 'moments'}" if rest else ""
            at_s, what = wrong[0]
            own = [] if by_sensor(footfalls) else contacts_by_side(footfalls)[str(switch.signal.side)]
            usual = float(np.median(np.diff(switch.closed_s[:, 0]))) if len(switch.closed_s) > 1 else 0.0
            proof = shown.not_once(switch, own, at_s, (doubled * usual, missed * usual))
            faults.append(_fault(switch, trial, channels, at_s, what=what, more=more, signal=None, shows=proof))
    return looked(judged, faults) if judged else nothing(_NO_SWITCH)


def _method(row: Mapping[Any, Any]) -> str:
    """What the sensor is compared with, in words."""
    pair = {row["event_method"], row["reference_method"]}
    return "in force" if "force" in pair else "of the foot markers"


def _sensor_of(trial: Trial, side: str) -> str | None:
    labels = [s.label for s in trial.signals if s.role == "foot_sensor" and s.side == side]
    return labels[0] if labels else None


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The foot sensors close with the other foot: of {count} contacts {method} {hits} agree with the sensor of "
    "their own side, left and right alike.",
    expected="Each sensor closes within 0.1 s of its own foot's contacts.",
    remedy="Look which sensor lay under which foot: left and right were exchanged in channels.csv, in the labels, or "
    "in the shoes. Correct the side in channels.csv; nothing has to be recorded again.",
    words=("count", "method", "hits"),
    limits={"most_share": Limit("1", "own choice: chance brings few contacts together, the own foot nearly all")},
)
def foot_sensors_are_on_their_own_feet(trial: Trial, work: Workspace, *, most_share: float = 0.2) -> Looked:
    """Left and right foot sensors close with their own foot.

    Where contacts come from sensors, exchanged sides give every outcome to the other leg, and a second file's clock is
    half a stride off.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    if markers_are_mirrored(trial):
        return nothing("left and right markers are exchanged, which left_and_right_are_on_their_sides tells")
    rows = rows_of_both_feet(work.event_agreement)
    if not rows:
        return nothing("contacts of both feet by sensor and by another method are needed to tell")
    count = sum(min(r["judged_count"], r["reference_count"]) for r in rows)
    hits = sum(r["pair_count"] for r in rows)
    if not on_other_feet(rows, most_share):
        return looked(count)
    fault = {"count": count, "hits": hits or "none", "method": _method(rows[0]), "place": "left and right foot sensor"}
    other = "force" if "force" in {rows[0]["event_method"], rows[0]["reference_method"]} else "markers"
    lanes = {
        f"{side} foot, by {'sensor' if method == 'sensor' else other}": [
            c.start_s for own, c in work.contacts.by_method.get(method, []) if own == side
        ]
        for side in signals.SIDES
        for method in (other, "sensor")
    }
    fault |= {"moment_s": trial.duration_s / 2}
    fault |= {"shows": shown.other_foot(lanes, 100 * hits / max(count, 1), 100 * most_share)}
    return looked(count, [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {side} foot sensor {label} closes {delay_ms:.0f} ms {when} contact {method}, on average over {count} "
    "contacts.",
    expected="Not more than {most_ms:g} ms apart.",
    remedy="Look for a delay that a wireless transmitter adds (its data sheet states it) and that the recording "
    "program should take off, for a sensor under a part of the foot that lands late, or for a filter on this channel. "
    "Everything recorded with the same device is late by the same time.",
    words=("side", "label", "delay_ms", "when", "method", "count"),
    limits={"most_ms": Limit("ms", "own choice: published rules for one event differ by tens of ms; common practice")},
)
def foot_sensors_close_at_contact(trial: Trial, work: Workspace, *, most_ms: float = 30.0) -> Looked:
    """Foot sensors close when the foot meets the ground, and not some time later.

    A constant delay of a sensor is most often that of the whole device, muscles included: onsets before contact shift
    by as much, in one site and not in the others.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    rows = [r for r in agreement_of(work.event_agreement) if r["pair_count"] >= 2 and not _matched_on_contacts(r)]
    if not rows:
        return nothing("no contacts by sensor and by another method on independent clocks")
    faults = []
    for row in rows:
        ahead = 1 if row["event_method"] == "sensor" else -1
        late_s = ahead * float(row["bias_s"])
        if abs(late_s) > most_ms / 1000:
            faults.append(_late(trial, row, late_s) | shown.late(late_s, most_ms / 1000, work, row["side"]))
    return looked(sum(r["pair_count"] for r in rows), faults)


def _late(trial: Trial, row: Mapping[Any, Any], late_s: float) -> dict[str, Any]:
    label = _sensor_of(trial, row["side"]) or "not named"
    return {
        "side": row["side"],
        "label": repr(label),
        "delay_ms": 1000 * abs(late_s),
        "when": "after" if late_s > 0 else "before",
        "method": _method(row),
        "count": row["pair_count"],
        "place": f"foot sensor {label}",
        "signal": f"channel:{label}",
        "moment_s": trial.duration_s / 2,
    }


def _matched_on_contacts(row: Mapping[Any, Any]) -> bool:
    return str(row.get("clock_basis")).startswith(_MATCHED)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="From its first to its last contact the {side} foot sensor {label} falls {way} by {change_ms:.0f} ms against "
    "contact {method} ({count} contacts in {span_s:.1f} s).",
    expected="A delay that stays the same to {most_ms:g} ms from start to end.",
    remedy="Look whether the device with the sensors loses samples or runs at another rate than its file says: compare "
    "how long both recordings of one trial are. Muscles recorded with it drift by the same time.",
    words=("side", "label", "way", "change_ms", "method", "count", "span_s"),
    limits={"most_ms": Limit("ms", "own choice: as much as the match of two clocks may leave")},
)
def foot_sensors_keep_their_delay(
    trial: Trial,
    footfalls: Rows,
    work: Workspace,
    *,
    most_ms: float = 10.0,
) -> Looked:
    """The time between a sensor's closing and contact stays the same over the trial.

    Two signals of one clock keep their delay. One that grows means that the sensor's channel runs on another rate, or
    lost samples on the way, and the later part of the trial is timed wrongly.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    if any(_matched_on_contacts(r) for r in agreement_of(work.event_agreement)):
        return nothing("the sensors' clock was matched on these contacts")
    found, judged = [], 0
    for side, (at_s, late_s, method) in delays(footfalls, work.footfall_events).items():
        if len(at_s) < 4:
            continue
        judged += len(at_s)
        change, error = slope(at_s, late_s)
        span_s = float(np.ptp(at_s))
        if abs(1000 * change * span_s) > max(most_ms, 3000 * error * span_s):
            fault = _drifting(trial, side, float(at_s.max()), 1000 * change * span_s, span_s, len(at_s), method)
            found.append(fault | shown.drift(change * span_s, late_s.tolist(), side, most_ms / 1000))
    return looked(judged, found) if judged else nothing("fewer than four contacts by sensor and by another method")


def _drifting(
    trial: Trial, side: str, at_s: float, change_ms: float, span_s: float, count: int, method: str
) -> dict[str, Any]:
    label = _sensor_of(trial, side) or "not named"
    return {
        "side": side,
        "label": repr(label),
        "way": "behind" if change_ms > 0 else "ahead",
        "change_ms": abs(change_ms),
        "method": method,
        "count": count,
        "span_s": span_s,
        "place": f"foot sensor {label}",
        "signal": f"channel:{label}",
        "moment_s": min(max(at_s, 0.0), trial.duration_s),
    }
