"""Small studies and trials for tests: literal values in, no fixture files. The runner here is a rule, not a model."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from schemas.study import Study
from schemas.trial import FileFacts, Plate, Posture, Trial

G = 9.80665
ROLES = (
    "calcaneus",
    "second_metatarsal_head",
    "fifth_metatarsal_head",
    "lateral_malleolus",
    "lateral_femoral_epicondyle",
    "greater_trochanter",
)
#: forward, up, right (for the right foot) of each marker while the foot stands flat with its heel marker at the origin
FLAT = {
    "calcaneus": (0.0, 0.04, 0.0),
    "second_metatarsal_head": (0.18, 0.04, 0.0),
    "fifth_metatarsal_head": (0.15, 0.03, 0.04),
    "lateral_malleolus": (0.06, 0.08, 0.03),
    "lateral_femoral_epicondyle": (0.08, 0.50, 0.04),
    "greater_trochanter": (0.02, 0.90, 0.06),
}


def a_study(**changes: Any) -> Study:
    """A study with one treadmill lab and one runway lab; ``changes`` replace top-level settings."""
    labels = {f"{role}_{side}": f"{role[:3]}{side[0]}" for role in ROLES for side in ("left", "right")} | {
        "sacrum": "sac"
    }
    axes = {"forward": "+x", "up": "+y", "right": "+z"}
    sites = {
        "mill": {"surface": "treadmill", "plate_types": [2], "force_rate_hz": 1000},
        "way": {"surface": "runway", "plate_types": [2, 2], "force_rate_hz": 1000},
    }
    settings: dict[str, Any] = {
        "title": "A test study",
        "version": "1",
        "invented": True,
        "conditions": {"shod": {"description": "Shoes."}, "unshod": {"description": "No shoes."}},
        "visits": {"first": {"planned_week": 0}, "last": {"planned_week": 10}},
        "muscles": {"soleus": {"description": "Calf."}},
        "marker_roles": {role: {"description": role, "required": True} for role in ROLES}
        | {"sacrum": {"description": "sacrum", "sided": False, "required": True}},
        "sites": {
            name: {
                "description": name,
                "profile": {"site": name, "axes": axes, "marker_rate_hz": 200, "markers": labels, **own},
            }
            for name, own in sites.items()
        },
    }
    return Study.model_validate({**settings, **changes})


def a_plate(
    number: int,
    force: np.ndarray,
    cop: np.ndarray,
    centre: tuple[float, float],
    *,
    size: tuple[float, float] = (0.9, 0.6),
) -> Plate:
    """A plate in study axes that reads ``force`` (n, 3) applied at ``cop`` (n, 3). centre: forward, right in m."""
    half_x, half_z = size[0] / 2, size[1] / 2
    x, z = centre
    corners = np.array(
        [
            [x + half_x, 0, z - half_z],
            [x + half_x, 0, z + half_z],
            [x - half_x, 0, z + half_z],
            [x - half_x, 0, z - half_z],
        ]
    )
    moment = np.cross(cop, force)
    raw = np.hstack([force, moment])
    return Plate(number, 2, corners, force, moment, raw, ("Fx", "Fy", "Fz", "Mx", "My", "Mz"))


def a_trial(
    *,
    surface: str = "treadmill",
    footfalls: int = 8,
    contact_s: float = 0.25,
    flight_s: float = 0.10,
    mass_kg: float = 70.0,
    speed: float = 3.0,
    first_side: str = "right",
    start_s: float = 0.10,
    marker_rate: float = 200.0,
    force_rate: float = 1000.0,
    kind: str = "running",
    strike_deg: float = 10.0,
    **changes: Any,
) -> Trial:
    """A running trial of alternating half-sine contacts whose impulse carries the body exactly.

    The foot is flat on the ground during contact except that the toes are up by ``strike_deg`` at contact and flat
    after 15 % of it. ``changes`` replace fields of the Trial.
    """
    step = contact_s + flight_s
    duration = start_s + footfalls * step + 0.1
    t = np.arange(round(duration * force_rate)) / force_rate
    tm = np.arange(round(duration * marker_rate)) / marker_rate
    starts = start_s + step * np.arange(footfalls)
    sides = [first_side if i % 2 == 0 else {"left": "right", "right": "left"}[first_side] for i in range(footfalls)]
    belt = speed if surface == "treadmill" else 0.0
    peak = np.pi / 2 * mass_kg * G * step / contact_s
    forces, cops, landings = [], [], []
    for start, side in zip(starts, sides, strict=True):
        phase = (t - start) / contact_s
        on = (phase > 0) & (phase < 1)
        force = np.zeros((len(t), 3))
        force[on, 1] = peak * np.sin(np.pi * phase[on])
        force[on, 0] = -0.15 * peak * np.sin(2 * np.pi * phase[on])
        landing = 0.1 if surface == "treadmill" else speed * start
        lateral = 0.05 if side == "right" else -0.05
        cop = np.zeros((len(t), 3))
        cop[:, 0] = landing + 0.02 + 0.16 * np.clip(phase, 0, 1) - belt * (t - start)
        cop[:, 2] = lateral
        forces.append(force)
        cops.append(cop)
        landings.append((start, landing, lateral))
    markers = {}
    for side in ("left", "right"):
        own = [landing for landing, s in zip(landings, sides, strict=True) if s == side]
        for role in ROLES:
            markers[f"{role}_{side}"] = _foot_path(tm, own, FLAT[role], side, contact_s, belt, strike_deg)
    body = np.zeros((len(tm), 3))
    body[:, 0] = 0.0 if surface == "treadmill" else speed * tm
    body[:, 1] = 1.0
    markers["sacrum"] = body
    plates = _plates(surface, forces, cops, landings)
    facts = FileFacts(
        "INTEL",
        "float",
        len(markers),
        len(tm),
        marker_rate,
        "mm",
        6 * len(plates),
        force_rate,
        tuple(markers),
    )
    trial = Trial(
        "T1",
        "mill" if surface == "treadmill" else "way",
        kind,
        "shod",
        surface,
        facts,
        markers,
        {role: np.zeros(len(tm), bool) for role in markers},
        marker_rate,
        plates,
        force_rate,
        participant_id="P1",
        session_id="S1",
        visit="first",
        mass_kg=mass_kg,
        stature_m=1.75,
        leg_length_m=0.9,
        set_speed_m_per_s=speed,
        raw_sha256="0" * 64,
        file="trials/T1.c3d",
    )
    return replace(trial, **changes)


def _foot_path(
    t: np.ndarray,
    landings: list,
    flat: tuple[float, float, float],
    side: str,
    contact_s: float,
    belt: float,
    strike_deg: float,
) -> np.ndarray:
    """Where one marker of one leg is: still (or moving with the belt) in contact, a smooth arc between contacts."""
    if not landings:  # a foot that never lands hangs in the air
        lateral = 0.05 if side == "right" else -0.05
        landings = [(t[-1] + 10.0, 0.8, lateral)]
    knots_t, knots = [t[0] - 1.0], [np.array([landings[0][1] - 0.8, 0.15, landings[0][2]])]
    for start, landing, lateral in landings:
        for share in (0.0, 1.0):
            knots_t.append(start + share * contact_s)
            knots.append(np.array([landing - belt * share * contact_s, 0.0, lateral]))
        knots_t.append(start + 1.6 * contact_s)
        knots.append(np.array([landing - belt * contact_s * 0.6, 0.15, lateral]))
    heel = np.stack([np.interp(t, knots_t, [k[i] for k in knots]) for i in range(3)], axis=1)
    angle = np.zeros(len(t))
    for start, _, _ in landings:
        since = (t - start) / contact_s
        angle = np.where((since > -0.5) & (since <= 0), strike_deg, angle)
        angle = np.where((since > 0) & (since < 0.15), strike_deg * (1 - since / 0.15), angle)
    a = np.radians(angle)
    sign = 1 if side == "right" else -1
    x, y, z = flat
    leg_up = y if y < 0.2 else 0.0
    offset = np.stack(
        [
            x * np.cos(a) - leg_up * np.sin(a),
            x * np.sin(a) + (y if y >= 0.2 else leg_up * np.cos(a)),
            np.full(len(t), sign * z),
        ],
        axis=1,
    )
    return heel + offset


def _plates(surface: str, forces: list, cops: list, landings: list) -> tuple[Plate, ...]:
    if surface == "treadmill":
        total = np.sum(forces, axis=0)
        moment = np.sum([np.cross(c, f) for c, f in zip(cops, forces, strict=True)], axis=0)
        plate = a_plate(1, total, np.zeros_like(total), (0.0, 0.0), size=(2.0, 0.8))
        return (replace(plate, moment=moment, raw=np.hstack([total, moment])),)
    return tuple(
        a_plate(i + 1, f, c, (landing[1] + 0.1, 0.0))
        for i, (f, c, landing) in enumerate(zip(forces, cops, landings, strict=True))
    )


def a_standing_trial(**changes: Any) -> Trial:
    """A standing trial: every marker where ``FLAT`` says, for one second."""
    frames = 200
    markers = {
        f"{role}_{side}": np.tile(np.array([x, y, (z + 0.1) * (1 if side == "right" else -1)]), (frames, 1))
        for role, (x, y, z) in FLAT.items()
        for side in ("left", "right")
    }
    markers["sacrum"] = np.tile(np.array([0.0, 1.0, 0.0]), (frames, 1))
    facts = FileFacts("INTEL", "float", len(markers), frames, 200.0, "mm", 0, None, tuple(markers))
    trial = Trial(
        "T0",
        "mill",
        "standing",
        "shod",
        "treadmill",
        facts,
        markers,
        {r: np.zeros(frames, bool) for r in markers},
        200.0,
        (),
        None,
        participant_id="P1",
        session_id="S1",
        visit="first",
        mass_kg=70.0,
        file="trials/T0.c3d",
    )
    return replace(trial, **changes)


def a_posture(**changes: Any) -> Posture:
    """The posture of ``a_standing_trial``: every marker where ``FLAT`` says."""
    trial = a_standing_trial()
    posture = Posture(
        trial.trial_id, trial.condition, {role: path.mean(axis=0) for role, path in trial.markers.items()}
    )
    return replace(posture, **changes)


def mirrored(trial: Trial) -> Trial:
    """The same runner seen in a mirror that stands upright along the running direction: left becomes right."""
    place, turn = np.array([1.0, 1.0, -1.0]), np.array([-1.0, -1.0, 1.0])  # moments are axial vectors
    other = {"left": "right", "right": "left"}
    names = {role: _renamed(role, other) for role in trial.markers}
    return replace(
        trial,
        markers={names[role]: path * place for role, path in trial.markers.items()},
        filled={names[role]: flags for role, flags in trial.filled.items()},
        plates=tuple(
            replace(p, corners=p.corners * place, force=p.force * place, moment=p.moment * turn) for p in trial.plates
        ),
    )


def _renamed(role: str, other: dict[str, str]) -> str:
    stem, _, side = role.rpartition("_")
    return f"{stem}_{other[side]}" if side in other else role


def with_force(trial: Trial, change: Callable[[np.ndarray], np.ndarray]) -> Trial:
    """The same trial with every plate's force (n, 3) passed through ``change``; moments stay as they are."""
    return replace(trial, plates=tuple(replace(p, force=change(p.force.copy())) for p in trial.plates))


