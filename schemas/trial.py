"""A trial in memory: what intake hands to checks and outcomes. Plain arrays in study axes and SI units.

Axes are ISB (Wu & Cavanagh 1995): column 0 is X, forward; column 1 is Y, up; column 2 is Z, to the runner's right.
Missing marker samples are NaN. Force is what the ground does to the runner, so standing reads +weight along Y.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from schemas.self_description import SelfDescription

FloatArray = NDArray[np.float64]

FORWARD, UP, RIGHT = 0, 1, 2


@dataclass(frozen=True)
class Plate:
    """One force plate.

    corners: (4, 3) m. force: (n, 3) N. moment: (n, 3) N.m about the study's origin. raw: (n, c) the plate's channels
    as scaled in the file, in plate axes and file units, for checks that look at the amplifier. labels: their names.
    """

    number: int  # from 1, as on the lab's drawing
    c3d_type: int
    corners: FloatArray
    force: FloatArray
    moment: FloatArray
    raw: FloatArray
    labels: tuple[str, ...]
    raw_full_scale: FloatArray | None = None  # (c, 2) smallest and largest value the channel can store; None if unknown


@dataclass(frozen=True)
class Channel:
    """One analog channel that belongs to no plate. samples: (n,), in file units."""

    label: str
    unit: str
    rate_hz: float
    samples: FloatArray


@dataclass(frozen=True)
class Signal:
    """One channel that the delivery's table of channels explains, on the trial's clock.

    samples: (n,) in ``unit``; sample i stands at ``start_s + i / rate_hz``. A channel of a second file keeps its own
    samples: only ``start_s`` and ``rate_hz`` are corrected for that file's clock. source: the file it came from.
    amplifier_gain: as the table states it, or unknown; where it is a plain number the samples are divided by it already.
    """

    role: str  # muscle, foot_sensor, clock or other
    muscle: str | None  # SENIAM name; None for other roles
    side: str | None  # left, right, or None
    unit: str  # UCUM code
    rate_hz: float
    samples: FloatArray
    start_s: float = 0.0
    label: str = ""  # as in the file
    source: str = "trial_file"  # trial_file or sidecar
    amplifier_gain: str | None = None

    @property
    def times_s(self) -> FloatArray:
        """(n,) s: when each sample was taken, on the trial's clock."""
        return self.start_s + np.arange(len(self.samples)) / self.rate_hz


@dataclass(frozen=True)
class FileFacts:
    """What the file itself says, before any profile: for checks on units, rates and structure."""

    processor: str
    storage: str
    point_count: int
    frame_count: int
    point_rate_hz: float
    point_unit: str
    analog_count: int
    analog_rate_hz: float | None
    labels: tuple[str, ...]
    oddities: tuple[str, ...] = ()  # sentences about the file's structure
    description: SelfDescription | None = None  # every statement it makes more than once


@dataclass(frozen=True)
class Mark:
    """An event that the site marked in the file. event: contact or toe_off; time_s: from the first frame."""

    side: str
    event: str
    time_s: float


@dataclass(frozen=True)
class Trial:
    """One recording, mapped to roles and study axes, with what the tables say about it.

    markers: role with side -> (frames, 3) m, short gaps filled. filled: role -> (frames,) bool, True where filled.
    missing_labels: roles whose label the profile names but the file lacks.
    """

    trial_id: str
    site: str
    kind: str
    condition: str
    surface: str
    facts: FileFacts
    markers: dict[str, FloatArray]
    filled: dict[str, NDArray[np.bool_]]
    marker_rate_hz: float
    plates: tuple[Plate, ...]
    analog_rate_hz: float | None
    channels: tuple[Channel, ...] = ()
    signals: tuple[Signal, ...] = ()  # channels with their meaning, of the trial's file and of its sidecar
    missing_labels: dict[str, str] = field(default_factory=dict)  # role -> label
    marks: tuple[Mark, ...] = ()  # events that the laboratory marked, in order of time
    carriers: dict[str, FloatArray] = field(default_factory=dict)  # markers of clusters -> (frames, 3) m, gaps filled
    carried: dict[str, str] = field(default_factory=dict)  # role that was not worn -> cluster that carried it
    misfits_m: dict[str, FloatArray] = field(default_factory=dict)  # cluster -> (frames,) m off a rigid body
    participant_id: str | None = None
    session_id: str | None = None
    visit: str | None = None
    mass_kg: float | None = None
    sex: str | None = None
    stature_m: float | None = None
    leg_length_m: float | None = None
    set_speed_m_per_s: float | None = None
    belt_speed_m_per_s: float | None = None  # measured; None where only the set speed is known
    raw_sha256: str = ""
    file: str = ""
    turned: bool = False  # turned about the vertical because the runner came the other way

    @property
    def duration_s(self) -> float:
        """Length of the marker recording, or of the analog one where there are no markers."""
        if self.facts.frame_count and self.marker_rate_hz:
            return self.facts.frame_count / self.marker_rate_hz
        samples = len(self.plates[0].force) if self.plates else max((len(c.samples) for c in self.channels), default=0)
        return samples / self.analog_rate_hz if self.analog_rate_hz else 0.0

    @cached_property
    def force(self) -> FloatArray:
        """(n, 3) N: sum over all plates; (0, 3) without plates."""
        return np.sum([p.force for p in self.plates], axis=0) if self.plates else np.empty((0, 3))

    @cached_property
    def moment(self) -> FloatArray:
        """(n, 3) N.m about the study's origin: sum over all plates; (0, 3) without plates."""
        return np.sum([p.moment for p in self.plates], axis=0) if self.plates else np.empty((0, 3))


@dataclass(frozen=True)
class Posture:
    """Mean marker positions of a standing trial: role with side, or marker of a cluster -> (3,) m."""

    trial_id: str
    condition: str
    markers: dict[str, FloatArray]
