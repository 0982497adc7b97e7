"""Reading footswitches for checks: levels, closings, and delays against other methods. Registers no check."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.science.muscles.measures import contacts_by_side
from schemas.mechanics import runs
from schemas.processing_signals import SensorProcessing
from schemas.study import Study
from schemas.trial import RIGHT, FloatArray, Signal, Trial

if TYPE_CHECKING:
    import pandas as pd

#: UCUM units of an acceleration; a foot sensor in any other unit is a switch.
_ACCELERATIONS = frozenset({"m/s2", "m.s-2", "cm/s2", "mm/s2", "[g]", "m[g]"})
#: Own choice: a closing within this of a contact belongs to it (a step lasts about 0.35 s).
NEAR_S = 0.1


@dataclass(frozen=True)
class Switch:
    """A footswitch. level: half-way between its two levels, None without two. closed_s: (n, 2) s, start and end."""

    signal: Signal
    level: float | None
    closed_s: FloatArray


def switches_of(trial: Trial, study: Study) -> list[Switch]:
    """The footswitches of a trial with a side and some samples; accelerometers are left out."""
    found = []
    for signal in trial.signals:
        usable = signal.role == "foot_sensor" and signal.side in ("left", "right") and signal.rate_hz > 0
        if usable and signal.unit not in _ACCELERATIONS and np.isfinite(signal.samples).sum() > 3:
            level = _level(signal.samples, study.processing.sensors.switch_contrast)
            found.append(Switch(signal, level, _closed(signal, level, study.processing.sensors)))
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


def _level(samples: FloatArray, contrast: float) -> float | None:
    """Half-way between the medians of upper and lower samples; None unless these lie further apart than they spread."""
    known = samples[np.isfinite(samples)]
    low, high = np.percentile(known, [1, 99])
    middle = (low + high) / 2
    below, above = known[known < middle], known[known >= middle]
    if not len(below) or not len(above):
        return None
    low, high = float(np.median(below)), float(np.median(above))
    spread = (np.abs(below - low).sum() + np.abs(above - high).sum()) / len(known)
    return (low + high) / 2 if high - low > contrast * spread else None


def _closed(signal: Signal, level: float | None, settings: SensorProcessing) -> FloatArray:
    """(n, 2) s: start and end of each spell on the ground, bounces closed; those cut off by the ends are left out."""
    if level is None:
        return np.empty((0, 2))
    known = np.isfinite(signal.samples)
    high = signal.samples >= level
    low_is_closed = {"high": False, "low": True, "shorter": bool(np.mean(high[known]) > 0.5)}
    closed = known & (high != low_is_closed[settings.switch_closed_level])
    spells: list[list[int]] = []
    for start, stop in runs(closed):
        if spells and start - spells[-1][1] <= settings.shortest_open_s * signal.rate_hz:
            spells[-1][1] = stop
        else:
            spells.append([start, stop])
    least = settings.shortest_contact_s / 4 * signal.rate_hz  # a contact told twice leaves short pieces, which count
    whole = [s for s in spells if s[0] > 0 and s[1] < len(closed) and s[1] - s[0] >= least]
    return signal.start_s + np.array(whole, float).reshape(-1, 2) / signal.rate_hz


def every_contact_once(
    switch: Switch, footfalls: pd.DataFrame, missed: float, doubled: float
) -> list[tuple[float, str]] | None:
    """Moments in s at which the switch missed a contact or told one twice, in words; None where that cannot be told.

    It cannot where the switch closes with the other foot, which is for foot_sensors_are_on_their_own_feet.
    """
    if (footfalls["event_method"] == "sensor").any():
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


def agreement_of(outcomes: Mapping[str, pd.DataFrame] | None) -> list[dict[Any, Any]]:
    """Rows on contact by sensor and by force or markers, the most trusted of the two for each side."""
    rows = (outcomes or {}).get("event_agreement")
    if rows is None or not len(rows):
        return []
    found: dict[str, dict[Any, Any]] = {}
    for row in rows[rows["event"] == "contact"].to_dict("records"):
        pair = {row["event_method"], row["reference_method"]}
        if "sensor" in pair and (row["side"] not in found or "force" in pair):
            found[row["side"]] = row
    return list(found.values())


def rows_of_both_feet(outcomes: Mapping[str, pd.DataFrame] | None) -> list[dict[Any, Any]]:
    """The rows of ``agreement_of`` where both feet have two contacts by either method; none otherwise."""
    rows = [r for r in agreement_of(outcomes) if min(r["judged_count"], r["reference_count"]) >= 2]
    return rows if len(rows) == 2 else []


def on_other_feet(rows: list[dict[Any, Any]], most_share: float = 0.2) -> bool:
    """Whether on both feet hardly any contact by sensor is one by the other method too."""
    return bool(rows) and all(
        r["pair_count"] <= most_share * min(r["judged_count"], r["reference_count"]) for r in rows
    )


def delays(
    footfalls: pd.DataFrame, outcomes: Mapping[str, pd.DataFrame] | None
) -> dict[str, tuple[FloatArray, FloatArray, str]]:
    """Side -> contacts (n,) s, how late the sensor closes at each (n,) s, and against what, in words.

    Where footfalls rest on the sensors, the other method is the foot markers, and its difference is turned round.
    """
    rows = (outcomes or {}).get("footfall_events")
    if rows is None or not len(rows):
        return {}
    by_sensor = bool((footfalls["event_method"] == "sensor").any())
    rows = rows[rows["event_method"] == ("markers" if by_sensor else "sensor")].dropna(subset="contact_difference_s")
    starts = footfalls.set_index("footfall_number")["contact_s"]
    rows = rows[rows["footfall_number"].isin(starts.index)].sort_values("footfall_number")
    words = "in force" if not by_sensor and (footfalls["event_method"] == "force").all() else "of the foot markers"
    found = {}
    for side, own in rows.groupby("side"):
        late = own["contact_difference_s"].to_numpy(float) * (-1.0 if by_sensor else 1.0)
        found[str(side)] = starts.loc[own["footfall_number"]].to_numpy(float), late, words
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
