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
    the channels, from 1, whose scale is 0 or no number. point_labels: entries of POINT:LABELS. camera_rate_hz,
    rate_divider: TRIAL:CAMERA_RATE and VIDEO_RATE_DIVIDER. analog_format, analog_bits: ANALOG:FORMAT and BITS.
    event_seconds: of EVENT:TIMES, those that EVENT:USED counts.
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
    event_seconds: tuple[float, ...] = ()
    camera_rate_hz: float | None = None
    rate_divider: float | None = None
    analog_format: str | None = None
    analog_bits: int | None = None


@dataclass(frozen=True)
class ReadAs:
    """What was taken of all this, and how it fits the bytes.

    fits: how many of the combinations of the stated counts fill the file to its end, as a file does that tells the
    truth. left_over: bytes after the last frame. left_over_blank: whether they hold nothing but filling.
    unit, metre: the file's unit of position as stated, and its metres, None for a word that is no known unit.
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
    unit: str = ""
    metre: float | None = None

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
    calibration_singular: a type 4 plate's matrix from which no six numbers can be told apart. units: of its channels,
    as stated. no_numbers: samples of its channels that are none. zero_frames: what FORCE_PLATFORM:ZERO names, from 1;
    zero_load: mean vertical force in these, as share of the largest in the trial. unknown_unit: what the file calls the
    unit of its forces, where that is no known one. labels: of its channels.
    """

    number: int
    c3d_type: int
    channels: tuple[int, ...]
    origin: tuple[float, float, float] | None
    corners: tuple[tuple[float, float, float], ...] | None
    calibration_singular: bool = False
    problem: str | None = None
    units: tuple[str, ...] = ()
    no_numbers: int = 0
    zero_frames: tuple[int, int] = (0, 0)
    zero_load: float = 0.0
    unknown_unit: str | None = None
    labels: tuple[str, ...] = ()


@dataclass(frozen=True)
class PlatesSay:
    """The FORCE_PLATFORM group. types, corners, origins, channels: for how many plates each parameter has entries.

    corner_dims: dimensions of CORNERS as stored.
    """

    used: int = 0
    types: int = 0
    corners: int = 0
    origins: int | None = None
    channels: int = 0
    plates: tuple[PlateSays, ...] = ()
    corner_dims: tuple[int, ...] = ()


@dataclass(frozen=True)
class Twin:
    """A name that stands for more than one thing. kind: point, channel, parameter, group or group number.

    alike: whether all of them hold the same, so that it does not matter which is read. spellings: all, where the name
    is spelled in more than one way; of a group number, the names of its groups.
    """

    kind: str
    name: str
    count: int
    alike: bool
    spellings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Unmarked:
    """A point that stands somewhere although it was not seen there: what a writer put where it saw none.

    position: in the file's unit, where it is first. frames: how many.
    """

    label: str
    position: tuple[float, float, float]
    frames: int


@dataclass(frozen=True)
class Blank:
    """Whole blocks of a file, at the borders of a disk's, in which measured numbers were lost.

    first_byte, bytes: where in the file. filling: the one byte that they hold. first, last: frames of a C3D file or
    data records of an EDF file, from 1. numbers: how many stand there that are others everywhere else.
    """

    first_byte: int
    bytes: int
    filling: int
    first: int
    last: int
    numbers: int


@dataclass(frozen=True)
class SamplesSay:
    """What the stored numbers of a C3D file tell of how they are meant.

    lowest, highest: of the analog numbers of a file of 16-bit integers, as signed ones. leaps_as_stated, leaps_else: of
    these the steps from sample to sample by more than half the range, read as ANALOG:FORMAT says and the other way.
    smooth, smooth_else: channels that move from sample to sample by little of their way, in the order of the format,
    and with each frame's samples channel by channel instead. blank: blocks that were lost. filled_up: frames at the end
    in which nothing is anything but 0. displaced: (frame from 1, points) from which on every point holds the numbers of
    the one so many places further on.
    """

    lowest: int | None = None
    highest: int | None = None
    leaps_as_stated: int = 0
    leaps_else: int = 0
    smooth: int = 0
    smooth_else: int = 0
    blank: tuple[Blank, ...] = ()
    filled_up: int = 0
    displaced: tuple[int, int] | None = None


@dataclass(frozen=True)
class SelfDescription:
    """All that a C3D file says of itself. unmarked: points that stand somewhere although they were not seen there.

    header_events_s: times of the events that the header names.
    """

    header: HeaderSays
    parameters: ParametersSay
    read_as: ReadAs
    plates: PlatesSay = field(default_factory=PlatesSay)
    twins: tuple[Twin, ...] = ()
    unmarked: tuple[Unmarked, ...] = ()
    samples: SamplesSay = field(default_factory=SamplesSay)
    header_events_s: tuple[float, ...] = ()


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
    samples: label, unit and samples in a record of each channel. blank: blocks that were lost.
    """

    plus: bool
    records: int
    record_s: float
    untimed: int = 0
    steps: tuple[RecordStep, ...] = ()
    step_count: int = 0
    outside: tuple[tuple[str, int], ...] = ()
    twins: tuple[Twin, ...] = ()
    samples: tuple[tuple[str, str, int], ...] = ()
    blank: tuple[Blank, ...] = ()
