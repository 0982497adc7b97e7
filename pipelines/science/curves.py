"""Curves of 101 points, averaged over the footfalls of one trial and side. The signals are made elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from pipelines.science.frames import frame_of
from pipelines.science.joints.outcomes import JointAngle
from pipelines.science.signals.filters import low_pass
from schemas.mechanics import STANDARD_GRAVITY
from schemas.outcomes_signals import CURVES
from schemas.processing import Processing
from schemas.trial import UP, FloatArray, Trial

if TYPE_CHECKING:
    import pandas as pd

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
    curves = [
        np.interp(np.linspace(start, end, POINTS), time_s, values)
        for start, end in np.asarray(windows, float).reshape(-1, 2)
        if _is_whole(time_s, values, start, end)
    ]
    nothing = np.full(POINTS, np.nan)
    mean = np.mean(curves, axis=0) if curves else nothing
    spread = np.std(curves, axis=0, ddof=1) if len(curves) > 1 else nothing.copy()
    return mean, spread, len(curves)


def compute_curves(
    trial: Trial,
    footfalls: pd.DataFrame,
    joint_series: Iterable[JointAngle],
    envelopes: Iterable[Series],
    processing: Processing,
) -> pd.DataFrame:
    """Rows of ``curves`` less provenance: vertical force and sagittal angles over contact, envelopes as they say.

    footfalls: what ``compute_footfalls`` made of the same trial. joint_series: of ``joints.joint_series``. envelopes:
    muscle envelopes, quantity such as ``soleus_envelope_uv``. Force is filtered as for peaks and divided by body
    weight; without mass or force there is no such curve. A quantity without a single whole window has no rows.
    """
    signals = [*_force(trial, processing), *_angles(trial, joint_series), *envelopes]
    rows: list[dict[str, Any]] = []
    for signal in signals:
        mean, spread, count = ensemble(signal.time_s, signal.values, _windows(footfalls, signal))
        if not count:
            continue
        same: dict[str, Any] = {"trial_id": trial.trial_id, "side": signal.side, "quantity": signal.quantity}
        same |= {"curve_span": signal.span, "quantity_unit": signal.unit, "footfall_count": count}
        rows += [{**same, "point_number": i, "mean_value": mean[i], "sd_value": spread[i]} for i in range(POINTS)]
    return frame_of(CURVES, rows)


def _is_whole(time_s: FloatArray, values: FloatArray, start: float, end: float) -> bool:
    """Whether the window lies in the record and no sample in it or next to it is missing."""
    if not (np.isfinite([start, end]).all() and start < end and len(time_s) > 1):
        return False
    slack = 1e-9
    if start < time_s[0] - slack or end > time_s[-1] + slack:
        return False
    first = max(int(np.searchsorted(time_s, start + slack, side="right")) - 1, 0)
    last = int(np.searchsorted(time_s, end - slack, side="left"))
    return bool(np.isfinite(values[first : last + 1]).all())


def _windows(footfalls: pd.DataFrame, signal: Series) -> FloatArray:
    own = footfalls[footfalls["side"] == signal.side]
    start = own["contact_s"].to_numpy(float)
    end = own["toe_off_s"].to_numpy(float) if signal.span == "contact" else start + own["stride_time_s"].to_numpy(float)
    return np.stack([start, end], axis=1)


def _force(trial: Trial, processing: Processing) -> Iterator[Series]:
    """Vertical force of either side's contacts in body weights."""
    rate, mass = trial.analog_rate_hz, trial.mass_kg
    if not trial.plates or not rate or mass is None or not mass > 0:
        return
    force = low_pass(trial.force[:, UP], rate, processing.force_cutoff_hz, processing.filter_order)
    time = np.arange(len(force)) / rate
    for side in ("left", "right"):
        yield Series("vertical_force_bw", "{BW}", side, "contact", time, force / (mass * STANDARD_GRAVITY))


def _angles(trial: Trial, joint_series: Iterable[JointAngle]) -> Iterator[Series]:
    for angle in joint_series:
        if angle.plane == "sagittal":
            time = np.arange(len(angle.angle_deg)) / trial.marker_rate_hz
            against = "_to_vertical" if angle.against == "vertical" else ""
            name = f"{angle.joint}_sagittal_angle{against}_deg"
            yield Series(name, "deg", angle.side, "contact", time, angle.angle_deg)
