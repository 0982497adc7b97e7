"""Changes a finished EDF+ file of the demonstration: records lost or doubled, header fields replaced."""

from __future__ import annotations

_FIXED = 256


def _parts(content: bytes) -> tuple[int, int]:
    """Bytes of the header, bytes of a data record."""
    header, records = int(content[184:192]), int(content[236:244])
    return header, (len(content) - header) // records


def _with_records(content: bytes, data: bytes, size: int) -> bytes:
    header, _ = _parts(content)
    return content[:236] + str(len(data) // size).encode().ljust(8) + content[244:header] + data


def without_record(content: bytes, number: int, count: int = 1) -> bytes:
    """The file with ``count`` data records from ``number`` (from 0) lost; the others keep their own times."""
    header, size = _parts(content)
    data = content[header:]
    return _with_records(content, data[: number * size] + data[(number + count) * size :], size)


def doubled_record(content: bytes, number: int) -> bytes:
    """The file with one data record written twice."""
    header, size = _parts(content)
    data = content[header:]
    return _with_records(content, data[: (number + 1) * size] + data[number * size :], size)


def retimed(content: bytes) -> bytes:
    """The file without EDF+: the records' own times are no longer looked at, as in a plain EDF file."""
    count = int(content[252:256])
    labels = content[_FIXED : _FIXED + 16 * count].replace(b"EDF Annotations ", b"no annotations  ")
    return content[:192] + b" " * 44 + content[236:_FIXED] + labels + content[_FIXED + 16 * count :]


def with_field(content: bytes, channel: int, start: int, text: str) -> bytes:
    """The file with one field of a channel (from 0) replaced; start: bytes before it in one channel's part (EDF
    specification): 104 and 112 physical limits, 120 and 128 digital ones, all of 8 bytes; 0 the label of 16."""
    count = int(content[252:256])
    width = 16 if start == 0 else 8
    at = _FIXED + start * count + width * channel
    return content[:at] + text.encode("latin-1").ljust(width) + content[at + width :]
