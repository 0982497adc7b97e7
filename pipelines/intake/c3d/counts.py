"""How many points, channels, samples and frames a C3D file holds, and where its data begins.

The header and the parameters each say so, and they do not always agree. The size of the file decides: the first
combination, in the order below, that fills the file to its end is taken; when none does, the header's, if it fits.
How many combinations do is told, since where several do the size decides nothing.
Nothing is decoded here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import product
from typing import TypeVar

from pipelines.intake.c3d.header import Header
from pipelines.intake.c3d.parameters import BLOCK, Section
from pipelines.intake.c3d.problem import C3dProblem

_Value = TypeVar("_Value")


@dataclass(frozen=True)
class Counts:
    """data_start: byte. samples_per_frame: analog samples of one channel in one point frame."""

    data_start: int
    points: int
    channels: int
    samples_per_frame: int
    frames: int
    values_size: int  # bytes of one stored number

    @property
    def analog_per_frame(self) -> int:
        """Analog numbers in one frame."""
        return self.channels * self.samples_per_frame

    @property
    def frame_bytes(self) -> int:
        """Bytes of one frame."""
        return self.values_size * (4 * self.points + self.analog_per_frame)

    def left_over(self, size: int) -> int:
        """Bytes of the file after the last frame; negative when the file is too short."""
        return size - self.data_start - self.frames * self.frame_bytes

    def is_tight(self, size: int) -> bool:
        """Whether the frames fill the file but for the padding of its last blocks."""
        return 0 <= self.left_over(size) < 2 * BLOCK


def number(section: Section, group: str, name: str, *, whole: bool = False) -> float | None:
    """First value of a numeric parameter; ``whole`` reads it as a count. None when it is not there."""
    parameter = section.groups.get(group, {}).get(name)
    if parameter is None or not len(parameter.values):
        return None
    return int(parameter.counts[0]) if whole else float(parameter.values[0])


def settle_counts(header: Header, section: Section, size: int, values_size: int) -> tuple[Counts, int]:
    """The counts that fit the file, and how many combinations do. Raises C3dProblem when it is too short for any."""
    options = list(
        product(
            _starts(header, section),
            _points(header, section),
            _analog(header, section),
            _frames(header, section),
        )
    )
    every = [Counts(start, p, c, s, f, values_size) for start, p, (c, s), f in options]
    every = [c for c in every if BLOCK <= c.data_start <= size]
    if not every:
        raise C3dProblem(f"the data should start in block {header.data_block}, which is not in the file")
    every = [c for c in every if 0 < c.frame_bytes <= size]  # also of no frames: their counts size other arrays
    if not every:
        raise C3dProblem("no frame of the declared points and analog channels fits into the file")
    tight = list(dict.fromkeys(c for c in every if c.is_tight(size)))
    tight = [c for c in tight if c.left_over(size) < BLOCK] or tight  # some writers add one block too many
    chosen = tight[0] if tight else _wrapped(every[0], header, size)
    if chosen is None and every[0].left_over(size) < 0:
        first = every[0]
        held = (size - first.data_start) // first.frame_bytes
        raise C3dProblem(
            f"the file is too short: it declares {first.frames} frames of {first.frame_bytes} bytes "
            f"and holds {held} of them; it was cut off or its header is damaged"
        )
    if chosen is None:
        return every[0], 0
    return chosen, max(len(tight), 1)


def _wrapped(first: Counts, header: Header, size: int) -> Counts | None:
    """The same with all frames that fit, where a counter of 16 bits was too small for them and nothing else tells.

    Either the counter went round, and the true number is 65536 or a multiple more, or it stopped at its largest.
    """
    if not first.frame_bytes:
        return None
    held = (size - first.data_start) // first.frame_bytes
    if held <= 65535:
        return None
    if header.last_frame == 65535:
        return replace(first, frames=held)
    round_again = replace(first, frames=header.frames + (held - header.frames) // 65536 * 65536)
    return round_again if round_again.is_tight(size) else None


def _unique(values: Iterable[_Value | None]) -> list[_Value]:
    return list(dict.fromkeys(v for v in values if v is not None))


def _starts(header: Header, section: Section) -> list[int]:
    """In bytes; blocks count from 1."""
    blocks = _unique([header.data_block, number(section, "POINT", "DATA_START", whole=True)])
    return [(int(b) - 1) * BLOCK for b in blocks if b > 0] or [-(-section.end // BLOCK) * BLOCK]


def _points(header: Header, section: Section) -> list[int]:
    return [int(count) for count in _unique([header.points, number(section, "POINT", "USED", whole=True)])]


def _analog(header: Header, section: Section) -> list[tuple[int, int]]:
    """Pairs of channels and samples per frame."""
    per_frame, samples = header.analog_per_frame, header.samples_per_frame
    used = number(section, "ANALOG", "USED", whole=True)
    point_rate = number(section, "POINT", "RATE") or header.rate_hz
    analog_rate = number(section, "ANALOG", "RATE") or 0.0
    ratio = _ratio(analog_rate, point_rate)
    pairs: list[tuple[int, int]] = []
    if used and per_frame and per_frame % int(used) == 0:
        pairs.append((int(used), per_frame // int(used)))
    if per_frame and samples and per_frame % samples == 0:
        pairs.append((per_frame // samples, samples))
    if used and ratio:
        pairs.append((int(used), ratio))
    if not per_frame:
        pairs.insert(0, (0, 0))
    elif not pairs:
        pairs.append((per_frame, 1))
    stated = {samples, ratio} - {0, None}
    agreeing = [pair for pair in pairs if pair[1] in stated]
    return _unique(agreeing or pairs)


def _ratio(analog_rate: float, point_rate: float) -> int | None:
    """Samples per frame, a number of 16 bits in the header; None where the rates give no such number."""
    if not (0 < point_rate < 1e7 and 0 < analog_rate < 1e7):
        return None
    ratio = analog_rate / point_rate
    return round(ratio) if 0.5 < ratio < 65535 else None


def _frames(header: Header, section: Section) -> list[int]:
    """The header counts to 65535; longer recordings say so in one of three parameters."""
    first = long_field(section, "ACTUAL_START_FIELD")
    last = long_field(section, "ACTUAL_END_FIELD")
    actual = last - first + 1 if first is not None and last is not None and last >= first else None
    longer = [
        number(section, "POINT", "LONG_FRAMES", whole=True),
        actual,
        number(section, "POINT", "FRAMES", whole=True),
    ]
    if header.last_frame == 65535:  # the header's counter is full, so the others come first
        return [int(f) for f in _unique([*longer, header.frames]) if f]
    return [int(f) for f in _unique([header.frames, *longer]) if f] or [0]


def long_field(section: Section, name: str) -> int | None:
    """A frame number stored as two 16-bit halves, the lower first; as one number where there is only one."""
    parameter = section.groups.get("TRIAL", {}).get(name)
    if parameter is None or not len(parameter.values):
        return None
    if len(parameter.values) == 1:
        return int(parameter.counts[0])
    low, high = (int(half) for half in parameter.counts[:2])
    return low + 65536 * high
