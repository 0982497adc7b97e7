"""Which lab axis points up and which forward, and whether the runner stays or travels, from markers and plates.

Up: the axis along which an upright body is longest and plates have their normal; its sign by what plates push with,
by the end at which markers move most (feet swing, a pelvis does not), and by the floor lying near zero. Forward: the
way the body travels, or on a treadmill against the way feet travel while they are on the ground. Right follows from
the two, because labs have right-handed axes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pipelines.lab.profile.files import Recorded
from schemas.trial import FloatArray

#: m/s: whoever runs is faster, and whoever runs on a belt drifts less (common practice)
_RUNS, _STAYS = 1.2, 0.5
_TOLD_DEG, _OBLIQUE_DEG = 10.0, 20.0  # own choice: off an axis by so much is told, and is along none
_AXES = "xyz"


@dataclass(frozen=True)
class Seen:
    """One thing seen. value: None if it could not be told. sureness: sure, likely or not sure. why: the evidence."""

    value: str | None
    sureness: str
    why: str


@dataclass(frozen=True)
class Axes:
    """What was seen of the laboratory's space. up, forward: (3,) unit vectors of the lab, None if not known."""

    up: FloatArray | None
    forward: FloatArray | None
    said: dict[str, Seen] = field(default_factory=dict)  # forward, up, right, surface, runs_both_ways

    @property
    def right(self) -> FloatArray | None:
        """(3,) to the runner's right."""
        return None if self.up is None or self.forward is None else np.cross(self.forward, self.up)


def axis_word(vector: FloatArray) -> str:
    """The lab axis nearest to a vector, for example "-y"."""
    place = int(np.argmax(np.abs(vector)))
    return ("-" if vector[place] < 0 else "+") + _AXES[place]


def axes_of(recordings: Sequence[Recorded]) -> Axes:
    """Look at all recordings."""
    said: dict[str, Seen] = {}
    up, said["up"] = _up(recordings)
    if up is None:
        unknown = Seen(None, "not sure", "which axis is up is not known")
        return Axes(None, None, said | dict.fromkeys(("forward", "right", "surface", "runs_both_ways"), unknown))
    forward = _forward([r for r in recordings if not r.standing], up, said)
    found = Axes(up, forward, said)
    right = found.right
    if right is None:
        said["right"] = Seen(None, "not sure", "which way is forward is not known")
    else:
        weaker = max((said["up"].sureness, said["forward"].sureness), key=("sure", "likely", "not sure").index)
        said["right"] = Seen(axis_word(right), weaker, "follows from forward and up in right-handed axes")
    return found


def _up(recordings: Sequence[Recorded]) -> tuple[FloatArray | None, Seen]:
    votes: Counter[str] = Counter()
    for recording in recordings:
        spread = np.nanstd(np.nanmean(_about_centre(recording), axis=0), axis=0)
        votes[_AXES[int(np.argmax(spread))]] += 1
    letter, count = votes.most_common(1)[0]
    plates = {axis_word(p.normal)[1] for r in recordings for p in r.plates}
    axis = np.eye(3)[_AXES.index(letter)]
    reasons = [f"the body is longest along {letter} in {count} of {len(recordings)} files"]
    if plates and plates != {letter}:
        why = f"{reasons[0]}, but force plates have their normal along {', '.join(sorted(plates))}"
        return None, Seen(None, "not sure", why)
    if plates:
        reasons.append(f"force plates have their normal along {letter}")
    signs = _signs(recordings, axis)
    total = sum(sign for sign, _ in signs)
    if total == 0:
        return None, Seen(None, "not sure", "; ".join([*reasons, "which end is up could not be determined"]))
    up = axis * np.sign(total)
    word = axis_word(up)
    agree = [why for sign, why in signs if np.sign(sign) == np.sign(total)]
    against = [f"against it: {why}" for sign, why in signs if np.sign(sign) != np.sign(total)]
    sure = not against and len(agree) > 1 and 3 * count >= 2 * len(recordings)
    return up, Seen(word, "sure" if sure else "likely", "; ".join([*reasons, *agree, *against]))


