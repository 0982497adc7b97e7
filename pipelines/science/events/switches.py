"""Reading footswitches for checks: levels, closings, and delays against other methods. Registers no check."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipelines.science.events.from_sensors import closings, halfway, sensor_kind
from pipelines.science.frames import Rows
from pipelines.science.muscles.measures import contacts_by_side
from schemas.processing_signals import SensorProcessing
from schemas.trial import RIGHT, FloatArray, Signal, Trial

#: Own choice: a closing within this of a contact belongs to it (a step lasts about 0.35 s).
NEAR_S = 0.1


@dataclass(frozen=True)
class Switch:
    """A footswitch. level: half-way between its two levels, None without two. closed_s: (n, 2) s, start and end."""

    signal: Signal
    level: float | None
    closed_s: FloatArray


def switches_of(trial: Trial, settings: SensorProcessing) -> list[Switch]:
    """The footswitches of a trial with a side and some samples; accelerometers are left out.

    Levels and closings are those that contacts are made from, but for short closings: a contact told twice leaves short
    pieces, which count here.
    """
    found = []
    for signal in trial.signals:
        usable = signal.role == "foot_sensor" and signal.side in ("left", "right") and signal.rate_hz > 0
        if usable and sensor_kind(signal) == "switch" and np.isfinite(signal.samples).sum() > 3:
            samples = np.asarray(signal.samples, float)
            level = halfway(samples, settings.switch_contrast)
            spells = closings(samples, signal.rate_hz, level, settings, settings.shortest_contact_s / 4)
            closed = np.array([(c.start_s, c.end_s) for c in spells]).reshape(-1, 2)
            found.append(Switch(signal, level, signal.start_s + closed))
    return found


@dataclass(frozen=True)
class Touches:
    """Contacts by which a switch can be judged. foot: whose, in words. first_s: when it must have closed first."""

    foot: str
    count: int
    first_s: float


def touches_that_tell(switch: Switch, by_side: Mapping[str, list[tuple[float, float]]]) -> Touches | None:
    """Two contacts or more of the switch's foot, or else of the other one while it was recorded; None without."""
    own = by_side[str(switch.signal.side)]
    if len(own) >= 2:
        return Touches("foot", len(own), own[0][0])
    times = switch.signal.times_s
    other = by_side["left" if switch.signal.side == "right" else "right"]
    covered = [(start, end) for start, end in other if times[0] <= start and end <= times[-1]]
    if len(covered) < 2:
        return None
    return Touches("other foot", len(covered), (covered[0][1] + covered[1][0]) / 2)


def every_contact_once(
    switch: Switch, footfalls: Rows, missed: float, doubled: float
) -> list[tuple[float, str]] | None:
    """Moments in s at which the switch missed a contact or told one twice, in words; None where that cannot be told.

    It cannot where the switch closes with the other foot, which is for foot_sensors_are_on_their_own_feet.
    """
    if by_sensor(footfalls):
        return _by_intervals(switch.closed_s[:, 0], missed, doubled)
    by_side = contacts_by_side(footfalls)
    contacts = by_side[str(switch.signal.side)]
    times = switch.signal.times_s
    covered = [c for c in contacts if times[0] < c[0] - NEAR_S and c[1] + NEAR_S < times[-1]]
    if not covered:
        return None
    other = by_side["left" if switch.signal.side == "right" else "right"]
    if _share_closed(switch, covered) < 0.5 < _share_closed(switch, other):
        return None
    wrong = []
    for start, end in covered:
        own = _closings(switch, start, end)
        if own == 0:
            wrong.append((start, "misses a contact"))
        elif own > 1:
            wrong.append((start, f"closes {own} times in one contact"))
    return wrong


def _closings(switch: Switch, start: float, end: float) -> int:
    """How often the switch closes in a contact or shortly before it."""
    return int(np.sum((switch.closed_s[:, 0] > start - NEAR_S) & (switch.closed_s[:, 0] < end)))


def _share_closed(switch: Switch, contacts: list[tuple[float, float]]) -> float:
    """Part of these contacts in which the switch closes."""
    return float(np.mean([_closings(switch, *c) > 0 for c in contacts])) if contacts else 0.0


