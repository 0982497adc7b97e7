"""One simulated recording, before any laboratory's habits: study axes, metres, with the truth beside it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator import motion
from demo_site_uploads.simulator.body import OUTWARD, SIDES, Body, body_of
from demo_site_uploads.simulator.cop import along_foot, outward_m
from demo_site_uploads.simulator.fore_aft import fore_aft_bw, sideways_bw
from demo_site_uploads.simulator.muscle import TrueBurst, contraction_bursts, electrode_factors, running_bursts
from demo_site_uploads.simulator.runner import Gait, Runner
from demo_site_uploads.simulator.sensors import CLOSES_AT_N, times_above
from demo_site_uploads.simulator.steps import Course, Step, steps_of
from demo_site_uploads.simulator.vertical_force import G

FloatArray = NDArray[np.float64]

FREE_MOMENT_NM = 3.0


@dataclass(frozen=True)
class FootLoad:
    """What the ground does to one foot at the force samples: force (n, 3) N, cop (n, 3) m, free moment (n,) N.m."""

    side: str
    force: FloatArray
    cop: FloatArray
    free_moment: FloatArray


@dataclass(frozen=True)
class TrueFootfall:
    """What really happened in one footfall. Times on the trial's clock; the threshold crossing is at 20 N.

    The footswitch is closed from switch_closes_s to switch_opens_s.
    """

    side: str
    contact_s: float
    toe_off_s: float
    contact_at_20n_s: float
    toe_off_at_20n_s: float
    impulse_n_s: float
    first_peak_bw: float | None
    active_peak_bw: float
    strike_deg: float
    strike_share: float
    heel: tuple[float, float]
    switch_closes_s: float
    switch_opens_s: float


@dataclass(frozen=True)
class Motion:
    """What moves the markers of a running trial: they can be had for any moment, in the ground's frame, without noise.

    hip_base_m: height of the trochanters less what the body rises.
    """

    steps: tuple[Step, ...]
    body: Body
    mass_kg: float
    speed_m_per_s: float
    hip_base_m: float

    def markers(self, t: FloatArray) -> dict[str, FloatArray]:
        """Role with side -> (n, 3) m at times t on the trial's clock."""
        feet, ankles = _feet(t, self.steps, self.body)
        pelvis_x = self.speed_m_per_s * t
        height = self.hip_base_m + motion.rise_of_body(t, self.steps, self.mass_kg)
        hips = {
            side: np.stack([pelvis_x, height, np.full(len(t), OUTWARD[side] * self.body.hip_half_width_m)], axis=1)
            for side in SIDES
        }
        return feet | _legs(hips, ankles, self.body) | motion.pelvis_markers(hips, self.body)


@dataclass(frozen=True)
class SimulatedTrial:
    """markers: role with side -> (frames, 3) m. loads: one per foot and contact. The plates come with the laboratory.

    bursts: of every muscle, also before and after the trial. motion: only of running trials. belt: whether the ground
    moves and the runner stays in place.
    """

    trial_id: str
    kind: str
    runner: Runner
    condition: str
    speed_m_per_s: float
    duration_s: float
    marker_rate_hz: float
    force_rate_hz: float
    markers: dict[str, FloatArray]
    loads: tuple[FootLoad, ...]
    footfalls: tuple[TrueFootfall, ...]
    bursts: tuple[TrueBurst, ...] = ()
    motion: Motion | None = None
    belt: bool = False

    @property
    def force(self) -> FloatArray:
        """(n, 3) N of both feet."""
        return np.sum([load.force for load in self.loads], axis=0)


def random_source(trial_id: str) -> np.random.Generator:
    """The trial's own random numbers: the seed comes from its name, so no trial depends on another."""
    return np.random.default_rng(int.from_bytes(hashlib.sha256(trial_id.encode()).digest()[:8], "big"))


