"""Where the body is at each moment, so that it fits the force: a loaded foot stays where it landed.

All places are in the ground's frame (see ``steps``), y up from the ground.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.body import BALL_SHARE, OUTWARD, Body
from demo_site_uploads.simulator.steps import Step
from demo_site_uploads.simulator.vertical_force import G

FloatArray = NDArray[np.float64]

FLAT_FROM = 0.16  # part of contact at which the sole is flat
HEEL_RISE_FROM = 0.55
TOE_OFF_DEG = -48.0
TOE_OUT_DEG = 4.0
LANDING_M_PER_S = 0.5  # downward speed that the ground takes from the foot
LONGEST_LEG = 0.985  # running legs stay bent: hip to ankle over thigh plus shank


def sole_angle_deg(phase: FloatArray, strike_deg: float) -> FloatArray:
    """Sole to ground during contact, toes up positive: strike angle, flat, then heel rise."""
    u = np.clip(phase / FLAT_FROM, 0, 1)
    landing = strike_deg * (1 + 0.5 * u) * (1 - u) ** 2  # leaves the strike angle at 1.5 times the mean rate
    rise = np.clip((phase - HEEL_RISE_FROM) / (1 - HEEL_RISE_FROM), 0, 1.2)
    return landing + TOE_OFF_DEG * rise**2


def heel_on_sole(phase: FloatArray, step: Step, body: Body) -> tuple[FloatArray, FloatArray]:
    """Forward-up place (n, 2) of the heel's sole relative to its flat place, and the sole angle in radians.

    Toes up, the foot turns about the heel; toes down, about the ball.
    """
    angle = np.radians(sole_angle_deg(phase, step.strike_deg))
    ball = BALL_SHARE * body.foot_m
    down = np.minimum(angle, 0.0)
    shift = np.stack([ball - ball * np.cos(down), -ball * np.sin(down)], axis=1)
    return shift, angle


def ankle_and_pitch(t: FloatArray, side: str, steps: tuple[Step, ...], body: Body) -> tuple[FloatArray, FloatArray]:
    """Forward, up, right place of the foot's turning point under the ankle (n, 3) m, and pitch (n,) rad."""
    own = [s for s in steps if s.side == side]
    place, pitch = np.zeros((len(t), 3)), np.zeros(len(t))
    for step, after in zip(own, [*own[1:], None], strict=True):
        here = (t >= step.contact_s) & (t < step.toe_off_s)
        place[here], pitch[here] = _in_contact(t[here], step, body)
        if after is not None:
            swing = (t >= step.toe_off_s) & (t < after.contact_s)
            place[swing], pitch[swing] = _in_swing(t[swing], step, after, body)
    return place, pitch


def _in_contact(t: FloatArray, step: Step, body: Body) -> tuple[FloatArray, FloatArray]:
    phase = (t - step.contact_s) / step.contact_time_s
    shift, angle = heel_on_sole(phase, step, body)
    ankle = body.ankle[:2]
    forward = step.heel[0] + shift[:, 0] + ankle[0] * np.cos(angle) - ankle[1] * np.sin(angle)
    up = shift[:, 1] + ankle[0] * np.sin(angle) + ankle[1] * np.cos(angle)
    return np.stack([forward, up, np.full(len(t), step.heel[1])], axis=1), angle


def _in_swing(t: FloatArray, step: Step, after: Step, body: Body) -> tuple[FloatArray, FloatArray]:
    """Splines from toe-off to the next contact that leave with the speed of the loaded foot and land from above."""
    from scipy.interpolate import CubicSpline

    start, end = step.toe_off_s, after.contact_s
    d = 1e-4
    times = np.array([start - d, start])
    leave, leave_pitch = _in_contact(times, step, body)
    arrive, arrive_pitch = _in_contact(np.array([end, end + d]), after, body)
    span = end - start
    path = arrive[0] - leave[1]
    high = leave[1] * [1, 0, 1] + [0, 1, 0] * np.array([0, 0.30 * (body.shank_m + 0.08) / 0.5, 0])
    knots = [0.0, 0.35, 0.72, 1.0]
    places = np.array(
        [
            leave[1],
            high + path * [0.24, 0, 0.35] + [0, 0.12, 0],
            arrive[0] * [1, 0, 1] - path * [0.18, 0, 0.2] + [0, arrive[0, 1] + 0.11, 0],
            arrive[0],
        ]
    )
    shares = (t - start) / span
    landing = (arrive[1] - arrive[0]) / d - [0, LANDING_M_PER_S, 0]
    ends = ((1, (leave[1] - leave[0]) / d * span), (1, landing * span))
    place = CubicSpline(knots, places, bc_type=ends)(shares)
    turn = np.array([leave_pitch[1], np.radians(-88.0), np.radians(-30.0), arrive_pitch[0]])
    slopes = ((1, (leave_pitch[1] - leave_pitch[0]) / d * span), (1, (arrive_pitch[1] - arrive_pitch[0]) / d * span))
    pitch = CubicSpline([0.0, 0.25, 0.66, 1.0], turn, bc_type=slopes)(shares)
    return place, pitch


