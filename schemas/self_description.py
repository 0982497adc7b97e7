"""What a recording's files say about themselves, every statement that is made more than once with all its values.

Readers fill these while they read and judge nothing; what a contradiction leads to is decided by the rules in
``checks.self_description``. None stands for a statement that the file does not make.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class HeaderSays:
    """The first block of a C3D file. Blocks count from 1; rates in Hz."""

    points: int
    analog_per_frame: int
    first_frame: int
    last_frame: int
    scale: float
    data_block: int
    samples_per_frame: int
    rate_hz: float

    @property
    def frames(self) -> int:
        """Frames from the first to the last, both counted."""
        return max(self.last_frame - self.first_frame + 1, 0)


@dataclass(frozen=True)
class ParametersSay:
    """The parameter section of a C3D file. first_frame, last_frame: TRIAL:ACTUAL_START_FIELD and ACTUAL_END_FIELD.

    scale_entries, offset_entries: how many channels ANALOG:SCALE and ANALOG:OFFSET have a number for. blank_scales:
    the channels, from 1, whose scale is 0 or no number. point_labels: entries of POINT:LABELS.
    """

    points: int | None = None
    frames: int | None = None
    long_frames: int | None = None
    first_frame: int | None = None
    last_frame: int | None = None
    scale: float | None = None
    rate_hz: float | None = None
    data_block: int | None = None
    channels: int | None = None
    analog_rate_hz: float | None = None
    general_scale: float | None = None
    scale_entries: int = 0
    offset_entries: int = 0
    blank_scales: tuple[int, ...] = ()
    point_labels: int = 0
    events: int | None = None
    event_times: int = 0


@dataclass(frozen=True)
class ReadAs:
    """What was taken of all this, and how it fits the bytes.

    fits: how many of the combinations of the stated counts fill the file to its end, as a file does that tells the
    truth. left_over: bytes after the last frame. left_over_blank: whether they hold nothing but filling.
    """

    file_bytes: int
    data_block: int
    points: int
    channels: int
    samples_per_frame: int
    frames: int
    frame_bytes: int
    storage: str
    scale: float
    point_rate_hz: float
    fits: int
    left_over: int
    left_over_blank: bool

    @property
    def size_decides(self) -> bool:
        """Whether the size of the file allows one combination of the stated counts and no other."""
        return self.fits == 1

    @property
    def frames_unread(self) -> int:
        """Whole frames that the bytes after the last one could hold."""
        return self.left_over // self.frame_bytes if self.frame_bytes else 0


@dataclass(frozen=True)
class PlateSays:
    """One force plate as described. channels: as stated, from 1. origin, corners: in the file's unit of position.

    problem: why it cannot be read, a sentence part without full stop. corners: four places of three numbers each.
    calibration_singular: a type 4 plate's matrix from which no six numbers can be told apart.
    """

    number: int
    c3d_type: int
    channels: tuple[int, ...]
    origin: tuple[float, float, float] | None
    corners: tuple[tuple[float, float, float], ...] | None
    calibration_singular: bool = False
    problem: str | None = None


@dataclass(frozen=True)
class PlatesSay:
    """The FORCE_PLATFORM group. types, corners, origins, channels: for how many plates each parameter has entries."""

    used: int = 0
    types: int = 0
    corners: int = 0
    origins: int | None = None
    channels: int = 0
    plates: tuple[PlateSays, ...] = ()


@dataclass(frozen=True)
class Twin:
    """A name that stands for more than one thing. kind: point, channel, parameter or group.

    alike: whether all of them hold the same, so that it does not matter which is read.
    """

    kind: str
    name: str
    count: int
    alike: bool


@dataclass(frozen=True)
class SelfDescription:
    """All that a C3D file says of itself. zeros: label of a point and in how many frames it stands at exactly
    (0, 0, 0) although its residual says that it was measured.
    """

    header: HeaderSays
    parameters: ParametersSay
    read_as: ReadAs
    plates: PlatesSay = field(default_factory=PlatesSay)
    twins: tuple[Twin, ...] = ()
    zeros: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True)
class RecordStep:
    """Two data records of a second file that do not follow one another. record: the later one, from 1; times in s."""

    record: int
    expected_s: float
    stated_s: float


@dataclass(frozen=True)
class SecondFileSays:
    """What an EDF or EDF+ file says of itself.

    plus: whether it says that it is EDF+. records: how many it holds. record_s: their stated length. untimed: records
    without a time of their own (EDF+ only). steps: where the records' own times do not follow one another, the first
    ten; step_count: all of them. outside: channel, and how many samples lie outside its stated digital range.
    """

    plus: bool
    records: int
    record_s: float
    untimed: int = 0
    steps: tuple[RecordStep, ...] = ()
    step_count: int = 0
    outside: tuple[tuple[str, int], ...] = ()
    twins: tuple[Twin, ...] = ()