def hummed(trial: Trial, part: float, hz: float = 200.0) -> Trial:
    """The same with a hum on force and moment alike, as large as a part of the force: far above the cut-off for peaks."""
    clock = np.arange(len(trial.plates[0].force)) / (trial.analog_rate_hz or 1.0)
    hum = 1 + part * np.cos(2 * np.pi * hz * clock)[:, None]
    return replace(trial, plates=tuple(replace(p, force=p.force * hum, moment=p.moment * hum) for p in trial.plates))


def cut(trial: Trial, start_s: float, end_s: float) -> Trial:
    """The same trial recorded from ``start_s`` to ``end_s`` only; its clock starts anew."""
    rate = trial.analog_rate_hz or 0.0
    frames = slice(round(start_s * trial.marker_rate_hz), round(end_s * trial.marker_rate_hz))
    samples = slice(round(start_s * rate), round(end_s * rate))
    markers = {role: path[frames] for role, path in trial.markers.items()}
    count = len(next(iter(markers.values()))) if markers else 0
    return replace(
        trial,
        facts=replace(trial.facts, frame_count=count),
        markers=markers,
        filled={role: flags[frames] for role, flags in trial.filled.items()},
        plates=tuple(
            replace(p, force=p.force[samples], moment=p.moment[samples], raw=p.raw[samples]) for p in trial.plates
        ),
    )
