"""The rest of the plain script: joints, muscles and mean curves. See ``plain_script`` for what it is and is not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd

from benchmarks.plain_loads import ankle_of, loads_of, per_contact, tendon_force, turning_rate
from benchmarks.plain_script import (
    FORWARD,
    MARKER_HZ,
    SURE_N,
    UP,
    Array,
    G,
    Person,
    Recording,
    band_pass,
    between,
    low_pass,
    smooth,
    under_the_feet,
)

Key = tuple[str, str]
Series = tuple[str, str, float, Array]  # side, name, Hz, values
# de Leva 1996, Table 4: mass, centre of mass and sagittal radius of gyration, as fractions
SEGMENTS = {
    "female": {"thigh": (0.1478, 0.3612, 0.364), "shank": (0.0481, 0.4352, 0.263), "foot": (0.0129, 0.4014, 0.279)},
    "male": {"thigh": (0.1416, 0.4095, 0.329), "shank": (0.0433, 0.4395, 0.246), "foot": (0.0137, 0.4415, 0.245)},
}
PAIRS = [("gastrocnemius_medialis", "tibialis_anterior"), ("soleus", "tibialis_anterior")]


def direction(a: Array, b: Array) -> Array:
    """Of the line from a to b in the sagittal plane, deg."""
    return np.degrees(np.arctan2(b[..., UP] - a[..., UP], b[..., FORWARD] - a[..., FORWARD]))


def wrapped(angle: Array) -> Array:
    """In [-180, 180) deg."""
    return (angle + 180) % 360 - 180


def sagittal(m: Mapping[str, Array], side: str) -> dict[str, Array]:
    """Joint angles in deg, standing not yet subtracted."""
    heel, ball, ankle, knee, hip = (
        m[f"{role}_{side}"]
        for role in (
            "calcaneus",
            "second_metatarsal_head",
            "lateral_malleolus",
            "lateral_femoral_epicondyle",
            "greater_trochanter",
        )
    )
    shank, thigh, pelvis = direction(ankle, knee), direction(knee, hip), 0.0
    if "anterior_superior_iliac_spine_left" in m:
        front = (m["anterior_superior_iliac_spine_left"] + m["anterior_superior_iliac_spine_right"]) / 2
        pelvis = direction(m["sacrum"], front)
    return {
        "ankle": wrapped(direction(ball, heel) - shank - 90),
        "knee": wrapped(thigh - shank),
        "hip": wrapped(thigh - pelvis - 90),
    }


def moments(one: Recording, person: Person, side: str, loaded: list[int]) -> dict[str, Array]:
    """By inverse dynamics from the foot up: moments (N.m/kg, extensors positive), rates of extension, dorsiflexion."""
    m = {name: low_pass(path, one.rate, 20.0) for name, path in one.markers.items()}
    heel, ball = m[f"calcaneus_{side}"], m[f"second_metatarsal_head_{side}"]
    toe = heel + 1.39 * (ball - heel)
    ankle, knee = m[f"lateral_malleolus_{side}"], m[f"lateral_femoral_epicondyle_{side}"]
    hip = m[f"greater_trochanter_{side}"]
    wrench = np.hstack([sum(one.plates[i][0] for i in loaded), sum(one.plates[i][1] for i in loaded)])
    wrench = low_pass(wrench, one.force_rate, 20.0)
    frames, samples = np.arange(len(heel)) / one.rate, np.arange(len(wrench)) / one.force_rate
    wrench = np.stack([np.interp(frames, samples, column, np.nan, np.nan) for column in wrench.T], axis=1)
    push, twist = wrench[:, :2], wrench[:, 5]
    cross = lambda a, b: a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]  # noqa: E731
    found = {}
    chain = [
        ("foot", heel, toe, "ankle", ankle),
        ("shank", knee, ankle, "knee", knee),
        ("thigh", hip, knee, "hip", hip),
    ]
    for segment, first, second, joint, place in chain:
        share, centre_share, gyration = SEGMENTS[person.sex][segment]
        a, b, place = first[:, :2], second[:, :2], place[:, :2]
        centre, mass = a + centre_share * (b - a), share * person.mass
        inertia = mass * (gyration * np.linalg.norm(a - b, axis=1).mean()) ** 2
        speeding, turning = np.full(centre.shape, np.nan), np.full(len(centre), np.nan)
        speeding[1:-1] = np.diff(centre, 2, axis=0) * one.rate**2
        turning[1:-1] = np.diff(np.radians(wrapped(np.diff(direction(second, first))))) * one.rate**2
        force = mass * (speeding + np.array([0, G])) - push
        moment = inertia * turning - (twist - cross(centre, push)) - cross(place - centre, force)
        found[joint] = (1.0 if joint == "knee" else -1.0) * moment / person.mass
        push, twist = -force, -moment - cross(place, force)
    lines = {"foot": direction(toe, heel), "shank": direction(ankle, knee), "thigh": direction(knee, hip)}
    if "anterior_superior_iliac_spine_left" in m:
        front = (m["anterior_superior_iliac_spine_left"] + m["anterior_superior_iliac_spine_right"]) / 2
        lines["pelvis"] = direction(m["sacrum"], front)
    rates = {name: turning_rate(line, one.rate) for name, line in lines.items()}
    for joint, sign, far, near in (
        ("ankle", -1, "foot", "shank"),
        ("knee", 1, "shank", "thigh"),
        ("hip", -1, "thigh", "pelvis"),
    ):
        found[f"{joint}_extending"] = sign * (rates[far] - rates[near]) if near in rates else np.full(len(heel), np.nan)
    found["dorsiflexion"] = wrapped(lines["foot"] - lines["shank"] - 90)
    return found


def joints_of(
    one: Recording, person: Person, standing: Mapping[str, Array], footfalls: pd.DataFrame
) -> tuple[pd.DataFrame, dict[tuple[str, str], Array], list[dict[str, Array]]]:
    """One row per footfall and joint, the angles over the trial by side and joint, and the loads of each footfall."""
    m = {name: low_pass(path, one.rate, MARKER_HZ) for name, path in one.markers.items()}
    angles = {}
    for side in ("left", "right"):
        still = sagittal(standing, side)
        angles |= {(side, joint): wrapped(angle - still[joint]) for joint, angle in sagittal(m, side).items()}
    rows, made, over = [], {}, []
    for number, footfall in enumerate(footfalls.itertuples(), start=1):
        first, last = int(np.ceil(footfall.contact_s * one.force_rate)), int(footfall.toe_off_s * one.force_rate)
        loaded = [i for i, p in enumerate(one.plates) if (p[0][first : last + 1, UP] >= SURE_N).any()]
        key = footfall.side, tuple(loaded)
        if key not in made:
            made[key] = moments(one, person, footfall.side, loaded)
        over.append(made[key])
        time, during = per_contact(made[key], one.rate, footfall.contact_s, footfall.toe_off_s)
        for joint in ("ankle", "knee", "hip"):
            _, own = between(angles[footfall.side, joint], one.rate, footfall.contact_s, footfall.toe_off_s)
            moment = during[joint]
            loads = loads_of(time, moment, during[f"{joint}_extending"])
            if joint == "ankle":
                loads |= ankle_of(time, moment, during["dorsiflexion"])
            rows.append(
                loads
                | {
                    "footfall_number": number,
                    "joint": joint,
                    "angle_at_contact_deg": own[0],
                    "angle_peak_deg": own.max(),
                    "angle_range_deg": np.ptp(own),
                    "moment_peak_nm_per_kg": moment.max(),
                }
            )
    return pd.DataFrame(rows), angles, over


def windows(footfall: pd.Series) -> Iterator[tuple[float, float]]:
    """Start and end of pre-contact, loading, push-off and, where the stride is known, swing."""
    start, end = footfall.contact_s, footfall.toe_off_s
    yield start - 0.1, start
    yield start, start + 0.5 * (end - start)
    yield start + 0.5 * (end - start), end
    if start + footfall.stride_time_s - 0.1 > end:
        yield end, start + footfall.stride_time_s - 0.1


def span(start: float, end: float, rate: float, count: int) -> slice | None:
    """Samples from start up to end; None unless all were recorded."""
    first, stop = int(np.ceil(start * rate - 1e-6)), int(np.ceil(end * rate - 1e-6))
    return slice(first, stop) if 0 <= first < stop <= count else None


def runs(mask: np.ndarray) -> np.ndarray:
    """First and one after the last of each run of True."""
    return np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]]))).reshape(-1, 2)


def bursts_in(emg: Array, baseline: np.ndarray, rate: float, energy: bool) -> tuple[Array, list[tuple[int, int]]]:
    """The smoothed curve and the spells above its threshold; pauses and spells below 30 ms do not count."""
    signal = emg
    if energy:
        signal = np.empty(len(emg))
        signal[1:-1] = emg[1:-1] ** 2 - emg[:-2] * emg[2:]
        signal[[0, -1]] = signal[[1, -2]]
    curve = smooth(np.abs(signal), rate, 50.0)
    quiet = curve[baseline]
    closed: list[tuple[int, int]] = []
    for start, stop in runs(curve >= quiet.mean() + (8 if energy else 3) * quiet.std(ddof=1)):
        if closed and start - closed[-1][1] <= round(0.03 * rate):
            closed[-1] = closed[-1][0], stop
        else:
            closed.append((start, stop))
    return curve, [(start, stop - 1) for start, stop in closed if stop - start >= round(0.03 * rate)]


def edges(curve: Array, spell: tuple[int, int], rate: float) -> tuple[float, float]:
    """Start and end of a spell in s; NaN at a quiet edge that is cut off by the record."""
    pause = round(0.03 * rate) + 1
    start, end = spell
    return start / rate if start >= pause else np.nan, end / rate if end + pause < len(curve) else np.nan


def change_point(emg: Array, start: int, stop: int, rate: float) -> float:
    """When the variance between two samples grows most likely, in s; NaN if nothing speaks for it."""
    power, shortest = emg[start:stop] ** 2, round(0.01 * rate)
    n = len(power)
    if n < 2 * shortest:
        return np.nan
    total, best, at = power.sum(), 20.0, np.nan
    sums = np.cumsum(power)
    for k in range(shortest, n - shortest + 1):
        before, after = sums[k - 1] / k, (total - sums[k - 1]) / (n - k)
        gain = n * np.log(total / n) - k * np.log(before) - (n - k) * np.log(after)
        if after > before and gain >= best:
            if gain > best:
                at = (start + k) / rate
            best = gain
    return at


def timing(
    emg: Array, found: Mapping[str, tuple[Array, list[tuple[int, int]]]], span_s: tuple[float, float], rate: float
) -> dict[str, float]:
    """Times in s of the largest burst whose middle lies in a span, by each detector, and where they agree."""
    curve, spells = found["energy_operator"]
    names = ("threshold", "energy_operator", "change_point")
    nothing = dict.fromkeys((*names, "onset", "offset"), np.nan)
    inside = []
    for place, (start, end) in enumerate(spells):
        part = curve[start : end + 1]
        middle = (part * np.arange(start, end + 1)).sum() / part.sum() / rate
        if span_s[0] <= middle < span_s[1]:
            inside.append((part.sum(), place))
    if not inside:
        return nothing
    place = max(inside)[1]
    start, end = spells[place]
    own, offset = edges(curve, spells[place], rate)
    plain, others = found["threshold"]
    shared = [min(b, end) - max(a, start) for a, b in others]
    likest = int(np.argmax(shared)) if shared and max(shared) >= 0 else None
    first = max(start - round(0.25 * rate), 0, spells[place - 1][1] + 1 if place else 0)
    strongest = start + int(np.argmax(curve[start : end + 1])) + round(0.01 * rate)
    onsets = [
        np.nan if likest is None else edges(plain, others[likest], rate)[0],
        own,
        change_point(emg, first, strongest, rate),
    ]
    agree = np.ptp(onsets) <= 0.03 + 1e-9  # NaN does not
    return dict(zip(names, onsets, strict=True)) | {"onset": np.median(onsets) if agree else np.nan, "offset": offset}


def muscles_of(
    one: Recording, footfalls: pd.DataFrame, references: Mapping[Key, float]
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, dict[Key, Array]]:
    """Amplitudes, bursts, co-contraction, and the envelopes by muscle and side."""
    rate = one.force_rate
    amplitudes, bursts, together, envelopes = [], [], [], {}
    for (muscle, side), raw in one.muscles.items():
        emg = band_pass(raw, rate)
        envelopes[muscle, side] = np.sqrt(np.maximum(smooth(emg**2, rate, 8.0), 0))
        length = round(0.1 * rate)
        starts = np.arange(0, len(emg) - length + 1, length // 2)
        power = np.array([np.mean(emg[s : s + length] ** 2) for s in starts])
        baseline = np.zeros(len(emg), bool)
        for s in starts[np.argsort(power, kind="stable")[: int(np.ceil(0.1 * len(starts)))]]:
            baseline[s : s + length] = True
        found = {
            name: bursts_in(emg, baseline, rate, name == "energy_operator") for name in ("threshold", "energy_operator")
        }
        own = footfalls[footfalls.side == side]
        before = -np.inf
        for _, footfall in own.iterrows():
            for start, end in windows(footfall):
                part = span(start, end, rate, len(emg))
                if part is not None:
                    size = np.sqrt(np.mean(emg[part] ** 2))
                    share = size / references.get((muscle, side), np.nan)
                    amplitudes.append(
                        {"muscle": muscle, "side": side, "amplitude_uv": size, "amplitude_fraction": share}
                    )
            if span(footfall.contact_s, footfall.toe_off_s, rate, len(emg)) is not None:
                contact = footfall.contact_s
                spans = {
                    "pre_contact": (max(contact - 0.25, before), contact),
                    "stance": (contact, footfall.toe_off_s),
                }
                for name, own_span in spans.items():
                    times = timing(emg, found, own_span, rate)
                    row = {"muscle": muscle, "side": side, "burst": name}
                    row |= {f"onset_by_{d}_s": contact - times[d] for d in (*found, "change_point")}
                    row |= {
                        "onset_before_contact_s": contact - times["onset"],
                        "offset_after_contact_s": times["offset"] - contact,
                    }
                    bursts.append(row)
            before = footfall.toe_off_s
    for a, b in PAIRS:
        for side in ("left", "right"):
            if (a, side) not in envelopes or (b, side) not in envelopes:
                continue
            x, y = (envelopes[name, side] / references.get((name, side), np.nan) for name in (a, b))
            for _, footfall in footfalls[footfalls.side == side].iterrows():
                for start, end in windows(footfall):
                    part = span(start, end, rate, len(x))
                    if part is not None:
                        low, high = np.minimum(x[part], y[part]), np.maximum(x[part], y[part])
                        shared = 200 * low.sum() / (x[part] + y[part]).sum()
                        together.append({"muscle": a, "side": side, "co_contraction_index": shared})
                        known = high > 0 if np.isfinite(shared) else slice(None)
                        low, high = low[known], high[known]
                        together.append(
                            {"muscle": a, "side": side, "co_contraction_index": np.mean(low / high * (low + high))}
                        )
    return pd.DataFrame(amplitudes), pd.DataFrame(bursts), pd.DataFrame(together), envelopes


def load_series(one: Recording, footfalls: pd.DataFrame, loads: Sequence[Mapping[str, Array]]) -> list[Series]:
    """Power of each joint and the tendon's force over the trial, as in the contact next to every frame."""
    found: list[Series] = []
    for side in ("left", "right"):
        own = np.flatnonzero(footfalls.side == side)
        if not len(own):
            continue
        middles = ((footfalls.contact_s + footfalls.toe_off_s) / 2).to_numpy()[own]
        nearest = np.searchsorted((middles[1:] + middles[:-1]) / 2, np.arange(len(loads[0]["ankle"])) / one.rate)
        over = {name: np.choose(nearest, [loads[i][name] for i in own]) for name in loads[0]}
        for joint in ("ankle", "knee", "hip"):
            found.append((side, f"{joint}_power", one.rate, over[joint] * over[f"{joint}_extending"]))
            if joint == "ankle":
                found.append((side, "achilles_force_bw", one.rate, tendon_force(over["ankle"])))
    return found