def foot_markers(place: FloatArray, pitch: FloatArray, side: str, body: Body) -> dict[str, FloatArray]:
    """Role -> (n, 3) m of the markers on the foot, from the ankle's place and the pitch."""
    out = OUTWARD[side]
    toe_out = np.radians(TOE_OUT_DEG) * out
    markers = {}
    for role, own in body.foot_markers.items():
        dx, dy = own[0] - body.ankle[0], own[1] - body.ankle[1]
        along = dx * np.cos(pitch) - dy * np.sin(pitch)
        up = dx * np.sin(pitch) + dy * np.cos(pitch)
        across = own[2] * out
        offset = np.stack(
            [
                along * np.cos(toe_out) - across * np.sin(toe_out),
                up,
                along * np.sin(toe_out) + across * np.cos(toe_out),
            ],
            axis=1,
        )
        markers[role] = place + offset
    return markers


def rise_of_body(t: FloatArray, steps: tuple[Step, ...], mass_kg: float) -> FloatArray:
    """Height of the centre of mass (n,) m about its height at contacts: the force integrated twice.

    Small differences between steps would make it drift, so its height is taken as equal at all contacts.
    """
    fine = np.arange(steps[0].contact_s, steps[-1].toe_off_s, 0.001)
    force = np.sum([s.force.at(fine - s.contact_s) for s in steps], axis=0)
    acceleration = force / mass_kg - G
    speed = np.cumsum(acceleration) * 0.001
    height = np.cumsum(speed) * 0.001
    contacts = [s.contact_s for s in steps]
    height -= np.interp(fine, contacts, np.interp(contacts, fine, height))
    return np.interp(t, fine, height)


def knee_of(hip: FloatArray, ankle: FloatArray, body: Body) -> FloatArray:
    """Place of the lateral epicondyle (n, 3): rigid thigh and shank, bent forwards."""
    line = ankle - hip
    length = np.linalg.norm(line, axis=1, keepdims=True)
    if (length > body.thigh_m + body.shank_m).any():
        raise ValueError("the simulated leg is too short for the asked motion; lower the hip or the reach")
    unit = line / length
    along = (body.thigh_m**2 - body.shank_m**2 + length**2) / (2 * length)
    off = np.sqrt(np.maximum(body.thigh_m**2 - along**2, 0))
    ahead = np.array([1.0, 0.0, 0.0]) - unit * unit[:, :1]
    return hip + unit * along + off * ahead / np.linalg.norm(ahead, axis=1, keepdims=True)


def pelvis_markers(hips: dict[str, FloatArray], body: Body) -> dict[str, FloatArray]:
    """Role with side -> (n, 3) of the pelvis markers, from the two trochanters."""
    middle = (hips["left"] + hips["right"]) / 2
    markers = {"sacrum": middle + np.array([-0.11, 0.09, 0.0])}
    for side, hip in hips.items():
        out = OUTWARD[side]
        markers[f"greater_trochanter_{side}"] = hip
        markers[f"anterior_superior_iliac_spine_{side}"] = middle + np.array([0.10, 0.10, 0.125 * out])
        markers[f"posterior_superior_iliac_spine_{side}"] = middle + np.array([-0.10, 0.095, 0.045 * out])
    return markers


def hip_base(rise: FloatArray, ankles: dict[str, FloatArray], pelvis_x: FloatArray, body: Body) -> float:
    """Height of the trochanters less ``rise``: as high as both legs, kept a little bent, allow at every moment."""
    longest = LONGEST_LEG * (body.thigh_m + body.shank_m)
    room = []
    for side, ankle in ankles.items():
        dx = ankle[:, 0] - pelvis_x
        dz = ankle[:, 2] - OUTWARD[side] * body.hip_half_width_m
        room.append(ankle[:, 1] + np.sqrt(longest**2 - dx**2 - dz**2) - rise)
    return float(np.min(room))
