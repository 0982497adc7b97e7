"""Moments and powers of each leg over a trial, from its markers and the plates under it.

The mechanics are in ``moments`` and ``power``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipelines.science.events.ground import Ground
from pipelines.science.joints import moments as joint_moments
from pipelines.science.joints.landmarks import Landmarks, seen
from pipelines.science.joints.power import dorsiflexion, extension_rates
from pipelines.science.joints.segments import Segment
from pipelines.science.signals.sampling import stretch
from pipelines.science.signals.smooth import SmoothMarkers
from schemas.processing import Processing
from schemas.trial import FloatArray, Trial


@dataclass(frozen=True)
class LegMoments:
    """One leg with the plates that carry it, at every marker frame.

    points: as ``joint_moments`` takes them, (frames, 3) m. force, twist: (frames, 3), N and N.m about the study's
    origin. moments: (frames, joints) N.m/kg, extensors positive. extending: (frames, joints) rad/s, NaN of a joint one
    of whose segments is not known. dorsiflexion_deg: (frames,) up to a constant, NaN without a knee. All below the
    cut-off of inverse dynamics.
    """

    joints: tuple[str, ...]
    points: Mapping[str, FloatArray]
    force: FloatArray
    twist: FloatArray
    moments: FloatArray
    extending: FloatArray
    dorsiflexion_deg: FloatArray

    @cached_property
    def beside(self) -> FloatArray:
        """(frames, 2 joints + 1) moments, rates of extension and dorsiflexion side by side."""
        return np.hstack([self.moments, self.extending, self.dorsiflexion_deg[:, None]])


@dataclass(frozen=True)
class During:
    """What ``LegMoments`` has in one contact, both ends interpolated. times_s: (m,). The others (joints, m) or (m,)."""

    joints: tuple[str, ...]
    times_s: FloatArray
    moments: FloatArray
    extending: FloatArray
    dorsiflexion_deg: FloatArray


class Moments:
    """Joint moments of one trial, worked out once for each leg and set of plates."""

    def __init__(
        self,
        trial: Trial,
        processing: Processing,
        segments: Mapping[str, Segment],
        smooth: SmoothMarkers,
        ground: Ground,
    ) -> None:
        self.trial, self.processing, self.segments = trial, processing, segments
        self.smooth, self.ground = smooth, ground
        self._made: dict[tuple[str, tuple[int, ...]], LegMoments | None] = {}
        self._wrenches: dict[tuple[int, ...], tuple[FloatArray, FloatArray]] = {}
        self._usable = moments_can_be_had(trial, processing)

    def of(self, side: str, start_s: float, end_s: float) -> LegMoments | None:
        """The leg with the plates loaded in a contact; None where moments cannot be had.

        The other plates are left out: a small offset on one that lies metres away would turn the leg like a load.
        """
        loaded = self.loaded(start_s, end_s)
        if not loaded:
            return None
        if (side, loaded) not in self._made:
            self._made[side, loaded] = self._make(side, loaded)
        return self._made[side, loaded]

    def over(self, side: str, spans: Sequence[tuple[float, float]]) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Joint -> moment and power over the trial, (frames,) each, as in the contact next to every frame.

        spans: contact and toe-off of the side's contacts in order of time. Other plates carry another contact, so that
        values between two contacts mean nothing. None where moments cannot be had.
        """
        legs = [(leg, (start + end) / 2) for start, end in spans if (leg := self.of(side, start, end)) is not None]
        if not legs:
            return {}
        joints, middles = legs[0][0].joints, np.array([middle for _, middle in legs])
        times = np.arange(len(legs[0][0].moments)) / self.trial.marker_rate_hz
        nearest = np.searchsorted((middles[1:] + middles[:-1]) / 2, times)
        found = np.full((2, len(times), len(joints)), np.nan)
        for i, (leg, _) in enumerate(legs):
            here = nearest == i
            found[:, here] = leg.moments[here], leg.moments[here] * leg.extending[here]
        return {joint: (found[0, :, j], found[1, :, j]) for j, joint in enumerate(joints)}

    def loaded(self, start_s: float, end_s: float) -> tuple[int, ...]:
        """Places of the plates that carry a contact; none where moments cannot be had."""
        return self.ground.loaded((start_s + end_s) / 2) if self._usable else ()

    def during(self, side: str, start_s: float, end_s: float) -> During | None:
        """One contact with the plates loaded in it; None where moments cannot be had."""
        leg = self.of(side, start_s, end_s)
        if leg is None:
            return None
        times, beside = stretch(leg.beside, self.trial.marker_rate_hz, start_s, end_s)
        count = len(leg.joints)
        columns = beside.T
        return During(leg.joints, times, columns[:count], columns[count : 2 * count], columns[-1])

    def _make(self, side: str, loaded: tuple[int, ...]) -> LegMoments | None:
        paths = self.smooth.below(self.processing.joints.moment_cutoff_hz)
        marks = Landmarks(paths, side, self.processing, seen(self.trial.markers))
        wanted = {name: getattr(marks, name) for name in ("heel", "toe", "ankle", "knee", "hip")}
        points = {name: path for name, path in wanted.items() if path is not None}
        if not {"heel", "toe", "ankle"} <= points.keys():
            return None
        if loaded not in self._wrenches:
            self._wrenches[loaded] = self._wrench(loaded)
        force, twist = self._wrenches[loaded]
        joints, moments = self.per_kg(points, force, twist)
        front, back = marks.pelvis_front, marks.pelvis_back
        turning = dict(points)
        if front is not None and back is not None:
            turning |= {"front": (front[0] + front[1]) / 2, "back": back}
        rates, unknown = extension_rates(turning, self.trial.marker_rate_hz), np.full(len(moments), np.nan)
        extending = np.stack([rates.get(joint, unknown) for joint in joints], axis=1)
        bent = dorsiflexion(points)
        return LegMoments(joints, points, force, twist, moments, extending, unknown if bent is None else bent)

    def per_kg(
        self, points: Mapping[str, FloatArray], force: FloatArray, twist: FloatArray
    ) -> tuple[tuple[str, ...], FloatArray]:
        """The joints, and their moments (n, joints) in N.m/kg, extensors positive; arguments as of ``LegMoments``."""
        mass = float(self.trial.mass_kg or np.nan)
        made = joint_moments.joint_moments(points, force, twist, self.trial.marker_rate_hz, mass, self.segments)
        columns = [joint_moments.extensor(joint, values) / mass for joint, values in made.items()]
        return tuple(made), np.stack(columns, axis=1)

    def _wrench(self, loaded: tuple[int, ...]) -> tuple[FloatArray, FloatArray]:
        """Force in N and moment about the study's origin in N.m of these plates at the marker frames, (frames, 3)."""
        settings, rate = self.processing, float(self.trial.analog_rate_hz or 0.0)
        signal = self.ground.below(settings.joints.moment_cutoff_hz, loaded)
        frames = max((len(path) for path in self.trial.markers.values()), default=0)
        times = np.arange(frames) / self.trial.marker_rate_hz
        sampled = np.arange(len(signal)) / rate
        at_frames = np.stack([np.interp(times, sampled, column, np.nan, np.nan) for column in signal.T], axis=1)
        return at_frames[:, :3], at_frames[:, 3:]


def moments_can_be_had(trial: Trial, processing: Processing) -> bool:
    """Whether mass is known and markers, force and the cut-off of inverse dynamics fit each other.

    Force must be sampled at least as often as markers, both recordings must end together (within one frame and one
    sample), and the cut-off must lie below half the marker rate, since a second derivative of unfiltered markers is
    mostly noise.
    """
    rate, force_rate, mass = trial.marker_rate_hz, trial.analog_rate_hz, trial.mass_kg
    if not trial.plates or not force_rate or mass is None or not mass > 0:
        return False
    if not rate > 0 or force_rate < rate or not processing.joints.moment_cutoff_hz < rate / 2:
        return False
    frames = max((len(path) for path in trial.markers.values()), default=0)
    apart = abs(frames / rate - len(trial.plates[0].force) / force_rate)
    return apart <= 1 / rate + 1 / force_rate
