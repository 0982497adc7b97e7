"""Outcomes of the ground reaction force of one contact, as multiples of body weight.

Peaks and loading rates take the filtered force, impulses the unfiltered one; the caller hands over the right one.
Stiffness is in ``stiffness``; events are in ``events``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.science.signals.sampling import integral
from schemas.trial import FloatArray

#: s after contact: from memory, the impact peak of a collision comes earlier (Nigg 2001, Clin J Sport Med 11:2).
IMPACT_LATEST_S = 0.05
#: Part of the time to the end of loading over which loading rates are taken (Milner et al. 2006, as remembered).
LOADING_SPAN = (0.2, 0.8)


@dataclass(frozen=True)
class Peak:
    """A peak of a force: its height, in the unit of the force, and its time from contact in s."""

    height: float
    time_s: float


def active_peak(times_s: FloatArray, force: FloatArray, impact_window_fraction: float) -> Peak | None:
    """Largest sample of vertical force later than the early part of contact. Null if there is no sample there.

    times_s, force: (m,) from contact (time 0) to toe-off (last time), any unit of force.
    """
    later = np.flatnonzero(times_s[:-1] > impact_window_fraction * times_s[-1])
    if len(later) == 0 or not np.isfinite(force[later]).all():
        return None
    top = later[int(np.argmax(force[later]))]
    return Peak(float(force[top]), float(times_s[top]))


def impact_peak(
    times_s: FloatArray,
    force: FloatArray,
    impact_window_fraction: float,
    prominence: float,
    latest_s: float = IMPACT_LATEST_S,
) -> Peak | None:
    """First local maximum of vertical force within the early part of contact, by ``latest_s``. Null when there is none.

    times_s, force: (m,) from contact (time 0) to toe-off (last time). It must stand out by ``prominence`` (unit of
    ``force``) on both sides, and between it and the active peak the force must fall by as much below either, so that
    the shoulder of a single hump is not taken for a peak. The height is that of the sample, nothing is fitted.
    """
    active = active_peak(times_s, force, impact_window_fraction)
    return _impact(times_s, force, active, min(impact_window_fraction * times_s[-1], latest_s), prominence)


def _impact(
    times_s: FloatArray, force: FloatArray, active: Peak | None, latest_s: float, prominence: float
) -> Peak | None:
    if active is None or not np.isfinite(force).all():
        return None
    early = force[: int(np.searchsorted(times_s, latest_s, side="right")) + 1]
    if not ((early[1:-1] >= early[:-2]) & (early[1:-1] >= early[2:])).any():
        return None  # it only rises or falls there, as in most footfalls that land on the forefoot
    from scipy.signal import find_peaks

    candidates, _ = find_peaks(force, prominence=max(prominence, np.finfo(float).tiny))
    active_at = int(np.searchsorted(times_s, active.time_s))
    for top in candidates:
        if times_s[top] > latest_s:
            return None
        drop = min(force[top], active.height) - force[top:active_at].min()
        if drop >= prominence:
            return Peak(float(force[top]), float(times_s[top]))
    return None


def average_loading_rate(times_s: FloatArray, force: FloatArray, loading_s: float) -> float:
    """Mean slope of vertical force from 20 % to 80 % of the time from contact to the end of loading, force per s.

    That is the rise between the two (interpolated) moments over the time between them (Milner et al. 2006, as
    remembered; other definitions of the same name give values several times as large).
    """
    a, b = (share * loading_s for share in LOADING_SPAN)
    low, high = np.interp([a, b], times_s, force)
    return float((high - low) / (b - a))


def instantaneous_loading_rate(times_s: FloatArray, force: FloatArray, loading_s: float) -> float:
    """Steepest slope of vertical force between neighbouring samples, over the span of the average rate, force per s.

    The slope between two samples counts if any part of it lies in the span, so that it is never below the average.
    """
    a, b = (share * loading_s for share in LOADING_SPAN)
    within = (times_s[1:] > a) & (times_s[:-1] < b)
    return float((np.diff(force)[within] / np.diff(times_s)[within]).max())


def impulse(times_s: FloatArray, force: FloatArray) -> float:
    """Integral of force over the contact, trapezoid rule between the two crossings, force times s."""
    return integral(times_s, force)


def braking_impulse(times_s: FloatArray, fore_aft: FloatArray) -> float:
    """Integral of what is directed backward, force times s; negative or 0. With the next it adds up to the whole."""
    return integral(times_s, np.minimum(fore_aft, 0.0))


def propulsive_impulse(times_s: FloatArray, fore_aft: FloatArray) -> float:
    """Integral of what is directed forward, force times s; positive or 0."""
    return integral(times_s, np.maximum(fore_aft, 0.0))


def braking_peak(fore_aft: FloatArray) -> float | None:
    """Largest backward-directed force, negative. Null where force is never directed backward."""
    least = float(fore_aft.min())
    return least if least < 0 else None


def propulsive_peak(fore_aft: FloatArray) -> float | None:
    """Largest forward-directed force. Null where force is never directed forward."""
    most = float(fore_aft.max())
    return most if most > 0 else None


def force_outcomes(
    times_s: FloatArray,
    force: FloatArray,
    filtered: FloatArray,
    body_weight_n: float,
    *,
    impact_window_fraction: float,
    impact_prominence_bw: float,
    loading_fraction: float,
    impact_latest_s: float = IMPACT_LATEST_S,
) -> dict[str, float | None]:
    """The force columns of one footfall, from impact peak to mean vertical force, by column name.

    times_s: (m,) s, contact and toe-off included as first and last. force, filtered: (m, 2), N, forward and up.
    Values that cannot be computed are None. Loading ends at ``loading_fraction`` of contact in every footfall, so that
    footfalls with and without an impact peak compare; the rate up to the peak stands beside it.
    """
    since = times_s - times_s[0]
    fore_aft, vertical = (force / body_weight_n).T
    smooth_fore_aft, smooth = (filtered / body_weight_n).T
    active = active_peak(since, smooth, impact_window_fraction)
    early_s = min(impact_window_fraction * float(since[-1]), impact_latest_s)
    impact = _impact(since, smooth, active, early_s, impact_prominence_bw)
    loading_s = loading_fraction * float(since[-1])
    whole = impulse(since, vertical)
    return {
        "impact_peak_bw": impact.height if impact else None,
        "impact_peak_time_s": impact.time_s if impact else None,
        "active_peak_bw": active.height if active else None,
        "active_peak_time_s": active.time_s if active else None,
        "average_loading_rate_bw_per_s": average_loading_rate(since, smooth, loading_s),
        "instantaneous_loading_rate_bw_per_s": instantaneous_loading_rate(since, smooth, loading_s),
        "loading_rate_to_peak_bw_per_s": average_loading_rate(since, smooth, impact.time_s) if impact else None,
        "vertical_impulse_bw_s": whole,
        "braking_impulse_bw_s": braking_impulse(since, fore_aft),
        "propulsive_impulse_bw_s": propulsive_impulse(since, fore_aft),
        "net_fore_aft_impulse_bw_s": impulse(since, fore_aft),
        "braking_peak_bw": braking_peak(smooth_fore_aft),
        "propulsive_peak_bw": propulsive_peak(smooth_fore_aft),
        "mean_vertical_force_bw": whole / float(since[-1]),
    }
