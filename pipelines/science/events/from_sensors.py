"""Contact and push-off from footswitches and foot-worn accelerometers. Which channel is which is told by ``Signal``.

Footswitch: the level half-way between its two levels, crossed by linear interpolation, with bounces closed (common
practice). Accelerometer: the impact peak of each stride is found first; contact is where the acceleration rises
through a part of it, push-off the largest later peak of the same contact (common practice; published rules of this
kind differ by tens of ms, Kiernan et al. 2023, Sensors 23:5022). Every number is a setting of the study file.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np

from pipelines.science.events.from_force import SIDES, Contact, find_contacts
from pipelines.science.signals.middle import median, percentiles
from schemas.processing_signals import SensorProcessing
from schemas.trial import FloatArray, Signal

Sensor = Literal["switch", "accelerometer"]

#: UCUM units in which a foot sensor is an accelerometer; in any other unit it is a switch.
ACCELERATION_UNITS = frozenset({"m/s2", "m.s-2", "cm/s2", "mm/s2", "[g]", "m[g]"})
#: Own choice: the usual impact peak is the median of the strongest peak in each stretch of this many shortest strides.
STRETCH_STRIDES = 3


def sensor_kind(signal: Signal) -> Sensor:
    """Switch or accelerometer, by the unit of the values."""
    return "accelerometer" if signal.unit in ACCELERATION_UNITS else "switch"


def sensor_contacts(signals: Iterable[Signal], settings: SensorProcessing) -> list[tuple[str, Contact]]:
    """Complete contacts of both feet as (side, contact) on the trial's clock, in order of time.

    signals: any; only those of role foot_sensor with a side are used. When a foot has several sensors the first one in
    which contacts are found speaks for it, footswitches before accelerometers. ``first`` and ``last`` of a contact are
    samples of its sensor. Contacts that begin before or end after the recording are left out.
    """
    usable = [s for s in signals if s.role == "foot_sensor" and s.side in SIDES and s.rate_hz > 0]
    usable.sort(
        key=lambda s: sensor_kind(s) == "accelerometer"
    )  # stable, so the delivery's order decides within a kind
    found: list[tuple[str, Contact]] = []
    for side in SIDES:
        for signal in usable:
            if signal.side == side and (contacts := contacts_in(signal, settings)):
                found += [(side, contact) for contact in contacts]
                break
    return sorted(found, key=lambda pair: pair[1].start_s)


def contacts_in(signal: Signal, settings: SensorProcessing) -> list[Contact]:
    """Complete contacts in one foot sensor, on the clock of ``signal.start_s``; empty when it shows none."""
    samples = np.asarray(signal.samples, float)
    if len(samples) < 4 or not np.isfinite(samples).any():
        return []
    find = _in_switch if sensor_kind(signal) == "switch" else _in_accelerometer
    return [
        Contact(c.start_s + signal.start_s, c.end_s + signal.start_s, c.first, c.last, c.after_gap)
        for c in find(samples, signal.rate_hz, settings)
    ]


def _in_switch(samples: FloatArray, rate_hz: float, settings: SensorProcessing) -> list[Contact]:
    return closings(samples, rate_hz, halfway(samples, settings.switch_contrast), settings, settings.shortest_contact_s)


def closings(
    samples: FloatArray, rate_hz: float, level: float | None, settings: SensorProcessing, shortest_s: float
) -> list[Contact]:
    """Complete closings of a switch, on the clock of its first sample; none without a ``level`` (see ``halfway``).

    Bounces are closed, then closings shorter than ``shortest_s`` dropped.
    """
    if level is None:
        return []
    known = samples[np.isfinite(samples)]
    closed_is_low = {"high": False, "low": True, "shorter": np.mean(known >= level) > 0.5}[settings.switch_closed_level]
    if closed_is_low:
        samples, level = -samples, -level
    return list(
        find_contacts(
            samples,
            rate_hz,
            threshold_n=level,
            shortest_contact_s=shortest_s,
            shortest_flight_s=settings.shortest_open_s,
        )
    )


def halfway(samples: FloatArray, contrast: float) -> float | None:
    """The value half-way between the two levels of a switch; None when the signal does not have two levels.

    The levels must lie further apart than ``contrast`` times the mean absolute distance of the samples from theirs.
    """
    found = levels_of(samples)
    if found is None:
        return None
    low, high, spread = found
    return (low + high) / 2 if high - low > contrast * spread and high > low else None


def levels_of(samples: FloatArray) -> tuple[float, float, float] | None:
    """Lower and higher level, and the mean absolute distance of the samples from theirs; None with one value alone.

    The levels are the medians above and below the middle of the signal's range, spikes (1 % at either end) left out.
    """
    known = samples[np.isfinite(samples)]
    low, high = percentiles(known, 1, 99)
    middle = (low + high) / 2
    for _ in range(5):
        below, above = known[known < middle], known[known >= middle]
        if len(below) == 0 or len(above) == 0:
            return None
        low, high = median(below), median(above)
        if (low + high) / 2 == middle:
            break
        middle = (low + high) / 2
    spread = (np.abs(below - low).sum() + np.abs(above - high).sum()) / len(known)
    return low, high, float(spread)


def _in_accelerometer(samples: FloatArray, rate_hz: float, settings: SensorProcessing) -> list[Contact]:
    """Contacts in an acceleration; its size about the median, so that neither gravity nor the axis' sign matter."""
    from scipy.signal import find_peaks

    known = np.isfinite(samples)
    size = np.where(known, np.abs(samples - np.median(samples[known])), 0.0)
    usual = _usual_peak(size, rate_hz, settings)
    if usual <= 0:
        return []
    apart = max(1, round(settings.shortest_stride_s * rate_hz))
    impacts, _ = find_peaks(size, height=settings.impact_fraction * usual, distance=apart)
    contacts: list[Contact] = []
    seen_until = 0
    for impact in impacts:
        onset = settings.onset_fraction * size[impact]
        before = np.flatnonzero(size[:impact] < onset)
        earliest = impact + round(settings.shortest_contact_s * rate_hz)
        latest = impact + round(settings.longest_contact_s * rate_hz)
        if len(before) == 0 or latest >= len(size) or not known[before[-1] : latest].all():
            continue
        peaks, _ = find_peaks(size[earliest:latest], prominence=settings.push_off_fraction * size[impact])
        if len(peaks) == 0:
            continue
        first = int(before[-1])
        start = first + (onset - size[first]) / (size[first + 1] - size[first])
        end = earliest + int(peaks[np.argmax(size[earliest + peaks])])
        gap = not known[seen_until : first + 1].all()
        contacts.append(Contact(float(start / rate_hz), end / rate_hz, first + 1, end, after_gap=gap))
        seen_until = end
    return contacts


def _usual_peak(size: FloatArray, rate_hz: float, settings: SensorProcessing) -> float:
    """Median over stretches of a few strides of the largest value in each, so that one knock does not set the scale."""
    length = max(1, round(STRETCH_STRIDES * settings.shortest_stride_s * rate_hz))
    return float(np.median([size[i : i + length].max() for i in range(0, max(1, len(size) - length // 2), length)]))