def simulate_running(
    trial_id: str,
    runner: Runner,
    condition: str,
    gait: Gait,
    course: Course,
    *,
    belt: bool,
    rates: tuple[float, float],
    electrodes: str = "",
) -> SimulatedTrial:
    """A running trial of ``course.until_s`` seconds. ``belt``: places are relative to a room the ground moves through.

    rates: markers and force, Hz. electrodes: name of the session, whose electrodes stay where they are.
    """
    rng = random_source(trial_id)
    body = body_of(runner, gait.sole_m)
    steps = steps_of(course, gait, runner.mass_kg, float(body.ankle[0]), rng)
    wander = rng.uniform(0, 2 * np.pi)
    tm = np.arange(round(course.until_s * rates[0])) / rates[0]
    tf = np.arange(round(course.until_s * rates[1])) / rates[1]
    base = motion.hip_base(
        motion.rise_of_body(tm, steps, runner.mass_kg), _feet(tm, steps, body)[1], course.speed_m_per_s * tm, body
    )
    behind = Motion(steps, body, runner.mass_kg, course.speed_m_per_s, base)
    markers = behind.markers(tm)
    loads = tuple(load_of(tf, step, body, runner) for step in steps)
    if belt:
        drift_m = course.speed_m_per_s * tm - 0.02 * np.sin(2 * np.pi * tm / 7 + wander)
        drift_f = course.speed_m_per_s * tf - 0.02 * np.sin(2 * np.pi * tf / 7 + wander)
        markers = {role: p - np.outer(drift_m, [1, 0, 0]) for role, p in markers.items()}
        loads = tuple(FootLoad(x.side, x.force, x.cop - np.outer(drift_f, [1, 0, 0]), x.free_moment) for x in loads)
    truth = tuple(_truth(step, runner) for step in steps if step.toe_off_s > 0 and step.contact_s < course.until_s)
    factors = electrode_factors(random_source(electrodes + "/electrodes"))
    bursts = running_bursts(steps, condition, factors, random_source(trial_id + "/muscle"))
    speed, until = course.speed_m_per_s, course.until_s
    return SimulatedTrial(
        trial_id, "running", runner, condition, speed, until, *rates, markers, loads, truth, bursts, behind, belt
    )