def _by_intervals(starts: FloatArray, missed: float, doubled: float) -> list[tuple[float, str]] | None:
    if len(starts) < 4:
        return None
    intervals = np.diff(starts)
    usual = float(np.median(intervals))
    wrong = []
    for start, interval in zip(starts, intervals, strict=False):
        if interval > missed * usual:
            wrong.append((float(start + usual), "misses a contact"))
        elif interval < doubled * usual:
            wrong.append((float(start + interval), "closes twice in one stride"))
    return wrong


def agreement_of(event_agreement: Rows) -> list[Mapping[str, Any]]:
    """Rows on contact by sensor and by force or markers, the most trusted of the two for each side."""
    found: dict[str, Mapping[str, Any]] = {}
    for row in event_agreement.records:
        pair = {row["event_method"], row["reference_method"]}
        if row["event"] == "contact" and "sensor" in pair and (row["side"] not in found or "force" in pair):
            found[row["side"]] = row
    return list(found.values())


def rows_of_both_feet(event_agreement: Rows) -> list[Mapping[str, Any]]:
    """The rows of ``agreement_of`` where both feet have two contacts by either method; none otherwise."""
    rows = [r for r in agreement_of(event_agreement) if min(r["judged_count"], r["reference_count"]) >= 2]
    return rows if len(rows) == 2 else []


def on_other_feet(rows: Sequence[Mapping[str, Any]], most_share: float = 0.2) -> bool:
    """Whether on both feet hardly any contact by sensor is one by the other method too."""
    return bool(rows) and all(
        r["pair_count"] <= most_share * min(r["judged_count"], r["reference_count"]) for r in rows
    )


def by_sensor(footfalls: Rows) -> bool:
    """Whether the footfalls rest on the sensors."""
    return "sensor" in footfalls.columns["event_method"]


def delays(footfalls: Rows, events: Rows) -> dict[str, tuple[FloatArray, FloatArray, str]]:
    """Side -> contacts (n,) s, how late the sensor closes at each (n,) s, and against what, in words.

    events: rows of ``footfall_events``. Where footfalls rest on the sensors, the other method is the foot markers, and
    its difference is turned round.
    """
    turned = by_sensor(footfalls)
    method, way = ("markers", -1.0) if turned else ("sensor", 1.0)
    by_force = all(one == "force" for one in footfalls.columns["event_method"])
    words = "in force" if not turned and by_force else "of the foot markers"
    starts = dict(zip(footfalls.columns["footfall_number"], footfalls.numbers("contact_s").tolist(), strict=True))
    told = [
        row
        for row in sorted(events.records, key=lambda row: row["footfall_number"])
        if row["event_method"] == method
        and np.isfinite(row["contact_difference_s"])
        and row["footfall_number"] in starts
    ]
    found = {}
    for side in sorted({row["side"] for row in told}):
        own = [row for row in told if row["side"] == side]
        at_s = np.array([starts[row["footfall_number"]] for row in own])
        found[side] = at_s, way * np.array([row["contact_difference_s"] for row in own]), words
    return found


def slope(at_s: FloatArray, late_s: FloatArray) -> tuple[float, float]:
    """Of a straight line by least squares: its slope, s per s, and the standard error of that (inf where unknown)."""
    away = at_s - at_s.mean()
    power = float(away @ away)
    if power <= 0 or len(at_s) < 3:
        return 0.0, float("inf")
    found = float(away @ late_s) / power
    left = late_s - late_s.mean() - found * away
    return found, float(np.sqrt(left @ left / (len(at_s) - 2) / power))


def markers_are_mirrored(trial: Trial) -> bool:
    """Whether the left heel or ankle lies to the right of the right one on average."""
    for role in ("calcaneus", "lateral_malleolus"):
        left, right = trial.markers.get(f"{role}_left"), trial.markers.get(f"{role}_right")
        if left is not None and right is not None and np.isfinite(left).any() and np.isfinite(right).any():
            return bool(np.nanmedian(left[:, RIGHT]) > np.nanmedian(right[:, RIGHT]))
    return False