def _about_centre(recording: Recorded) -> FloatArray:
    """Points less the middle of all markers in the same frame."""
    points = recording.points
    return np.asarray(points - np.nanmean(points, axis=1, keepdims=True))


def _signs(recordings: Sequence[Recorded], axis: FloatArray) -> list[tuple[float, str]]:
    """Evidence of which end of the vertical axis is up: (+1 or -1, words)."""
    found: list[tuple[float, str]] = []
    forces = [p.mean_force @ axis for r in recordings for p in r.plates if p.mean_force is not None]
    if forces:
        share = np.mean(np.sign(forces))
        if abs(share) > 0.5:
            found.append((2 * float(np.sign(share)), "plates push the runner that way"))
    moving = [r for r in recordings if not r.standing]
    ends = [_still_end(r, axis) for r in moving]
    if ends and abs(np.mean(ends)) > 0.5:
        found.append((float(np.sign(np.mean(ends))), "markers at the other end swing most, as feet do"))
    falls = [f for f in (_falls(r, axis) for r in moving) if f]
    if falls and abs(np.mean(falls)) > 0.5:
        why = "between steps the pelvis falls the other way, about as fast as gravity makes it"
        found.append((float(np.sign(np.mean(falls))), why))
    lows = [np.nanpercentile(r.points @ axis, 1) for r in recordings]
    highs = [np.nanpercentile(r.points @ axis, 99) for r in recordings]
    low, high = float(np.median(lows)), float(np.median(highs))
    if min(abs(low), abs(high)) < 0.2 < max(abs(low), abs(high)):
        found.append((1.0 if abs(low) < abs(high) else -1.0, "the floor lies near zero"))
    return found


def _swing(recording: Recorded, axis: FloatArray) -> FloatArray:
    """(n,) m: how far each marker moves along the ground, about the middle of all."""
    points = _about_centre(recording)
    level = points - (points @ axis)[..., None] * axis
    return np.asarray(np.linalg.norm(np.nanstd(level, axis=0), axis=1))


