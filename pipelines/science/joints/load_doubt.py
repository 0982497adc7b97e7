"""What it is worth in powers, work, stiffness and the tendon's load of joints if plates or markers are off.

The moment of a whole contact is moved by what each input turns the joint by, and the outcomes are read again; what
inputs may be off by is in ``pipelines.science.equipment.doubt``, the moment's own peak in ``doubt``. The model of the
tendon is taken as it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.science.equipment.doubt import Doubt
from pipelines.science.joints.loading import of_ankle, of_joints
from pipelines.science.joints.loads import During, LegMoments, Moments
from pipelines.science.joints.moments import CHAIN, about, extensor
from pipelines.science.signals.filters import white_noise_left
from schemas.trial import FORWARD, UP, FloatArray

#: Fore-aft noise of a plate as a part of its vertical noise, as in ``equipment.uncertainty``.
_FORE_AFT_NOISE = 0.5
_AT_RANDOM = 12**-0.5
#: Ends of segments whose markers are those of the foot.
_OF_FOOT = ("heel", "toe", "ankle")
_FAR = 2.0

Indices = NDArray[np.int_]
#: Part of the uncertainty -> joint -> column -> square of how far the outcome moves.
Squares = dict[str, dict[str, dict[str, float]]]


def sits_m(doubt: Doubt, point: str) -> float:
    """How far an end of a segment lies from where its marker says, m: marked elsewhere, or under skin that moved."""
    return float(np.hypot(doubt.marker_sits_m, doubt.foot_skin_m if point in _OF_FOOT else doubt.skin_m))


def load_squares(
    moments: Moments, leg: LegMoments, loaded: tuple[int, ...], start_s: float, end_s: float, doubt: Doubt
) -> Squares:
    """How far the outcomes of one contact move by each part; none where the contact has no sample of its own."""
    rate = moments.trial.marker_rate_hz
    frames = np.arange(max(1, int(np.ceil(start_s * rate))), min(len(leg.moments) - 1, int(end_s * rate) + 1))
    if len(frames) < 2:
        return {}
    plain = During(
        leg.joints, frames / rate, leg.moments[frames].T, leg.extending[frames].T, leg.dorsiflexion_deg[frames]
    )
    contact = _Contact(moments, leg, loaded, frames, doubt)
    return _moved(plain, list(contact.parts()), moments.processing.joints.achilles_moment_arm_m)


def _moved(plain: During, parts: list[Part], arm_m: float) -> Squares:
    """The outcomes are read of all changes in one go, the first one being none, then one way and the other.

    The larger of the two counts: what is highest or lowest may be elsewhere one way. Each goes as far as inputs
    may be expected to be off (k = 2), and half of it is told, since what lies above and below nought is not linear.
    """
    still = np.zeros((1, *plain.moments.shape))
    turned, faster = (np.concatenate(one) for one in ([p.turned for p in parts], [p.faster for p in parts]))
    moments = plain.moments + np.concatenate([still, _FAR * turned, -_FAR * turned])
    extending = plain.extending + np.concatenate([still, _FAR * faster, -_FAR * faster])
    columns = of_joints(plain, moments, extending)
    alone = of_ankle(plain, moments[:, plain.joints.index("ankle")], arm_m)
    edges, count = np.cumsum([0, *(len(part.turned) for part in parts)])[:-1], len(turned)
    squares = {}
    for column, values in (columns | alone).items():
        moved = ((values[1:] - values[0]) / _FAR) ** 2
        squares[column] = np.add.reduceat(np.maximum(moved[:count], moved[count:]), edges, axis=0).tolist()
    return {
        part.name: {
            joint: {
                column: values[i][j] if column in columns else values[i]
                for column, values in squares.items()
                if column in columns or joint == "ankle"
            }
            for j, joint in enumerate(plain.joints)
        }
        for i, part in enumerate(parts)
    }


@dataclass(frozen=True)
class Part:
    """Changes of one part of the doubt, (k, joints, m) each: moments in N.m/kg, rates of extension in rad/s."""

    name: str
    turned: FloatArray
    faster: FloatArray


class _Contact:
    """One leg on its plates in one contact: what each part of the doubt turns its joints by."""

    def __init__(
        self, moments: Moments, leg: LegMoments, loaded: tuple[int, ...], frames: Indices, doubt: Doubt
    ) -> None:
        self.moments, self.leg, self.doubt, self.frames = moments, leg, doubt, frames
        self.mass = float(moments.trial.mass_kg or np.nan)
        self.plates = [moments.ground.plates[place] for place in loaded]
        self.force, self.twist = leg.force[frames], leg.twist[frames]
        self.places = np.stack([leg.points[joint][frames] for joint in leg.joints])  # (joints, m, 3)
        settings, rate = moments.processing, moments.trial.marker_rate_hz
        cutoff = settings.joints.moment_cutoff_hz
        self.left = white_noise_left(settings.filter_order, cutoff, moments.trial.analog_rate_hz or 0.0)[0]
        still, jolted = white_noise_left(settings.filter_order, cutoff, rate)
        self.shakes_m, self.jolts_m_per_s2 = doubt.marker_shakes_m * still, doubt.marker_shakes_m * jolted
        #: of the first difference: at most the middle of both by the inequality of Cauchy and Schwarz
        self.shakes_m_per_s = doubt.marker_shakes_m * (still * jolted) ** 0.5
        #: what is left of noise is alike for half a period of the cut-off, and new in the next
        each = max(1, round(rate / (2 * cutoff)))
        self.pulses = np.equal.outer(np.arange(-(-len(frames) // each)), np.arange(len(frames)) // each).astype(float)

    def parts(self) -> Iterator[Part]:
        """Level, noise, scale, lag and markers."""
        doubt, (ahead_n, up_n) = self.doubt, self.force[:, [FORWARD, UP]].T
        levels, noises = [], []
        for plate in self.plates:
            middle = plate.corners.mean(axis=0)
            ahead, above = (middle[axis] - self.places[..., axis] for axis in (FORWARD, UP))
            still = doubt.level_n.get(plate.number, 0.0)
            drift = _AT_RANDOM * doubt.drift_n.get(plate.number, 0.0)
            levels += [ahead * np.hypot(still, drift), above * still]
            loud = doubt.noise_n.get(plate.number, 0.0) * self.left
            noises.append(np.hypot(ahead * loud, above * loud * _FORE_AFT_NOISE))
        yield self._as("level", np.stack(levels))
        yield self._as("noise", np.concatenate([self.pulses[:, None] * one for one in noises]))
        turns = self._turns(self.force, self.twist)
        height = self.plates[0].corners[:, UP].mean()
        high = self.places[..., UP] - height
        sheared = [high * doubt.horizontal_gain * ahead_n, high * doubt.crosstalk * up_n]
        yield self._as("scale", np.stack([doubt.scale * turns, *sheared]))
        count = np.arange(len(self.leg.force))
        late = np.asarray(self.frames - doubt.lag_s * self.moments.trial.marker_rate_hz, float)
        later = [
            np.stack([np.interp(late, count, column) for column in whole.T], axis=1)
            for whole in (self.leg.force, self.leg.twist)
        ]
        yield self._as("lag", (self._turns(*later) - turns)[None])
        yield self._by_markers(ahead_n, up_n)

    def _by_markers(self, ahead_n: FloatArray, up_n: FloatArray) -> Part:
        """A joint that lies elsewhere has another lever; markers that shake are seen to turn."""
        doubt = self.doubt
        places = np.array([[sits_m(doubt, joint)] for joint in self.leg.joints])
        sitting = np.stack([np.hypot(doubt.plates_sit_m, places) * up_n, places * ahead_n])
        jolted = np.array([[self._jolted(joint)] for joint in self.leg.joints])
        shaking = np.hypot(self.shakes_m * np.hypot(ahead_n, up_n), jolted)
        turned = np.concatenate([sitting, self.pulses[:, None] * shaking]) / self.mass
        seen = np.stack([np.full(len(self.frames), self._turning(joint)) for joint in self.leg.joints])
        faster = self.pulses[:, None] * seen
        still = np.zeros((len(faster), *turned.shape[1:]))
        return Part("markers", np.concatenate([turned, still]), np.concatenate([np.zeros_like(turned), faster]))

    def _jolted(self, joint: str) -> float:
        """N.m that a joint seems to need for segments below it whose shaking markers seem to be accelerated."""
        points, moment = {name: path[self.frames] for name, path in self.leg.points.items()}, 0.0
        for name, first, second, _ in CHAIN[: [one[-1] for one in CHAIN].index(joint) + 1]:
            segment = self.moments.segments[name]
            lever = np.linalg.norm(segment.centre_of_mass(points[first], points[second]) - points[joint], axis=1)
            moment = float(np.hypot(moment, segment.mass_fraction * self.mass * self.jolts_m_per_s2 * lever.mean()))
        return moment

    def _turning(self, joint: str) -> float:
        """How fast in rad/s a joint seems to turn when the ends of its two segments shake."""
        lengths = {"ankle": ("heel", "toe", "ankle", "knee"), "knee": ("ankle", "knee", "knee", "hip")}
        ends = lengths.get(joint, ("knee", "hip", "knee", "hip"))  # of the pelvis, as long as the thigh at least
        if not set(ends) <= self.leg.points.keys():
            return 0.0
        points = self.leg.points
        apart = [
            np.linalg.norm(points[a][self.frames] - points[b][self.frames], axis=1) for a, b in (ends[:2], ends[2:])
        ]
        return float(self.shakes_m_per_s * np.hypot(*(2**0.5 / np.nanmean(one) for one in apart)))

    def _turns(self, force: FloatArray, twist: FloatArray) -> FloatArray:
        """(joints, m) N.m by which joints work against the ground."""
        places = zip(self.leg.joints, self.places, strict=True)
        return np.stack([extensor(joint, -about(place, force, twist)) for joint, place in places])

    def _as(self, part: str, turned: FloatArray) -> Part:
        return Part(part, turned / self.mass, np.zeros_like(turned))
