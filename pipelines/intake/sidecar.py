"""Reading a second file recorded beside a trial: European Data Format, EDF and EDF+ (edfplus.info), through edfio.

The file is hostile until read: its header is checked byte by byte against its size first, since edfio trusts it, and
``read_sidecar`` is called inside an isolated worker like every reader. The header's texts about person and recording
are never looked at. What a channel means is told by ``channels.csv``; see ``signals``.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.workers.problem import FileProblem
from schemas.trial import Channel

#: Limits on what is read at all. 512 MiB of EDF is ten hours of sixteen channels at 1 kHz at the least.
LARGEST_BYTES = 512 * 1024 * 1024
MOST_CHANNELS = 256
MOST_SAMPLES = 200_000_000
#: Byte widths of the fixed header and of each channel's part of it (EDF specification, Kemp et al. 1992).
FIXED_HEADER, PER_CHANNEL = 256, 256
ANNOTATIONS = "EDF Annotations"


class SidecarProblem(FileProblem):
    """A second file that cannot be used."""


@dataclass(frozen=True)
class Sidecar:
    """A second file's channels on its own clock: sample i of each stands at i / rate_hz. duration_s: its length."""

    file: str
    channels: tuple[Channel, ...]
    duration_s: float


def read_sidecar(path: str | Path) -> Sidecar:
    """Every ordinary channel of an EDF or EDF+ file, in physical values. Raises SidecarProblem.

    Only continuous recordings are read: in an interrupted one (EDF+D) samples do not follow one another.
    """
    path = Path(path)
    layout = _layout(path)
    import edfio

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            recording = edfio.read_edf(path, lazy_load_data=True, header_encoding="latin-1")
            channels = tuple(_channel(signal) for signal in recording.signals)
    except SidecarProblem:
        raise
    except MemoryError:
        raise
    except Exception as error:  # edfio raises many kinds on malformed headers
        raise SidecarProblem(f"it cannot be read as EDF: {_told(error)}") from error
    if not channels:
        raise SidecarProblem("it holds annotations only, no channel")
    return Sidecar(path.name, channels, layout.records * layout.record_s)


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
    records: int
    record_s: float


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
    ordinary = [n for n, label in zip(samples, labels, strict=True) if label.strip() != ANNOTATIONS.encode()]
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
    return _Layout(records, record_s)


def _expect_edf(fixed: bytes, size: int) -> None:
    if len(fixed) < FIXED_HEADER:
        raise SidecarProblem(f"it has only {size} bytes; the header alone of an EDF file has {FIXED_HEADER}")
    if fixed[:8] == b"\xffBIOSEMI":
        raise SidecarProblem("it is a 24-bit variant of EDF (BDF); save it as EDF+", "unsupported")
    if fixed[:8] != b"0       ":
        raise SidecarProblem("it does not begin as an EDF file does (the character 0 and seven spaces)")
    if fixed[192:197] == b"EDF+D":
        raise SidecarProblem(
            "it is an interrupted recording (EDF+D); save it as a continuous one (EDF+C)", "unsupported"
        )


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
    """Physical and digital ranges that can be turned into a scale: finite, and not empty."""
    starts = {"physical": (104, 112), "digital": (120, 128)}
    for i in range(count):
        for name, (low, high) in starts.items():
            ends = [_number(header[at * count + 8 * i : at * count + 8 * i + 8], f"{name} range") for at in (low, high)]
            if ends[0] == ends[1]:
                raise SidecarProblem(f"channel {i + 1} has the same {name} minimum and maximum, {ends[0]:g}")


def _number(field: bytes, what: str) -> float:
    try:
        value = float(field.decode("ascii").strip().strip("\x00"))
    except (UnicodeDecodeError, ValueError):
        value = float("nan")
    if not np.isfinite(value):
        raise SidecarProblem(f"the {what} in its header is {field!r}, no number")
    return value


def _whole(field: bytes, what: str) -> int:
    value = _number(field, what)
    if value != int(value):
        raise SidecarProblem(f"the {what} in its header is {field!r}, no whole number")
    return int(value)