def _feet(t: FloatArray, steps: tuple[Step, ...], body: Body) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Markers of both feet, role with side -> (n, 3) m, and of those the ankles by side."""
    markers: dict[str, FloatArray] = {}
    ankles = {}
    for side in SIDES:
        place, pitch = motion.ankle_and_pitch(t, side, steps, body)
        feet = motion.foot_markers(place, pitch, side, body)
        markers |= {f"{role}_{side}": p for role, p in feet.items()}
        ankles[side] = feet["lateral_malleolus"]
    return markers, ankles


def _legs(hips: dict[str, FloatArray], ankles: dict[str, FloatArray], body: Body) -> dict[str, FloatArray]:
    markers = {}
    for side in SIDES:
        knee = motion.knee_of(hips[side], ankles[side], body)
        markers[f"lateral_femoral_epicondyle_{side}"] = knee
        markers[f"medial_femoral_epicondyle_{side}"] = knee + np.array([0.0, 0.0, -0.095 * OUTWARD[side]])
    return markers


def load_of(t: FloatArray, step: Step, body: Body, runner: Runner) -> FootLoad:
    """What the ground does to the foot in one footfall at times t (n,) s on the trial's clock, in the ground's frame."""
    since = t - step.contact_s
    phase = since / step.contact_time_s
    weight = runner.mass_kg * G
    out = OUTWARD[step.side]
    on = (phase > 0) & (phase < 1)
    force = np.zeros((len(t), 3))
    force[:, 0] = weight * fore_aft_bw(phase, step.braking_bw)
    force[:, 1] = step.force.at(since)
    force[:, 2] = weight * sideways_bw(phase, step.side)
    force[~on] = 0.0
    along = along_foot(phase, step.cop_start) * body.foot_m
    aside = outward_m(phase) * out
    toe_out = np.radians(motion.TOE_OUT_DEG) * out
    cop = np.zeros((len(t), 3))
    cop[:, 0] = step.heel[0] + along * np.cos(toe_out) - aside * np.sin(toe_out)
    cop[:, 2] = step.heel[1] + along * np.sin(toe_out) + aside * np.cos(toe_out)
    free = np.where(on, FREE_MOMENT_NM * out * np.sin(np.pi * np.clip(phase, 0, 1)), 0.0)
    return FootLoad(step.side, force, cop, free)


def _truth(step: Step, runner: Runner) -> TrueFootfall:
    fine = np.linspace(0, step.contact_time_s, 20001)
    vertical = step.force.at(fine)
    loaded = fine[vertical > 20.0]
    weight = runner.mass_kg * G
    early = fine < 0.25 * step.contact_time_s
    first = None
    rising = np.diff(vertical[early])
    falls = np.flatnonzero((rising[:-1] > 0) & (rising[1:] <= 0))
    if len(falls):
        first = float(vertical[falls[0] + 1] / weight)
    return TrueFootfall(
        step.side,
        step.contact_s,
        step.toe_off_s,
        step.contact_s + float(loaded[0]),
        step.contact_s + float(loaded[-1]),
        step.force.impulse,
        first,
        float(vertical[~early].max() / weight),
        step.strike_deg,
        step.cop_start,
        step.heel,
        *times_above(step, CLOSES_AT_N),
    )


def simulate_standing(
    trial_id: str,
    runner: Runner,
    condition: str,
    gait: Gait,
    *,
    place: tuple[float, float],
    rates: tuple[float, float],
    duration_s: float,
) -> SimulatedTrial:
    """Quiet standing at ``place`` (forward, right, m), feet under the hips, with a little sway."""
    rng = random_source(trial_id)
    body = body_of(runner, gait.sole_m)
    tm = np.arange(round(duration_s * rates[0])) / rates[0]
    tf = np.arange(round(duration_s * rates[1])) / rates[1]
    sway = 0.003 * np.sin(2 * np.pi * (0.4 * tm + rng.uniform()))
    markers: dict[str, FloatArray] = {}
    ankles, hips, loads = {}, {}, []
    share = 0.5 + 0.02 * np.sin(2 * np.pi * (0.4 * tf + rng.uniform()))
    for side in SIDES:
        z = place[1] + OUTWARD[side] * 0.09
        ankle = np.tile([place[0] + body.ankle[0], body.ankle[1], z], (len(tm), 1))
        feet = motion.foot_markers(ankle, np.zeros(len(tm)), side, body)
        markers |= {f"{role}_{side}": p for role, p in feet.items()}
        ankles[side] = feet["lateral_malleolus"]
        hips[side] = _standing_hip(ankles[side], sway, side, place, body)
        part = share if side == "left" else 1 - share
        force = np.stack([0 * tf, part * runner.mass_kg * G, 0 * tf], axis=1)
        cop = np.tile([place[0] + 0.45 * body.foot_m, 0.0, z], (len(tf), 1))
        loads.append(FootLoad(side, force, cop, 0 * tf))
    markers |= _legs(hips, ankles, body) | motion.pelvis_markers(hips, body)
    return SimulatedTrial(trial_id, "standing", runner, condition, 0.0, duration_s, *rates, markers, tuple(loads), ())


def simulate_contraction(
    trial_id: str,
    runner: Runner,
    condition: str,
    gait: Gait,
    *,
    rates: tuple[float, float],
    duration_s: float,
    electrodes: str,
) -> SimulatedTrial:
    """A reference contraction: the runner stands and tenses first the calves, then the shins. No force is recorded."""
    still = simulate_standing(trial_id, runner, condition, gait, place=(0.0, 0.0), rates=rates, duration_s=duration_s)
    bursts = contraction_bursts(electrode_factors(random_source(electrodes + "/electrodes")))
    return replace(still, kind="reference_contraction", bursts=bursts)


def _standing_hip(ankle: FloatArray, sway: FloatArray, side: str, place: tuple[float, float], body: Body) -> FloatArray:
    """The trochanter above the ankle with an all but straight leg."""
    x = ankle[:, 0] + 0.02 + sway
    z = np.full(len(sway), place[1] + OUTWARD[side] * body.hip_half_width_m)
    longest = 0.998 * (body.thigh_m + body.shank_m)
    y = ankle[:, 1] + np.sqrt(longest**2 - (x - ankle[:, 0]) ** 2 - (z - ankle[:, 2]) ** 2)
    return np.stack([x, y, z], axis=1)
