"""The script a researcher would write for one clean trial: the same outcomes from the same file, by NumPy and SciPy.

It is what our own computing is measured against, so it is written as one would write it who wants the numbers and
nothing else: file to footfalls, joints, muscles and curves, top to bottom, for the two demonstration laboratories with
force plates. It knows no gaps, no second file, no other laboratory's plates, does not look whether anything is wrong,
and leaves out foot sensors, events from markers and what copies are known by, all of which we compute and check.
Nothing of ours is imported; ``benchmarks.trials`` holds its numbers against ours.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import ezc3d
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import butter, find_peaks, sosfiltfilt

Array = NDArray[np.float64]
G = 9.80665
THRESHOLD_N, SURE_N, STRIKE_N, FORCE_HZ, MARKER_HZ, COP_N = 20.0, 50.0, 200.0, 50.0, 20.0, 50.0
FORWARD, UP, RIGHT = 0, 1, 2


@dataclass
class Recording:
    """One file in study axes and SI units. muscles: (name, side) -> (n,) uV."""

    rate: float
    markers: dict[str, Array]
    force_rate: float
    plates: list[tuple[Array, Array, float]]  # force, moment about the origin, height of the surface
    muscles: dict[tuple[str, str], Array]


@dataclass
class Person:
    """What the tables say of the runner: kg, m."""

    mass: float
    leg: float
    sex: str


def read(
    path: Path, labels: Mapping[str, str], axes: Array, muscles: Mapping[tuple[str, str], tuple[str, float]]
) -> Recording:
    """labels: role -> label. axes: study = axes @ lab. muscles: (name, side) -> label and uV per unit."""
    file = ezc3d.c3d(str(path))
    parameters, points = file["parameters"], file["data"]["points"]
    names = parameters["POINT"]["LABELS"]["value"]
    markers = {
        role: points[:3, names.index(label)].T @ axes.T / 1000 for role, label in labels.items() if label in names
    }
    analog, channels = file["data"]["analogs"][0], parameters["ANALOG"]["LABELS"]["value"]
    platform = parameters["FORCE_PLATFORM"]
    plates = []
    for i in range(platform["USED"]["value"][0]):
        corners = platform["CORNERS"]["value"][:, :, i].T / 1000
        origin = platform["ORIGIN"]["value"][:, i] / 1000
        raw = analog[
            platform["CHANNEL"]["value"][:, i].astype(int)[: 8 if platform["TYPE"]["value"][i] == 3 else 6] - 1
        ].T
        if platform["TYPE"]["value"][i] == 3:
            a, b, depth = np.abs(origin)
            fx12, fx34, fy14, fy23, z1, z2, z3, z4 = raw.T
            force = np.column_stack([fx12 + fx34, fy14 + fy23, z1 + z2 + z3 + z4])
            moment = np.column_stack(
                [
                    b * (z1 + z2 - z3 - z4) - depth * force[:, 1],
                    a * (-z1 + z2 + z3 - z4) + depth * force[:, 0],
                    b * (-fx12 + fx34) + a * (fy14 - fy23),
                ]
            )
        else:
            force = raw[:, :3]
            moment = raw[:, 3:6] / 1000 + np.cross(-origin if origin[2] < 0 else origin, force)
        x = corners[0] - corners[1]
        z = np.cross(x, corners[0] - corners[3])
        turn = np.stack([v / np.linalg.norm(v) for v in (x, np.cross(z, x), z)], axis=1)
        force, moment = force @ turn.T, moment @ turn.T
        moment = moment + np.cross(corners.mean(axis=0), force)
        centre, force_rate = (corners @ axes.T).mean(axis=0), float(parameters["ANALOG"]["RATE"]["value"][0])
        plates.append((*zeroed(force @ axes.T, moment @ axes.T, centre, force_rate), float(centre[UP])))
    emg = {
        key: analog[channels.index(label)] * per_unit for key, (label, per_unit) in muscles.items() if label in channels
    }
    return Recording(
        float(parameters["POINT"]["RATE"]["value"][0]),
        markers,
        float(parameters["ANALOG"]["RATE"]["value"][0]),
        plates,
        emg,
    )


def facing_forward(one: Recording) -> Recording:
    """The recording turned about the vertical if the runner went against the forward axis; on a belt nobody goes."""
    trunk = one.markers["sacrum"][:, FORWARD]
    if trunk[-1] - trunk[0] > -0.5:
        return one
    turn = np.diag([-1.0, 1.0, -1.0])
    one.markers = {name: path @ turn for name, path in one.markers.items()}
    one.plates = [(force @ turn, moment @ turn, height) for force, moment, height in one.plates]
    return one


def low_pass(signal: Array, rate: float, cutoff: float, order: int = 2) -> Array:
    """Zero lag, -3 dB at the cut-off after both passes."""
    warped = np.arctan(np.tan(np.pi * cutoff / rate) / (2**0.5 - 1) ** (1 / (2 * order)))
    sos = butter(order, rate / np.pi * warped, fs=rate, output="sos")
    pad = max(3 * (2 * len(sos) + 1), round(3 * rate / cutoff))
    return sosfiltfilt(sos, signal, axis=0, padlen=min(pad, len(signal) - 1))


def smooth(rectified: Array, rate: float, cutoff: float) -> Array:
    """A rectified signal, zero lag, its ends mirrored."""
    warped = np.arctan(np.tan(np.pi * cutoff / rate) / (2**0.5 - 1) ** 0.25)
    sos = butter(2, rate / np.pi * warped, fs=rate, output="sos")
    return sosfiltfilt(sos, rectified, padtype="even", padlen=min(round(3 * rate / cutoff), len(rectified) - 1))


def band_pass(signal: Array, rate: float, low: float = 20.0, high: float = 450.0) -> Array:
    """Without its mean, zero lag, -3 dB at both edges after both passes."""
    a, b = np.tan(np.pi * np.array([low, high]) / rate)
    half = (b - a) / (2**0.5 - 1) ** 0.25 / 2
    edges = rate / np.pi * np.arctan(np.sqrt(a * b + half**2) + np.array([-half, half]))
    sos = butter(2, edges, "bandpass", fs=rate, output="sos")
    signal = signal - signal.mean()
    return sosfiltfilt(sos, signal, padtype="even", padlen=min(round(3 * rate / low), len(signal) - 1))


def at(samples: Array, rate: float, time: float) -> Array:
    """The signal at one time, between its samples."""
    i = int(np.floor(time * rate + 1e-9))
    share = time * rate - i
    return samples[i] if share < 1e-6 else (1 - share) * samples[i] + share * samples[i + 1]


def between(samples: Array, rate: float, start: float, end: float) -> tuple[Array, Array]:
    """Times and values from start to end, both ends interpolated."""
    inside = np.arange(int(np.floor(start * rate + 1e-6)) + 1, int(np.ceil(end * rate - 1e-6)))
    values = np.concatenate([at(samples, rate, start)[None], samples[inside], at(samples, rate, end)[None]])
    return np.concatenate([[start], inside / rate, [end]]), values


def contacts_in(vertical: Array, rate: float) -> list[tuple[float, float, int, int]]:
    """Start and end in s, first and last sample."""
    on = np.flatnonzero(np.diff(np.concatenate([[0], (vertical >= THRESHOLD_N).astype(int), [0]])))
    found = []
    for first, stop in on.reshape(-1, 2):
        if first == 0 or stop == len(vertical):
            continue
        start = first - 1 + (THRESHOLD_N - vertical[first - 1]) / (vertical[first] - vertical[first - 1])
        end = stop - 1 + (THRESHOLD_N - vertical[stop - 1]) / (vertical[stop] - vertical[stop - 1])
        if found and start / rate - found[-1][1] < 0.02:
            found[-1] = (found[-1][0], end / rate, found[-1][2], stop - 1)
        else:
            found.append((start / rate, end / rate, first, stop - 1))
    return [contact for contact in found if contact[1] - contact[0] >= 0.08]


def side_of(contact: tuple[float, float, int, int], cop: Array, one: Recording, markers: Mapping[str, Array]) -> str:
    """The foot whose line from heel to forefoot is nearer to the centre of pressure over the contact."""
    frames = np.arange(int(np.ceil(contact[0] * one.rate)), int(contact[1] * one.rate) + 1)
    point = cop[np.rint(frames / one.rate * one.force_rate).astype(int)]
    distance = {}
    for side in ("left", "right"):
        heel, toe = markers[f"calcaneus_{side}"][frames], markers[f"second_metatarsal_head_{side}"][frames]
        along = toe - heel
        share = np.clip(((point - heel) * along).sum(axis=1) / (along**2).sum(axis=1), 0, 1)
        distance[side] = np.nanmean(np.linalg.norm(point - heel - share[:, None] * along, axis=1))
    return min(distance, key=lambda side: distance[side])


def zeroed(force: Array, moment: Array, centre: Array, rate: float) -> tuple[Array, Array]:
    """A plate less what it reads in the middle of each flight (median)."""
    low, high = np.percentile(force[:, UP], [2, 98])
    quiet = force[:, UP] < low + max(0.05 * (high - low), 25)
    edges, edge = np.flatnonzero(np.diff(np.concatenate([[0], quiet.astype(int), [0]]))), round(0.015 * rate)
    rest = []
    for start, stop in edges.reshape(-1, 2) + np.array([edge, -edge]):
        quarter = (stop - start) // 4
        if stop - start > 4 and stop - start - 2 * quarter >= 4:
            rest += range(start + quarter, stop - quarter)
    level = np.median(force[rest], axis=0)
    turn = np.median(moment[rest] - np.cross(centre, force[rest]), axis=0)
    return force - level, moment - turn - np.cross(centre, level)


def under_the_feet(plates: list[tuple[Array, Array, float]], rate: float) -> tuple[Array, Array, Array]:
    """Force and moment (n, 6) of the plates that carry each contact, raw and filtered, and their height (n,)."""
    raw = [np.hstack([force, moment]) for force, moment, _ in plates]
    smooth = [low_pass(own, rate, FORCE_HZ) for own in raw]
    stands: list[list] = []
    loads = [np.diff(np.concatenate([[0], (own[:, UP] >= SURE_N).astype(int), [0]])) for own in smooth]
    spells = [(*ab, i) for i, load in enumerate(loads) for ab in np.flatnonzero(load).reshape(-1, 2)]
    for start, stop, plate in sorted(spells):
        if stands and start - stands[-1][1] < 0.02 * rate:
            stands[-1][1], stands[-1][2] = max(stop, stands[-1][1]), stands[-1][2] | {plate}
        else:
            stands.append([start, stop, {plate}])
    middles = [(one[1] + later[0]) // 2 for one, later in pairwise(stands)]
    edges = [0, *middles, len(raw[0])]
    sums, height = [np.zeros_like(raw[0]), np.zeros_like(raw[0])], np.zeros(len(raw[0]))
    for start, stop, (_, _, loaded) in zip(edges, edges[1:], stands, strict=False):
        height[start:stop] = np.mean([plates[i][2] for i in loaded])
        for total, own in zip(sums, (raw, smooth), strict=True):
            total[start:stop] = sum(own[i][start:stop] for i in loaded)
    return sums[0], sums[1], height


def pressure(wrench: Array, heights: Array, contacts: list[tuple[float, float, int, int]]) -> Array:
    """Centre of pressure during the contacts."""
    cop = np.full((len(wrench), 3), np.nan)
    for _, _, first, last in contacts:
        there = first + np.flatnonzero(wrench[first : last + 1, UP] >= COP_N)
        force, moment, height = wrench[there, :3], wrench[there, 3:], heights[there]
        cop[there, FORWARD] = (moment[:, RIGHT] + height * force[:, FORWARD]) / force[:, UP]
        cop[there, UP] = height
        cop[there, RIGHT] = (height * force[:, RIGHT] - moment[:, FORWARD]) / force[:, UP]
    return cop


def peaks_and_rates(time: Array, force: Array, smooth_force: Array) -> dict[str, float]:
    """Of one contact, in body weights; time from contact."""
    vertical, fore_aft = smooth_force[:, 1], smooth_force[:, 0]
    later = np.flatnonzero(time[:-1] > 0.25 * time[-1])
    top = later[np.argmax(vertical[later])]
    impact = None
    for peak in find_peaks(vertical, prominence=0.02)[0]:
        if time[peak] > 0.25 * time[-1]:
            break
        if min(vertical[peak], vertical[top]) - vertical[peak:top].min() >= 0.02:
            impact = peak
            break
    low, high = 0.2 * 0.13 * time[-1], 0.8 * 0.13 * time[-1]
    rising = np.interp([low, high], time, vertical)
    to_peak = np.nan
    if impact is not None:
        start, end = np.interp([0.2 * time[impact], 0.8 * time[impact]], time, vertical)
        to_peak = (end - start) / (0.8 * time[impact] - 0.2 * time[impact])
    slopes = np.diff(vertical) / np.diff(time)
    whole = np.trapezoid(force[:, 1], time)
    return {
        "impact_peak_bw": np.nan if impact is None else vertical[impact],
        "impact_peak_time_s": np.nan if impact is None else time[impact],
        "active_peak_bw": vertical[top],
        "active_peak_time_s": time[top],
        "average_loading_rate_bw_per_s": (rising[1] - rising[0]) / (high - low),
        "instantaneous_loading_rate_bw_per_s": slopes[(time[1:] > low) & (time[:-1] < high)].max(),
        "loading_rate_to_peak_bw_per_s": to_peak,
        "vertical_impulse_bw_s": whole,
        "braking_impulse_bw_s": np.trapezoid(np.minimum(force[:, 0], 0), time),
        "propulsive_impulse_bw_s": np.trapezoid(np.maximum(force[:, 0], 0), time),
        "net_fore_aft_impulse_bw_s": np.trapezoid(force[:, 0], time),
        "braking_peak_bw": fore_aft.min(),
        "propulsive_peak_bw": fore_aft.max(),
        "mean_vertical_force_bw": whole / time[-1],
    }


def stiffness(mass: float, contact: float, flight: float, leg: float, speed: float) -> tuple[float, float]:
    """Vertical and leg stiffness in kN/m (Morin et al. 2005)."""
    peak = mass * G * np.pi / 2 * (flight / contact + 1)
    fall = peak * contact**2 / (mass * np.pi**2) - G * contact**2 / 8
    shorter = leg - np.sqrt(leg**2 - (speed * contact / 2) ** 2) + fall
    return peak / fall / 1000, peak / shorter / 1000


def slope(line: Array) -> float:
    """Of a line to the ground, deg."""
    return float(np.degrees(np.arctan2(line[UP], np.hypot(line[FORWARD], line[RIGHT]))))


def footfalls_of(one: Recording, person: Person, standing: Mapping[str, Array], belt: float | None) -> pd.DataFrame:
    """One row per footfall."""
    from benchmarks.plain_loads import bounce_of, effective_mass

    raw, filtered, heights = under_the_feet(one.plates, one.force_rate)
    force = raw[:, :3]
    contacts = contacts_in(filtered[:, UP], one.force_rate)
    cop = pressure(filtered, heights, contacts)
    markers = {name: low_pass(path, one.rate, MARKER_HZ) for name, path in one.markers.items()}
    sides = [side_of(contact, cop, one, markers) for contact in contacts]
    weight = person.mass * G
    speed = belt or np.mean(
        [
            np.polyfit(np.arange(len(p)) / one.rate, p[:, FORWARD], 1)[0]
            for name, p in one.markers.items()
            if name.startswith(("sacrum", "anterior_superior"))
        ]
    )
    starts = [c[0] for c in contacts]
    rows = []
    for i, (start, end, first, last) in enumerate(contacts):
        side, contact_time = sides[i], end - start
        row = {
            "side": side,
            "contact_s": start,
            "toe_off_s": end,
            "contact_time_s": contact_time,
            "speed_m_per_s": speed,
        }
        step = starts[i + 1] - start if i + 1 < len(starts) and sides[i + 1] != side else np.nan
        stride = starts[i + 2] - start if i + 2 < len(starts) and sides[i + 1] != side == sides[i + 2] else np.nan
        flight = step - contact_time
        row |= {
            "step_time_s": step,
            "stride_time_s": stride,
            "flight_time_s": flight,
            "cadence_step_per_min": 60 / step,
        }
        row["duty_factor_fraction"] = contact_time / (2 * step if np.isnan(stride) else stride)
        places = [
            at(markers[f"calcaneus_{sides[j]}"], one.rate, (contacts[j][0] + contacts[j][1]) / 2)[FORWARD]
            for j in range(i, min(i + 3, len(contacts)))
        ]
        row["step_length_m"] = belt * step if belt else np.nan if np.isnan(step) else places[1] - places[0]
        row["stride_length_m"] = belt * stride if belt else np.nan if np.isnan(stride) else places[2] - places[0]
        time, own = between(force[:, [FORWARD, UP]] / weight, one.force_rate, start, end)
        _, smooth_own = between(filtered[:, [FORWARD, UP]] / weight, one.force_rate, start, end)
        row |= peaks_and_rates(time - start, own, smooth_own)
        vertical, leg = stiffness(person.mass, contact_time, flight, person.leg, speed)
        row |= {"vertical_stiffness_kn_per_m": vertical, "leg_stiffness_kn_per_m": leg}
        if not np.isnan(stride):
            time, whole = between(
                np.stack([force[:, UP], filtered[:, UP]], axis=1), one.force_rate, start, start + stride
            )
            row |= bounce_of(time, whole[:, 0], whole[:, 1], end, start + step)
        ankle = markers[f"lateral_malleolus_{side}"]
        falling = (at(ankle, one.rate, start - 1 / one.rate) - at(ankle, one.rate, start))[UP] * one.rate
        lasts = row["impact_peak_time_s"]
        if not np.isnan(lasts):
            time, rising = between(force[:, UP] / weight, one.force_rate, start, start + lasts)
            row["effective_mass_fraction"] = effective_mass(np.trapezoid(rising, time), falling, lasts)
        heel, toe = markers[f"calcaneus_{side}"], markers[f"second_metatarsal_head_{side}"]
        stood = standing[f"second_metatarsal_head_{side}"] - standing[f"calcaneus_{side}"]
        row["foot_strike_angle_deg"] = slope(at(toe - heel, one.rate, start)) - slope(stood)
        sample = first + np.flatnonzero(filtered[first : last + 1, UP] >= STRIKE_N)[0]
        below, above = filtered[sample - 1, UP], filtered[sample, UP]
        when = (sample - 1 + (STRIKE_N - below) / (above - below)) / one.force_rate
        back, front = (at(path, one.rate, when) for path in (heel, toe))
        line = front - back
        along = (
            (at(cop, one.force_rate, when) - back)[[FORWARD, RIGHT]]
            @ line[[FORWARD, RIGHT]]
            / np.hypot(line[FORWARD], line[RIGHT])
        )
        row["strike_index_percent"] = 100 * along / (np.linalg.norm(line) * 1.39)
        rows.append(row)
    return pd.DataFrame(rows)


def everything(
    path: Path,
    labels: Mapping[str, str],
    axes: Array,
    person: Person,
    standing: Mapping[str, Array],
    *,
    belt: float | None,
    muscles: Mapping[tuple[str, str], tuple[str, float]],
    references: Mapping[tuple[str, str], float],
) -> dict[str, pd.DataFrame]:
    """The tables of one trial. belt: its speed in m/s, None on a runway; standing: role -> (3,) m; references in uV."""
    from benchmarks.plain_legs import curves_of, joints_of, muscles_of

    one = facing_forward(read(path, labels, axes, muscles))
    footfalls = footfalls_of(one, person, standing, belt)
    joints, angles, loads = joints_of(one, person, standing, footfalls)
    amplitudes, bursts, together, envelopes = muscles_of(one, footfalls, references)
    return {
        "footfalls": footfalls,
        "footfall_joints": joints,
        "muscle_amplitudes": amplitudes,
        "muscle_bursts": bursts,
        "co_contractions": together,
        "curves": curves_of(one, person, footfalls, angles, envelopes, loads),
    }
