"""Curves of 101 points, averaged over the footfalls of one trial and side. The signals are made elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from pipelines.science.events.from_force import SIDES
from pipelines.science.frames import Column, Rows
from pipelines.science.joints.loads import Moments
from pipelines.science.joints.outcomes import JointAngle
from pipelines.science.joints.power import tendon_force_bw
from schemas.mechanics import STANDARD_GRAVITY
from schemas.outcomes_signals import CURVES
from schemas.trial import FloatArray, Trial

POINTS = 101
Span = Literal["contact", "stride"]


@dataclass(frozen=True)
class Series:
    """One signal of one side over a whole trial. time_s and values: (n,), on the trial's clock; unit is UCUM."""

    quantity: str
    unit: str
    side: str
    span: Span
    time_s: FloatArray
    values: FloatArray


def ensemble(time_s: FloatArray, values: FloatArray, windows: FloatArray) -> tuple[FloatArray, FloatArray, int]:
    """Mean and standard deviation (n - 1) at 101 points over the windows, each (101,), and how many windows counted.

    time_s, values: (n,), time rising. windows: (k, 2) s, start and end. Each window is stretched by linear
    interpolation to points 0 to 100 (common practice). A window that is not wholly recorded, or in which a sample is
    missing, is left out as a whole, so that every point is the mean of the same windows. With none left both are NaN;
    with one the deviation is.
    """
    time_s, values = np.asarray(time_s, float), np.asarray(values, float)
    whole = _whole(time_s, values, np.asarray(windows, float).reshape(-1, 2))
    nothing = np.full(POINTS, np.nan)
    if not len(whole):
        return nothing, nothing.copy(), 0
    curves = np.interp(np.linspace(whole[:, 0], whole[:, 1], POINTS, axis=1), time_s, values)
    spread = np.std(curves, axis=0, ddof=1) if len(curves) > 1 else nothing
    return np.mean(curves, axis=0), spread, len(curves)


def curve_rows(trial_id: str, footfalls: Rows, series: Iterable[Series]) -> Rows:
    """Rows of ``curves`` less provenance.

    footfalls: of the same trial. series: see ``force_series`` and ``angle_series``, and muscle envelopes. A quantity
    without a single whole window has no rows.
    """
    words: dict[str, list[Any]] = {name: [] for name in ("trial_id", "side", "quantity", "curve_span", "quantity_unit")}
    counts: list[int] = []
    means: list[FloatArray] = [np.empty(0)]
    spreads: list[FloatArray] = [np.empty(0)]
    for signal in series:
        mean, spread, count = ensemble(signal.time_s, signal.values, _windows(footfalls, signal))
        if not count:
            continue
        same = (trial_id, signal.side, signal.quantity, signal.span, signal.unit)
        for column, word in zip(words.values(), same, strict=True):
            column += [word] * POINTS
        counts += [count] * POINTS
        means.append(mean)
        spreads.append(spread)
    columns: dict[str, Column] = {
        **words,
        "footfall_count": counts,
        "point_number": list(range(POINTS)) * (len(counts) // POINTS),
        "mean_value": np.concatenate(means),
        "sd_value": np.concatenate(spreads),
    }
    return Rows.of_columns(CURVES, columns)


def force_series(trial: Trial, vertical_n: FloatArray) -> Iterator[Series]:
    """Vertical force of either side's contacts in body weights; none without mass or force.

    vertical_n: (n,) N at the analog rate, filtered as for peaks.
    """
    rate, mass = trial.analog_rate_hz, trial.mass_kg
    if not trial.plates or not rate or mass is None or not mass > 0:
        return
    time, force = np.arange(len(vertical_n)) / rate, vertical_n / (mass * STANDARD_GRAVITY)
    for side in ("left", "right"):
        yield Series("vertical_force_bw", "{BW}", side, "contact", time, force)


def angle_series(trial: Trial, angles: Iterable[JointAngle]) -> Iterator[Series]:
    """The sagittal joint angles over contact."""
    for angle in angles:
        if angle.plane == "sagittal":
            time = np.arange(len(angle.angle_deg)) / trial.marker_rate_hz
            against = "_to_vertical" if angle.against == "vertical" else ""
            name = f"{angle.joint}_sagittal_angle{against}_deg"
            yield Series(name, "deg", angle.side, "contact", time, angle.angle_deg)


def load_series(moments: Moments, footfalls: Rows) -> Iterator[Series]:
    """Joint powers and the force of the Achilles tendon over contact; none where moments cannot be had."""
    arm_m, rate = moments.processing.joints.achilles_moment_arm_m, moments.trial.marker_rate_hz
    for side in SIDES:
        spans = [(row["contact_s"], row["toe_off_s"]) for row in footfalls.records if row["side"] == side]
        for joint, (moment, power) in moments.over(side, spans).items():
            time = np.arange(len(power)) / rate
            yield Series(f"{joint}_power_w_per_kg", "W/kg", side, "contact", time, power)
            if joint == "ankle":
                yield Series("achilles_force_bw", "{BW}", side, "contact", time, tendon_force_bw(moment, arm_m))


def _whole(time_s: FloatArray, values: FloatArray, windows: FloatArray) -> FloatArray:
    """Those of the windows (k, 2) that lie in the record and have no missing sample in them or next to them."""
    windows = windows[np.isfinite(windows).all(axis=1) & (windows[:, 0] < windows[:, 1])]
    if len(time_s) < 2 or not len(windows):
        return windows[:0]
    slack = 1e-9
    windows = windows[(windows[:, 0] >= time_s[0] - slack) & (windows[:, 1] <= time_s[-1] + slack)]
    first = np.maximum(np.searchsorted(time_s, windows[:, 0] + slack, side="right") - 1, 0)
    last = np.searchsorted(time_s, windows[:, 1] - slack, side="left")
    missing = np.concatenate([[0], np.cumsum(~np.isfinite(values))])
    whole: FloatArray = windows[missing[np.minimum(last + 1, len(values))] == missing[first]]
    return whole


def _windows(footfalls: Rows, signal: Series) -> FloatArray:
    own = np.array([side == signal.side for side in footfalls.columns["side"]], bool)
    start = footfalls.numbers("contact_s")
    end = footfalls.numbers("toe_off_s") if signal.span == "contact" else start + footfalls.numbers("stride_time_s")
    return np.stack([start[own], end[own]], axis=1)
