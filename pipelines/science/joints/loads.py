"""Moments of each leg over a trial, from its markers and the plates under it. The mechanics are in ``moments``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipelines.science.events.ground import Ground
from pipelines.science.joints import moments as joint_moments
from pipelines.science.joints.landmarks import Landmarks, seen
from pipelines.science.joints.segments import Segment
from pipelines.science.signals.sampling import stretch
from pipelines.science.signals.smooth import SmoothMarkers
from schemas.processing import Processing
from schemas.trial import FloatArray, Trial


@dataclass(frozen=True)
class LegMoments:
    """One leg with the plates that carry it, at every marker frame.

    points: as ``joint_moments`` takes them, (frames, 3) m. force, twist: (frames, 3), N and N.m about the study's
    origin. moments: (frames, joints) N.m/kg, extensors positive.
    """

    joints: tuple[str, ...]
    points: Mapping[str, FloatArray]
    force: FloatArray
    twist: FloatArray
    moments: FloatArray


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

    def loaded(self, start_s: float, end_s: float) -> tuple[int, ...]:
        """Places of the plates that carry a contact; none where moments cannot be had."""
        return self.ground.loaded((start_s + end_s) / 2) if self._usable else ()

    def peaks(self, side: str, start_s: float, end_s: float) -> dict[str, float]:
        """Joint -> largest moment of a contact in N.m/kg, extensors positive, with the plates loaded in it."""
        leg = self.of(side, start_s, end_s)
        if leg is None:
            return {}
        highest = stretch(leg.moments, self.trial.marker_rate_hz, start_s, end_s)[1].max(axis=0)
        return dict(zip(leg.joints, highest.tolist(), strict=True))

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
        return LegMoments(joints, points, force, twist, moments)

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
