"""The simulator's truth as a table: what each footfall's outcomes are by their definitions, without noise, filter or
sample rate. Formulas are written out anew from the definitions, so that a slip in the pipeline's cannot hide.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.angles import joint_angles, standing_angles
from demo_site_uploads.simulator.cop import along_foot
from demo_site_uploads.simulator.fore_aft import fore_aft_bw
from demo_site_uploads.simulator.sensors import times_above
from demo_site_uploads.simulator.steps import Step
from demo_site_uploads.simulator.trial import SimulatedTrial
from demo_site_uploads.simulator.true_loads import quasi_stiffness, true_loads
from demo_site_uploads.simulator.vertical_force import G
from schemas.processing import Processing

FloatArray = NDArray[np.float64]

SAGITTAL = "{joint}/sagittal/{column}"
_FINE = 20001  # samples of a contact


@dataclass(frozen=True)
class Truth:
    """One footfall. contact_s, toe_off_s: where force passes the threshold. values: outcome -> true value.

    Outcomes of joints are named as ``SAGITTAL``. An outcome that is null by its definition, as an impact peak that is
    not there, is NaN.
    """

    side: str
    contact_s: float
    toe_off_s: float
    values: Mapping[str, float]


def truth_of(trial: SimulatedTrial, still: SimulatedTrial, settings: Processing) -> list[Truth]:
    """Every footfall of a running trial that begins and ends within it. still: the standing trial of the same runner."""
    assert trial.motion is not None
    steps = trial.motion.steps
    times = [times_above(step, settings.contact_threshold_n) for step in steps]
    there = {footfall.contact_s for footfall in trial.footfalls}
    found = []
    for i, (step, (start, end)) in enumerate(zip(steps, times, strict=True)):
        if step.contact_s not in there or start < 0 or end > trial.duration_s or i + 2 >= len(steps):
            continue
        after = times[i + 1][0], times[i + 2][0]
        values = _times(trial, steps[i : i + 3], (start, end), after)
        values |= _force(trial, step, (start, end), settings)
        values |= _bounce(trial, step, (start, end), after, values)
        values |= _strike(trial, still, step, start)
        values |= _joints(trial, still, step, (start, end), settings)
        found.append(Truth(step.side, start, end, values))
    return found


def _times(
    trial: SimulatedTrial, steps: tuple[Step, ...], span: tuple[float, float], after: tuple[float, float]
) -> dict[str, float]:
    """Times, lengths and what a spring model makes of them. after: next contact, and the one of the same foot."""
    (start, end), speed = span, trial.speed_m_per_s
    contact, flight, step, stride = end - start, after[0] - end, after[0] - start, after[1] - start
    on_a_belt = speed * step, speed * stride
    from_heel_to_heel = steps[1].heel[0] - steps[0].heel[0], steps[2].heel[0] - steps[0].heel[0]
    lengths = on_a_belt if trial.belt else from_heel_to_heel
    mass, leg = trial.runner.mass_kg, trial.runner.leg_length_m
    peak = mass * G * math.pi / 2 * (flight / contact + 1)
    fall = peak * contact**2 / (mass * math.pi**2) - G * contact**2 / 8
    shorter = leg - math.sqrt(leg**2 - (speed * contact / 2) ** 2) + fall
    return {
        "contact_s": start,
        "toe_off_s": end,
        "contact_time_s": contact,
        "flight_time_s": flight,
        "step_time_s": step,
        "stride_time_s": stride,
        "cadence_step_per_min": 60 / step,
        "step_length_m": lengths[0],
        "stride_length_m": lengths[1],
        "speed_m_per_s": speed,
        "duty_factor_fraction": contact / stride,
        "vertical_stiffness_kn_per_m": peak / fall / 1000,
        "leg_stiffness_kn_per_m": peak / shorter / 1000,
    }


def _force(trial: SimulatedTrial, step: Step, span: tuple[float, float], settings: Processing) -> dict[str, float]:
    contact = span[1] - span[0]
    since = np.linspace(0, contact, _FINE)
    weight = trial.runner.mass_kg * G
    vertical = step.force.at(span[0] - step.contact_s + since) / weight
    fore_aft = fore_aft_bw((span[0] - step.contact_s + since) / step.contact_time_s, step.braking_bw)
    early = since <= settings.impact_window_fraction * contact
    top = int(np.argmax(np.where(early, 0.0, vertical)))
    impact = _first_peak(vertical[:top], since[:top], settings, contact)
    whole = float(np.trapezoid(vertical, since))
    back, forth = (float(np.trapezoid(part, since)) for part in (np.minimum(fore_aft, 0), np.maximum(fore_aft, 0)))
    to_peak = _slope(since, vertical, since[impact]) if impact is not None else math.nan
    slopes = np.diff(vertical) / np.diff(since)
    loading = settings.loading_fraction * contact
    inside = (since[1:] > 0.2 * loading) & (since[:-1] < 0.8 * loading)
    return {
        "impact_peak_bw": float(vertical[impact]) if impact is not None else math.nan,
        "impact_peak_time_s": float(since[impact]) if impact is not None else math.nan,
        "active_peak_bw": float(vertical[top]),
        "active_peak_time_s": float(since[top]),
        "average_loading_rate_bw_per_s": _slope(since, vertical, loading),
        "instantaneous_loading_rate_bw_per_s": float(slopes[inside].max()),
        "loading_rate_to_peak_bw_per_s": to_peak,
        "vertical_impulse_bw_s": whole,
        "braking_impulse_bw_s": back,
        "propulsive_impulse_bw_s": forth,
        "net_fore_aft_impulse_bw_s": back + forth,
        "braking_peak_bw": float(fore_aft.min()),
        "propulsive_peak_bw": float(fore_aft.max()),
        "mean_vertical_force_bw": whole / contact,
    }


def _first_peak(force: FloatArray, since: FloatArray, settings: Processing, contact: float) -> int | None:
    """Place of the first rise that ends early enough, and after which force falls as much as a peak has to stand out."""
    latest = min(settings.impact_window_fraction * contact, settings.impact_latest_s)
    falls = np.flatnonzero((np.diff(force)[:-1] > 0) & (np.diff(force)[1:] <= 0)) + 1
    for place in falls:
        if since[place] > latest:
            return None
        if force[place] - force[place:].min() >= settings.impact_prominence_bw:
            return int(place)
    return None


def _slope(since: FloatArray, force: FloatArray, until: float) -> float:
    low, high = np.interp([0.2 * until, 0.8 * until], since, force)
    return float((high - low) / (0.6 * until))


def _bounce(
    trial: SimulatedTrial,
    step: Step,
    span: tuple[float, float],
    after: tuple[float, float],
    own: Mapping[str, float],
) -> dict[str, float]:
    """How the centre of mass falls and rises, by the simulated force of the whole stride; and what the impact stops.

    after: next contact, and the one of the same foot. The stride ends as high and as fast as it began.
    """
    assert trial.motion is not None
    t = np.linspace(span[0], after[1], 8001)
    force = np.sum([x.force.at(t - x.contact_s) for x in trial.motion.steps], axis=0)
    lasts = t[-1] - t[0]
    speed = _summed(G * (force / (np.trapezoid(force, t) / lasts) - 1), t)
    height = _summed(speed - np.trapezoid(speed, t) / lasts, t)
    low = float(height[t <= span[1]].min())
    to_peak, mass = own["impact_peak_time_s"], math.nan
    if math.isfinite(to_peak):
        d = 1e-4
        before = trial.motion.markers(np.array([step.contact_s - 2 * d, step.contact_s - d]))
        ankle = before[f"lateral_malleolus_{step.side}"][:, 1]
        until = np.linspace(0, to_peak, 2001)
        weight = trial.runner.mass_kg * G
        impulse = float(np.trapezoid(step.force.at(span[0] - step.contact_s + until), until)) / weight
        mass = impulse * G / ((ankle[0] - ankle[1]) / d + G * to_peak)
    return {
        "centre_of_mass_fall_m": -low,
        "centre_of_mass_oscillation_m": float(height[t <= after[0]].max()) - low,
        "measured_vertical_stiffness_kn_per_m": own["active_peak_bw"] * trial.runner.mass_kg * G / -low / 1000,
        "effective_mass_fraction": mass,
    }


def _summed(values: FloatArray, t: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(t))])


def _strike(trial: SimulatedTrial, still: SimulatedTrial, step: Step, start: float) -> dict[str, float]:
    assert trial.motion is not None
    sole = _foot_deg(trial.motion.markers(np.array([start])), step.side) - _foot_deg(still.markers, step.side)
    reached = times_above(step, 200.0)[0]
    share = along_foot(np.array([(reached - step.contact_s) / step.contact_time_s]), step.cop_start)
    return {"foot_strike_angle_deg": sole, "strike_index_percent": 100 * float(share[0])}


def _foot_deg(markers: Mapping[str, FloatArray], side: str) -> float:
    line = markers[f"second_metatarsal_head_{side}"] - markers[f"calcaneus_{side}"]
    return float(np.degrees(np.arctan2(line[:, 1], line[:, 0])).mean())


def _joints(
    trial: SimulatedTrial, still: SimulatedTrial, step: Step, span: tuple[float, float], settings: Processing
) -> dict[str, float]:
    assert trial.motion is not None
    t = np.linspace(*span, 400)
    zero = standing_angles(still, step.side)
    angles = joint_angles(trial.motion.markers(t), step.side)
    found = {}
    for joint, angle in angles.items():
        values = {
            "angle_at_contact_deg": float(angle[0]) - zero[joint],
            "angle_peak_deg": float(angle.max()) - zero[joint],
            "angle_range_deg": float(np.ptp(angle)),
        }
        found |= {SAGITTAL.format(joint=joint, column=column): value for column, value in values.items()}
    loads = true_loads(trial, step, settings.strike_index_toe_fraction)
    for joint, load in loads.items():
        positive, negative = load.work
        values = {
            "moment_peak_nm_per_kg": float(load.moment.max()),
            "power_peak_w_per_kg": float(load.power.max()),
            "power_lowest_w_per_kg": float(load.power.min()),
            "positive_work_j_per_kg": positive,
            "negative_work_j_per_kg": negative,
        }
        found |= {SAGITTAL.format(joint=joint, column=column): value for column, value in values.items()}
    ankle = loads["ankle"]
    tendon = np.maximum(ankle.moment, 0) / (settings.joints.achilles_moment_arm_m * G)
    bent = np.interp(ankle.times_s, t, angles["ankle"])
    alone = {
        "quasi_stiffness_nm_per_kg_deg": quasi_stiffness(ankle, bent),
        "achilles_force_peak_bw": float(tendon.max()),
        "achilles_impulse_bw_s": float(np.trapezoid(tendon, ankle.times_s)),
    }
    return found | {SAGITTAL.format(joint="ankle", column=column): value for column, value in alone.items()}


def of_trial(truths: Iterable[Truth], sides_of: Mapping[str, str], spread_of: Mapping[str, str]) -> dict[str, float]:
    """What footfalls of one trial say together, as ``trial_outcomes`` defines it; NaN where too few say it.

    sides_of, spread_of: column -> the footfalls' outcome whose asymmetry or whose scatter it is.
    """
    listed = list(truths)
    found = {}
    for column, outcome in sides_of.items():
        left, right = (_of_side(listed, outcome, side) for side in ("left", "right"))
        a, b = (abs(float(np.mean(x))) if x else math.nan for x in (left, right))
        found[column] = 200 * abs(a - b) / (a + b)
    for column, outcome in spread_of.items():
        groups = [np.array(_of_side(listed, outcome, side)) for side in ("left", "right")]
        free = sum(max(len(x) - 1, 0) for x in groups)
        squares = sum(float(((x - x.mean()) ** 2).sum()) for x in groups if len(x))
        found[column] = math.sqrt(squares / free) if free else math.nan
    steps = _mean_of_sides(listed, "step_length_m")
    struck = [math.isfinite(x.values["impact_peak_bw"]) for x in listed]
    per_km, share = 1000 / steps, float(np.mean(struck)) if struck else math.nan
    tendon = _mean_of_sides(listed, SAGITTAL.format(joint="ankle", column="achilles_impulse_bw_s"))
    impact = _mean_of_sides(listed, "impact_peak_bw") if share else 0.0
    return found | {
        "footfalls_per_km": per_km,
        "impacts_per_km": share * per_km,
        "impact_peaks_bw_per_km": share * per_km * impact,
        "active_peaks_bw_per_km": per_km * _mean_of_sides(listed, "active_peak_bw"),
        "achilles_impulse_bw_s_per_km": per_km * tendon,
    }


def _of_side(truths: Iterable[Truth], outcome: str, side: str) -> list[float]:
    return [x.values[outcome] for x in truths if x.side == side and math.isfinite(x.values[outcome])]


def _mean_of_sides(truths: list[Truth], outcome: str) -> float:
    means = [float(np.mean(own)) for side in ("left", "right") if (own := _of_side(truths, outcome, side))]
    return float(np.mean(means)) if means else math.nan
