"""The plain script's part for loads: power, work and stiffness of joints, the tendon's force, the body's bounce."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from benchmarks.plain_script import Array, G, between

ARM_M = 0.037  # of the Achilles tendon, for everybody


def turning_rate(direction_deg: Array, rate: float) -> Array:
    """Central difference of a direction in deg that may jump by a whole turn, rad/s."""
    found = np.full(len(direction_deg), np.nan)
    steps = np.radians((np.diff(direction_deg) + 180) % 360 - 180)
    found[1:-1] = (steps[1:] + steps[:-1]) / 2 * rate
    return found


def loads_of(time: Array, moment: Array, extending: Array) -> dict[str, float]:
    """Power in W/kg and work in J/kg of one joint in one contact."""
    power = moment * extending
    return {
        "power_peak_w_per_kg": power.max(),
        "power_lowest_w_per_kg": power.min(),
        "positive_work_j_per_kg": np.trapezoid(np.maximum(power, 0), time),
        "negative_work_j_per_kg": np.trapezoid(np.minimum(power, 0), time),
    }


def tendon_force(moment: Array) -> Array:
    """Of the Achilles tendon, in body weights, from the ankle's moment in N.m/kg."""
    return np.maximum(moment, 0) / (ARM_M * G)


def ankle_of(time: Array, moment: Array, dorsiflexion: Array) -> dict[str, float]:
    """The tendon's load in one contact, and the slope of moment over dorsiflexion while the ankle bends."""
    tendon, top = tendon_force(moment), int(np.argmax(dorsiflexion))
    low = int(np.argmin(dorsiflexion[: top + 1]))
    slope = np.nan
    if dorsiflexion[top] - dorsiflexion[low] >= 5 and top - low >= 2:
        slope = np.polyfit(dorsiflexion[low : top + 1], moment[low : top + 1], 1)[0]
    return {
        "achilles_force_peak_bw": tendon.max(),
        "achilles_impulse_bw_s": np.trapezoid(tendon, time),
        "quasi_stiffness_nm_per_kg_deg": slope,
    }


def bounce_of(time: Array, force: Array, smooth: Array, toe_off: float, next_step: float) -> dict[str, float]:
    """Of the centre of mass over a stride that starts and ends as fast and as high; forces in N."""
    lasts = time[-1] - time[0]
    steps = np.diff(time)
    weight = np.trapezoid(force, time) / lasts
    rise = G * (force / weight - 1)
    speed = np.concatenate([[0], np.cumsum((rise[1:] + rise[:-1]) / 2 * steps)])
    speed -= np.trapezoid(speed, time) / lasts
    height = np.concatenate([[0], np.cumsum((speed[1:] + speed[:-1]) / 2 * steps)])
    carried, step = np.searchsorted(time, toe_off), np.searchsorted(time, next_step)
    low = height[: carried + 1].min()
    return {
        "centre_of_mass_fall_m": -low,
        "centre_of_mass_oscillation_m": height[: step + 1].max() - low,
        "measured_vertical_stiffness_kn_per_m": smooth[: carried + 1].max() / -low / 1000,
    }


def effective_mass(impulse_bw_s: float, falling: float, lasts: float) -> float:
    """Part of the body that the impact stops; falling: m/s of the ankle before contact."""
    return impulse_bw_s * G / (falling + G * lasts) if falling > 0 else np.nan


def per_contact(values: Mapping[str, Array], rate: float, start: float, end: float) -> tuple[Array, dict[str, Array]]:
    """Times and values of several signals in one contact, both ends interpolated."""
    time, beside = between(np.stack([*values.values()], axis=1), rate, start, end)
    return time, dict(zip(values, beside.T, strict=True))