def _still_end(recording: Recorded, axis: FloatArray) -> float:
    """+1 if the markers at the high end of the axis move less along the ground than those at the low end."""
    height = np.nanmean(recording.points @ axis, axis=0)
    swing = _swing(recording, axis)
    third = max(1, len(height) // 3)
    order = np.argsort(height)
    return float(np.sign(np.nanmean(swing[order[:third]]) - np.nanmean(swing[order[-third:]])))


def _falls(recording: Recorded, axis: FloatArray) -> float:
    """+1 or -1: the way against gravity, told by the markers that swing least, which are those of the pelvis.

    In flight a body falls at 9.8 m/s2; on the ground it is pushed back harder for a shorter time, so that its
    acceleration is lopsided towards up, and its slow side is near that of gravity. 0 if that is not seen.
    """
    still = np.argsort(_swing(recording, axis))[: max(2, recording.points.shape[1] // 4)]
    middle = np.nanmean(recording.smooth[:, still] @ axis, axis=1)
    step = max(1, round(0.02 * recording.rate_hz))
    bent = middle[2 * step :] - 2 * middle[step:-step] + middle[: -2 * step]
    acceleration = bent / (step / recording.rate_hz) ** 2
    acceleration = acceleration[np.isfinite(acceleration)]
    if len(acceleration) < 0.5 * recording.rate_hz or not acceleration.std():
        return 0.0
    lopsided = float(np.mean(((acceleration - acceleration.mean()) / acceleration.std()) ** 3))
    slow = -np.percentile(acceleration * np.sign(lopsided), 10)
    return float(np.sign(lopsided)) if abs(lopsided) > 0.2 and 7 < slow < 14 else 0.0


def _forward(moving: Sequence[Recorded], up: FloatArray, said: dict[str, Seen]) -> FloatArray | None:
    """The way people run, with what is to be said of it, of the surface and of both ways."""
    travels = [v for v in (_travel(r, up) for r in moving) if np.linalg.norm(v) > _RUNS]
    belts = [v for r in moving if np.linalg.norm(_travel(r, up)) < _STAYS and (v := _belt(r, up)) is not None]
    if not travels and not belts:
        unknown = Seen(None, "not sure", "no file shows somebody running")
        said.update(dict.fromkeys(("forward", "surface", "runs_both_ways"), unknown))
        return None
    on_belt = len(belts) > len(travels)
    mixed = bool(belts) and bool(travels)
    ways = [-v for v in belts] if on_belt else travels
    speed = float(np.median([np.linalg.norm(v) for v in ways]))
    lines = Counter(axis_word(v)[1] for v in ways)
    letter, count = lines.most_common(1)[0]
    own = [v for v in ways if axis_word(v)[1] == letter]
    signs = Counter(axis_word(v) for v in own)
    word = signs.most_common(1)[0][0]
    forward: FloatArray = np.eye(3)[_AXES.index(letter)] * (-1.0 if word[0] == "-" else 1.0)
    slant = float(np.median([np.degrees(np.arccos(np.clip(abs(v @ forward) / np.linalg.norm(v), -1, 1))) for v in own]))
    both = len(signs) > 1
    how = "feet on the ground go the other way" if on_belt else "the body travels"
    why = f"{how} along {word} at {speed:.1f} m/s in {signs[word]} of {len(ways)} running files"
    if both:
        why += "; runners came from both ends, and the commoner way was taken"
    if slant > _TOLD_DEG:
        why += f"; the running direction lies {slant:.0f} degrees off the axis"
    sure = count == len(ways) > 1 and not mixed
    if slant > _OBLIQUE_DEG:
        why += ", so no axis is forward: export with an axis along the running direction, and draft again"
    said["forward"] = Seen(word, "not sure" if slant > _OBLIQUE_DEG else "sure" if sure else "likely", why)
    surface = "treadmill" if on_belt else "runway"
    seen = "feet come back while the body stays" if on_belt else "the body travels through the room"
    why = f"{seen} in {len(ways)} of {len(moving)} files that move"
    said["surface"] = Seen(surface, "likely" if mixed else "sure", why)
    if on_belt:
        said["runs_both_ways"] = Seen("false", "sure", "a belt goes one way")
    elif both:
        why = f"{signs[word]} of {len(own)} files run along {word}, the others against it"
        said["runs_both_ways"] = Seen("true", "sure", why)
    else:
        sureness = "likely" if len(own) > 3 else "not sure"
        said["runs_both_ways"] = Seen("false", sureness, f"all of {len(own)} running files go the same way")
    return forward


def _travel(recording: Recorded, up: FloatArray) -> FloatArray:
    """(3,) m/s along the ground: median velocity of the middle of all markers that are seen throughout."""
    points = recording.points
    whole = np.isfinite(points).all(axis=(0, 2))
    middle = np.nanmean(points[:, whole] if whole.any() else points, axis=1)
    middle = middle[np.isfinite(middle).all(axis=1)]
    if len(middle) < 2:
        return np.zeros(3)
    velocity = (middle[-1] - middle[0]) * recording.rate_hz / (len(middle) - 1)
    return np.asarray(velocity - (velocity @ up) * up)


def _belt(recording: Recorded, up: FloatArray) -> FloatArray | None:
    """(3,) m/s: how foot markers move while they are low; None if nothing runs on a belt there."""
    points = recording.smooth
    height = points @ up
    order = np.argsort(np.nanmean(height, axis=0))
    feet = order[: max(2, len(order) // 3)]
    velocities = []
    for marker in feet:
        own = height[:-1, marker]
        low = own <= np.nanpercentile(own, 20) if np.isfinite(own).any() else np.zeros(len(own), bool)
        step = np.diff(points[:, marker], axis=0)[low] * recording.rate_hz
        if len(step):
            velocities.append(np.nanmedian(step, axis=0))
    if not velocities:
        return None
    velocity = np.median(velocities, axis=0)
    velocity = velocity - (velocity @ up) * up
    return velocity if np.linalg.norm(velocity) > _RUNS else None
