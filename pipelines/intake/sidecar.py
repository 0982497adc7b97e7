"""Reading a second file recorded beside a trial: European Data Format, EDF and EDF+ (edfplus.info), through edfio.

The file is hostile until read: its header is checked byte by byte against its size first, since edfio trusts it, and
``read_sidecar`` is called inside an isolated worker like every reader. The header's texts about person and recording
are never looked at. What a channel means is told by ``channels.csv``; see ``signals``.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.intake.blank_blocks import blank_blocks
from pipelines.intake.sidecar_time import RecordTimes, record_times
from pipelines.intake.twins import twins_of
from pipelines.workers.problem import FileProblem
from schemas.self_description import Blank, SecondFileSays
from schemas.trial import Channel

#: Limits on what is read at all. 512 MiB of EDF is ten hours of sixteen channels at 1 kHz at the least.
LARGEST_BYTES = 512 * 1024 * 1024
MOST_CHANNELS = 256
MOST_SAMPLES = 200_000_000
#: Byte widths of the fixed header and of each channel's part of it (EDF specification, Kemp et al. 1992).
FIXED_HEADER, PER_CHANNEL = 256, 256
ANNOTATIONS = "EDF Annotations"
_INTERRUPTED = "it is an interrupted recording (EDF+D): "
_EXPORT = "export it as a continuous one (EDF+C), without a gap"


class SidecarProblem(FileProblem):
    """A second file that cannot be used."""


@dataclass(frozen=True)
class Sidecar:
    """A second file's channels on its own clock: sample i of each stands at i / rate_hz. duration_s: its length.

    says: what the file says of itself.
    """

    file: str
    channels: tuple[Channel, ...]
    duration_s: float
    says: SecondFileSays


def read_sidecar(path: str | Path) -> Sidecar:
    """Every ordinary channel of an EDF or EDF+ file, in physical values. Raises SidecarProblem.

    Of interrupted recordings (EDF+D) only those are read whose records follow one another all the same: in others
    samples do not.
    """
    path = Path(path)
    layout = _layout(path)
    times = _times(path, layout)
    import edfio

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            recording = edfio.read_edf(path, lazy_load_data=True, header_encoding="latin-1")
            channels = tuple(_channel(signal) for signal in recording.signals)
            outside = tuple(_outside(signal) for signal in recording.signals)
    except SidecarProblem:
        raise
    except MemoryError:
        raise
    except Exception as error:  # edfio raises many kinds on malformed headers
        raise SidecarProblem(f"it cannot be read as EDF: {_told(error)}") from error
    if not channels:
        raise SidecarProblem("it holds annotations only, no channel")
    says = SecondFileSays(
        plus=layout.plus,
        records=layout.records,
        record_s=layout.record_s,
        untimed=times.untimed if times else layout.records if layout.plus else 0,  # EDF+ demands times
        steps=times.steps if times else (),
        step_count=times.step_count if times else 0,
        outside=tuple((c.label, count) for c, count in zip(channels, outside, strict=True) if count),
        twins=twins_of("channel", [c.label for c in channels], [c.samples for c in channels]),
        samples=tuple((c.label, c.unit, round(len(c.samples) / layout.records)) for c in channels),
        blank=_blank(path, layout),
    )
    return Sidecar(path.name, channels, layout.records * layout.record_s, says)


def _times(path: Path, layout: _Layout) -> RecordTimes | None:
    """When the records say that they begin; None if the file has no annotations. Raises for one with gaps (EDF+D)."""
    if layout.annotations is None:
        if layout.interrupted:
            raise SidecarProblem(_INTERRUPTED + "its records do not say when they begin; " + _EXPORT, "unsupported")
        return None
    times = record_times(
        path, layout.header_bytes, layout.records, layout.record_bytes, layout.annotations, layout.record_s
    )
    if layout.interrupted and (times.steps or times.untimed):
        told = f"{times.untimed} of its records do not say when they begin; "
        if times.steps:
            gap = times.steps[0]
            told = f"record {gap.record} begins at {gap.stated_s:g} s, the one before it ends at {gap.expected_s:g} s; "
        raise SidecarProblem(_INTERRUPTED + told + _EXPORT, "unsupported")
    return times


def _blank(path: Path, layout: _Layout) -> tuple[Blank, ...]:
    data = path.read_bytes()
    stored = np.frombuffer(data, "<i2", offset=layout.header_bytes).reshape(layout.records, layout.record_bytes // 2)
    return blank_blocks(data, layout.header_bytes, stored)


def _outside(signal: Any) -> int:
    """How many samples lie outside the digital range of the header."""
    low, high = signal.digital_range
    digital = np.asarray(signal.digital)
    return int(np.count_nonzero((digital < low) | (digital > high)))


def _channel(signal: Any) -> Channel:
    label = str(signal.label).strip()
    rate = float(signal.sampling_frequency)
    if not (np.isfinite(rate) and rate > 0):
        raise SidecarProblem(f"channel {label!r} has a rate of {rate:g} Hz")
    samples = np.array(signal.data, np.float64)
    if not np.isfinite(samples).all():
        raise SidecarProblem(f"channel {label!r} holds values that are no numbers; its header gives an unusable range")
    return Channel(label, str(signal.physical_dimension).strip(), rate, samples)


def _told(error: Exception) -> str:
    text = " ".join(str(error).split()).rstrip(".")
    return f"{type(error).__name__}: {text[:200]}" if text else type(error).__name__


@dataclass(frozen=True)
class _Layout:
    """annotations: first byte and length of the first annotation channel in a record; None if there is none."""

    records: int
    record_s: float
    plus: bool
    interrupted: bool
    header_bytes: int
    record_bytes: int
    annotations: tuple[int, int] | None


def _layout(path: Path) -> _Layout:
    """The numbers of the header, checked against one another and against the size of the file."""
    if not path.is_file():
        raise SidecarProblem("the file is not there", "missing")
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        raise SidecarProblem(f"it has {size} bytes; at most {LARGEST_BYTES} are read", "too_large")
    with path.open("rb") as stream:
        fixed = stream.read(FIXED_HEADER)
        _expect_edf(fixed, size)
        records = _whole(fixed[236:244], "number of data records")
        record_s = _number(fixed[244:252], "duration of a data record")
        count = _whole(fixed[252:256], "number of channels")
        if not 1 <= count <= MOST_CHANNELS:
            raise SidecarProblem(f"its header declares {count} channels; from 1 to {MOST_CHANNELS} are read")
        header = stream.read(PER_CHANNEL * count)
    if (told := _whole(fixed[184:192], "length of the header")) != FIXED_HEADER + PER_CHANNEL * count:
        raise SidecarProblem(f"its header says it has {told} bytes; {count} channels take {256 * (count + 1)}")
    if len(header) < PER_CHANNEL * count:
        raise SidecarProblem(f"it ends within its header: {count} channels are declared and {size} bytes are there")
    labels = [header[16 * i : 16 * (i + 1)] for i in range(count)]
    counts = header[216 * count : 224 * count]
    samples = [_whole(counts[8 * i : 8 * (i + 1)], f"number of samples of channel {i + 1}") for i in range(count)]
    is_text = [label.strip() == ANNOTATIONS.encode() for label in labels]
    ordinary = [n for n, text in zip(samples, is_text, strict=True) if not text]
    if min(samples) < 1 or records < 1 or (ordinary and not record_s > 0):
        raise SidecarProblem(
            f"its header declares {records} data records of {record_s:g} s with from {min(samples)} samples a channel; "
            "a finished recording has at least one of each"
        )
    if records * sum(samples) > MOST_SAMPLES:
        raise SidecarProblem(
            f"it declares {records * sum(samples)} samples; at most {MOST_SAMPLES} are read", "too_large"
        )
    _expect_size(size, FIXED_HEADER + PER_CHANNEL * count, records, 2 * sum(samples))
    _expect_ranges(header, count)
    first = is_text.index(True) if any(is_text) else None
    return _Layout(
        records,
        record_s,
        plus=fixed[192:196].upper() == b"EDF+",
        interrupted=fixed[192:197].upper() == b"EDF+D",
        header_bytes=FIXED_HEADER + PER_CHANNEL * count,
        record_bytes=2 * sum(samples),
        annotations=None if first is None else (2 * sum(samples[:first]), 2 * samples[first]),
    )


def _expect_edf(fixed: bytes, size: int) -> None:
    if len(fixed) < FIXED_HEADER:
        raise SidecarProblem(f"it has only {size} bytes; the header alone of an EDF file has {FIXED_HEADER}")
    if fixed[:8] == b"\xffBIOSEMI":
        raise SidecarProblem("it is a 24-bit variant of EDF (BDF); save it as EDF+", "unsupported")
    if fixed[:8] != b"0       ":
        raise SidecarProblem("it does not begin as an EDF file does (the character 0 and seven spaces)")


def _expect_size(size: int, header: int, records: int, record_bytes: int) -> None:
    expected = header + records * record_bytes
    if size < expected:
        held = max(0, size - header) // record_bytes
        raise SidecarProblem(
            f"it is too short: it declares {records} data records of {record_bytes} bytes and holds {held} of them; "
            "it was cut off or its header is damaged"
        )
    if size > expected:
        raise SidecarProblem(f"it has {size - expected} bytes more than its header declares; its header is damaged")


def _expect_ranges(header: bytes, count: int) -> None:
    """Physical and digital ranges that give a scale: finite, not empty, digital ones whole, ascending, of 16 bits."""

    def ends(i: int, name: str, starts: tuple[int, int], read: Callable[[bytes, str], float]) -> tuple[float, float]:
        label = header[16 * i : 16 * (i + 1)].decode("latin-1").strip()
        words = [f"{name} {end} of channel {i + 1} ({label!r})" for end in ("minimum", "maximum")]
        low, high = (
            read(header[at * count + 8 * i : at * count + 8 * i + 8], word)
            for at, word in zip(starts, words, strict=True)
        )
        if low == high or (name == "digital" and low > high):
            raise SidecarProblem(f"the {words[0]} is {low:g} and its maximum {high:g}: that range gives no scale")
        return low, high

    for i in range(count):
        ends(i, "physical", (104, 112), _number)
        low, high = ends(i, "digital", (120, 128), _whole)
        if low < -32768 or high > 32767:
            raise SidecarProblem(f"the digital range of channel {i + 1}, {low:g} to {high:g}, needs more than 16 bits")


#: EDF allows only these (specification, 2002 and EDF+ 2.2.1): no decimal comma, no thousands, no words.
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def _number(field: bytes, what: str) -> float:
    text = field.decode("latin-1").strip().strip("\x00").strip()
    if re.fullmatch(r"[+-]?\d+,\d*", text):
        raise SidecarProblem(f"the {what} in its header is {text!r}, with a decimal comma; EDF asks for a point")
    if not _NUMBER.fullmatch(text) or not np.isfinite(float(text)):
        raise SidecarProblem(f"the {what} in its header is {field!r}, no number")
    return float(text)


def _whole(field: bytes, what: str) -> int:
    value = _number(field, what)
    if value != int(value):
        raise SidecarProblem(f"the {what} in its header is {field!r}, no whole number")
    return int(value)
