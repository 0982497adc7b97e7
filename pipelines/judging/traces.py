"""The stretch of signal drawn beside a finding: rows for ``signal_traces``, made while the trial is in memory.

Which signal a finding is about is named by the check (``force:1:vertical``, ``marker:calcaneus_left:up``,
``distance:calcaneus_left:lateral_malleolus_left``, ``cop:2:forward``, ``channel:EMG 2``).
Nothing here draws; ``pipelines.pages`` does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from numbers import Real
from typing import Any

import numpy as np

from checks.findings import Finding
from schemas.mechanics import centre_of_pressure
from schemas.processing import Processing
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Trial

HALF_WINDOW_S = 0.6  # a running step takes about 0.35 s, so the step before and the one after are in view
MOST_POINTS = 400  # more than a chart of a fix sheet has pixels
_PER_BUCKET = 3  # smallest, largest, and the first missing sample of a bucket
_FORCE = {"vertical": UP, "fore_aft": FORWARD, "sideways": RIGHT}
_PLACE = {"forward": FORWARD, "up": UP, "right": RIGHT}
_COP_THRESHOLD_N = Processing().cop_threshold_n


def traces_of(findings: Sequence[Finding], trial: Trial) -> list[dict[str, Any]]:
    """Rows of ``schemas.quality.SIGNAL_TRACES`` for the findings that name a signal of ``trial``.

    Around ``moment_s`` the window is 0.6 s to either side; without a moment, or with one outside the recording, it is
    the whole trial. At most 400 points per finding, keeping the extremes; a missing sample is None. A signal that the
    trial does not have gives no rows, since a drawing is never worth losing a finding for. Never raises.
    """
    rows: list[dict[str, Any]] = []
    drawn: set[str] = set()
    for finding in findings:
        name, finding_id = finding.signal, finding.finding_id
        if name is None or finding_id in drawn:
            continue
        if finding.trial_id not in (None, trial.trial_id):
            continue
        found = _signal(name, trial)
        if found is None:
            continue
        drawn.add(finding_id)
        values, rate_hz, unit, start_s = found
        keys = {
            "finding_id": finding_id,
            "delivery_id": finding.delivery_id,
            "trial_id": trial.trial_id,
            "signal": name,
            "signal_unit": unit,
        }
        moment = finding.moment_s
        if isinstance(moment, Real):
            moment = float(moment) - start_s
        for index in _indices(values, rate_hz, moment):
            value = float(values[index])
            rows.append(
                {
                    **keys,
                    "time_s": float(start_s + index / rate_hz),
                    "signal_value": value if math.isfinite(value) else None,
                }
            )
    return rows


def _signal(name: str, trial: Trial) -> tuple[FloatArray, float, str, float] | None:
    """(n,) values, their rate in Hz, UCUM unit and first time in s; None if the trial has no such signal."""
    kind, *rest = name.split(":")
    if kind == "channel":
        return _channel(name.partition(":")[2], trial)
    if len(rest) != 2:
        return None
    found: tuple[FloatArray | None, float | None, str]
    if kind == "force":
        found = _force(trial, *rest), trial.analog_rate_hz, "N"
    elif kind == "cop":
        found = _centre(trial, *rest), trial.analog_rate_hz, "m"
    elif kind == "marker":
        found = _marker(trial, *rest), trial.marker_rate_hz, "m"
    elif kind == "distance":
        found = _distance(trial, *rest), trial.marker_rate_hz, "m"
    else:
        return None
    values, rate_hz, unit = found
    if values is None or len(values) == 0 or not rate_hz or not math.isfinite(rate_hz) or rate_hz < 0:
        return None
    return values, rate_hz, unit, 0.0


def _channel(label: str, trial: Trial) -> tuple[FloatArray, float, str, float] | None:
    """A channel that channels.csv explains, during the trial only: a second file may go on longer."""
    own = next((s for s in trial.signals if s.label == label), None)
    if own is None or not math.isfinite(own.rate_hz) or own.rate_hz <= 0 or not math.isfinite(own.start_s):
        return None
    first, stop = (math.ceil((at - own.start_s) * own.rate_hz - 1e-6) for at in (0.0, trial.duration_s))
    first, stop = max(first, 0), min(stop, len(own.samples))
    if first >= stop:
        return None
    return np.asarray(own.samples[first:stop], float), own.rate_hz, own.unit, own.start_s + first / own.rate_hz


def _force(trial: Trial, plate: str, direction: str) -> FloatArray | None:
    axis = _FORCE.get(direction)
    if axis is None or not trial.plates:
        return None
    if plate == "all":
        return trial.force[:, axis] if len({p.force.shape for p in trial.plates}) == 1 else None
    return next((p.force[:, axis] for p in trial.plates if str(p.number) == plate), None)


def _centre(trial: Trial, plate: str, direction: str) -> FloatArray | None:
    axis = _PLACE.get(direction)
    own = next((p for p in trial.plates if str(p.number) == plate), None)
    if own is None or axis in (None, UP):
        return None
    height_m = float(np.mean(own.corners[:, UP]))
    return centre_of_pressure(own.force, own.moment, height_m, _COP_THRESHOLD_N)[:, axis]


def _marker(trial: Trial, role: str, direction: str) -> FloatArray | None:
    axis, path = _PLACE.get(direction), trial.markers.get(role)
    return None if axis is None or path is None else path[:, axis]


def _distance(trial: Trial, one: str, other: str) -> FloatArray | None:
    a, b = trial.markers.get(one), trial.markers.get(other)
    return None if a is None or b is None or a.shape != b.shape else np.linalg.norm(a - b, axis=1)


def _indices(values: FloatArray, rate_hz: float, moment_s: object) -> list[int]:
    """Samples to keep: all of the window if few, otherwise the extremes and the gaps of equal buckets."""
    start, stop = 0, len(values)
    moment = float(moment_s) if isinstance(moment_s, Real) else math.nan
    if 0 <= moment <= stop / rate_hz:
        start = max(0, math.floor((moment - HALF_WINDOW_S) * rate_hz))
        stop = min(stop, math.ceil((moment + HALF_WINDOW_S) * rate_hz) + 1)
    if stop - start <= MOST_POINTS:
        return list(range(start, stop))
    kept: set[int] = set()
    edges = np.linspace(start, stop, MOST_POINTS // _PER_BUCKET + 1).astype(int)
    for low, high in pairwise(edges):
        bucket = values[low:high]
        finite = np.flatnonzero(np.isfinite(bucket))
        if len(finite) < len(bucket):
            kept.add(int(low + np.flatnonzero(~np.isfinite(bucket))[0]))
        if len(finite):
            kept.add(int(low + finite[np.argmin(bucket[finite])]))
            kept.add(int(low + finite[np.argmax(bucket[finite])]))
    return sorted(kept)