def curves_of(
    one: Recording,
    person: Person,
    footfalls: pd.DataFrame,
    angles: Mapping[Key, Array],
    envelopes: Mapping[Key, Array],
    loads: Sequence[Mapping[str, Array]],
) -> pd.DataFrame:
    """Mean and standard deviation at 101 points over contact, of envelopes over the stride."""
    vertical = under_the_feet(one.plates, one.force_rate)[1][:, UP] / (person.mass * G)
    signals = [(side, "vertical_force_bw", one.force_rate, vertical) for side in ("left", "right")]
    signals += [(side, f"{joint}_sagittal", one.rate, angle) for (side, joint), angle in angles.items()]
    signals += load_series(one, footfalls, loads)
    signals += [(side, f"{muscle}_envelope", one.force_rate, curve) for (muscle, side), curve in envelopes.items()]
    rows = []
    for side, name, rate, values in signals:
        own = footfalls[footfalls.side == side]
        ends = own.contact_s + own.stride_time_s if name.endswith("envelope") else own.toe_off_s
        time = np.arange(len(values)) / rate
        whole = [(a, b) for a, b in zip(own.contact_s, ends, strict=True) if b <= time[-1]]
        if not whole or np.isnan(values).all():
            continue
        curves = np.array([np.interp(np.linspace(a, b, 101), time, values) for a, b in whole])
        spread = curves.std(axis=0, ddof=1) if len(curves) > 1 else np.full(101, np.nan)
        rows.append(
            pd.DataFrame({"side": side, "quantity": name, "mean_value": curves.mean(axis=0), "sd_value": spread})
        )
    return pd.concat(rows, ignore_index=True)
