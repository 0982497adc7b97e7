"""Every text inside a recording file, with the bytes it takes: C3D and EDF+. Bounds-checked; runs in a worker.

Measured values are not text and are never touched. What a text gives away is for ``identifiers``.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass

from pipelines.identity import identifiers, kinds, places
from pipelines.identity.identifiers import NOBODY, Found, KnownNames
from schemas.reading import Identifying

_BLOCK = 512
_PRINTABLE = re.compile(rb"(?:[\x20-\x7e]|\xc3[\x80-\xbf]){6,}")
#: Left-over bytes of a whole file that is no C3D file are looked through this far.
_MOST_LEFT_OVER = 1 << 20


@dataclass(frozen=True)
class Text:
    """A text and the bytes [start, end) it takes in its file. place: for a message; field: what names its kind.

    expected: kinds it is of whatever its form. wide: it is a number stored as bytes, not as letters.
    """

    place: str
    field: str
    text: str
    start: int
    end: int
    expected: str | None = None
    wide: bool = False

    def found(self, known: KnownNames = NOBODY) -> tuple[Found, ...]:
        """What in it identifies somebody."""
        if self.expected:
            return (Found(0, len(self.text), self.expected),)
        return identifiers.scan(self.text, self.field, known)


def identifying(file: str, texts: Iterator[Text], known: KnownNames = NOBODY) -> tuple[Identifying, ...]:
    """Where in a file something identifies somebody, and of what kind; one for each place and kind."""
    seen: dict[Identifying, None] = {}
    for text in texts:
        for found in text.found(known):
            seen[Identifying(found.kind, file, text.place)] = None
    return tuple(seen)


def is_edf(data: bytes) -> bool:
    """Whether the bytes begin as those of an EDF file do."""
    return data[:8] == b"0       "


def texts_of_c3d(data: bytes, data_span: tuple[int, int] | None = None) -> Iterator[Text]:
    """Texts of a C3D file, whole or damaged. data_span: bytes of the measured values, if they are known."""
    taken = [data_span] if data_span else []
    if len(data) >= _BLOCK and data[1] == 80:
        taken += [(0, 24), (296, 300), (304, 376), (376, 394)]  # numbers of the header
        yield from _header_events(data)
        taken.append((396, 468))
        start = (data[0] - 1) * _BLOCK
        if 0 < start < len(data) - 4:
            data_start = (struct.unpack_from(_order(data[start + 3]) + "H", data, 16)[0] - 1) * _BLOCK
            if data_span is None and data_start > start:
                taken.append((data_start, len(data)))
            records = list(_records(data, start + 4, data_start if data_start > start else len(data)))
            names = {-r.group: r.name for r in records if r.group < 0}
            for record in records:
                taken.append((record.start, record.content_end))
                yield from _of_record(data, record, names.get(abs(record.group), f"GROUP {abs(record.group)}"))
    yield from _left_over(data, taken)


def _order(processor: int) -> str:
    return ">" if processor == 86 else "<"


def _header_events(data: bytes) -> Iterator[Text]:
    for i in range(18):
        at = 396 + 4 * i
        text = _text(data[at : at + 4])
        if text:
            yield Text(f"label of header event {i + 1}", "", text, at, at + 4)


@dataclass(frozen=True)
class _Record:
    """One record of the parameter section: where its parts stand in the file."""

    group: int
    name: str
    name_at: int
    start: int
    size: int  # bytes of one element, -1 for text, 0 for a group
    dims: tuple[int, ...]
    data_at: int
    data_end: int
    told_at: int  # description
    content_end: int
    order: str


def _records(data: bytes, at: int, limit: int) -> Iterator[_Record]:
    order = _order(data[at - 1])
    limit = min(limit, len(data))  # a damaged header may put the data beyond the end of the file
    while at + 5 < limit:
        length, group = struct.unpack_from("bb", data, at)
        name_end = at + 2 + abs(length)
        if length == 0 or group == 0 or name_end + 4 > len(data):
            return
        name = _text(data[at + 2 : name_end])
        offset = struct.unpack_from(order + "H", data, name_end)[0]
        size, data_at, data_end = 0, name_end + 2, name_end + 2
        dims: tuple[int, ...] = ()
        if group > 0:
            size, count = struct.unpack_from("bb", data, data_at)
            dims = tuple(data[data_at + 2 : data_at + 2 + max(0, count)])
            data_at += 2 + len(dims)
            total = abs(size)
            for dim in dims:
                total *= dim
            data_end = min(data_at + total, len(data))
        told_at = data_end + 1
        end = told_at + (data[data_end] if data_end < len(data) else 0)
        yield _Record(group, name, at + 2, at, size, dims, data_at, data_end, told_at, min(end, len(data)), order)
        if not offset:
            return
        at = name_end + offset


def _of_record(data: bytes, record: _Record, group: str) -> Iterator[Text]:
    kind = "group" if record.group < 0 else "parameter"
    parts = identifiers.scan_path(record.name)
    if parts:
        where = f"the name of a {kind}"
        yield Text(where, "", record.name, record.name_at, record.name_at + len(record.name), parts[0].kind)
    name = "(kept back)" if parts else _shown(record.name)
    group = "(kept back)" if identifiers.scan_path(group) else _shown(group)
    place = group if record.group < 0 else f"{group}:{name}"
    told = _text(data[record.told_at : record.content_end])
    if told:
        yield Text(f"the description of {place}", "description", told, record.told_at, record.content_end)
    if record.group > 0 and record.size == -1:
        yield from _rows(data, record, place)
    elif record.group > 0:
        yield from _numbers(data, record, place)


def _rows(data: bytes, record: _Record, place: str) -> Iterator[Text]:
    width = record.dims[0] if record.dims else 1
    starts = range(record.data_at, record.data_end, width) if width else ()
    many = len(starts) > 1
    joined = [_text(data[at : min(at + width, record.data_end)]) for at in starts]
    for i, (at, text) in enumerate(zip(starts, joined, strict=True), start=1):
        where = f"{place}, row {i}" if many else place
        if text:
            yield Text(where, place, text, at, min(at + width, record.data_end))
        prefix = text.partition(":")[0]
        if ":" in text and place.startswith("POINT:LABELS") and len(prefix) > 1:
            yield Text(f"{where}, before the colon", "SUBJECTS:NAMES", prefix, at, at + len(prefix.encode()))
    if many and width < 4 and len(joined) < 4096:  # a text stored letter by letter
        yield Text(place, place, "".join(t or " " for t in joined), record.data_at, record.data_end)


def _numbers(data: bytes, record: _Record, place: str) -> Iterator[Text]:
    """A parameter of few numbers whose name says that they tell of a person: a date, an age, a serial number."""
    telling = places.expected_kind(place) or places.is_age(place) or places.is_birth_year(place)
    form = {1: "B", 2: "h", 4: "f"}.get(record.size)
    count = (record.data_end - record.data_at) // max(1, record.size)
    if not telling or form is None or not 0 < count <= 16:
        return
    values = struct.unpack_from(f"{record.order}{count}{form}", data, record.data_at)
    if any(value != value for value in values):
        return
    text = " ".join(f"{value:.0f}" if float(value).is_integer() else f"{value:g}" for value in values)
    if any(values):
        yield Text(place, place, text, record.data_at, record.data_end, wide=True)


def _left_over(data: bytes, taken: list[tuple[int, int]]) -> Iterator[Text]:
    """Printable text in bytes that no part of the file uses."""
    at = 0
    for start, end in [*sorted(taken), (len(data), len(data))]:
        if start > at:
            gap = data[at : min(start, at + _MOST_LEFT_OVER)]
            for match in _PRINTABLE.finditer(gap):
                begin = at + match.start()
                yield Text(f"unused bytes near byte {begin}", "unused", _text(match[0]), begin, at + match.end())
        at = max(at, end)


def texts_of_edf(data: bytes) -> Iterator[Text]:
    """Texts of an EDF or EDF+ file: who, when, the channels' words, and annotations."""
    plus = data[192:196] == b"EDF+"
    yield from _edf_person(data, plus)
    yield from _edf_recording(data, plus)
    date, time = _text(data[168:176]), _text(data[176:184])
    if date not in ("01.01.85", "") and any(c.isdigit() for c in date):
        yield Text("start date of the header", "", date, 168, 176, kinds.DATE)
    if time not in ("00.00.00", "") and any(c.isdigit() for c in time):
        yield Text("start time of the header", "", time, 176, 184, kinds.TIME)
    count = _int(data[252:256])
    if not 0 < count <= 256:
        return
    at = 256
    for name, width, told in _EDF_COLUMNS:
        for i in range(count if told else 0):
            text = _text(data[at + i * width : at + (i + 1) * width])
            if text and text != "EDF Annotations":
                field = f"CHANNEL:{'LABEL' if name == 'label' else name.upper()}"
                yield Text(f"{name} of channel {i + 1}", field, text, at + i * width, at + (i + 1) * width)
        at += width * count
    yield from _edf_annotations(data, count)


_EDF_COLUMNS = (
    ("label", 16, True),
    ("transducer", 80, True),
    ("dimension", 8, False),
    ("physical minimum", 8, False),
    ("physical maximum", 8, False),
    ("digital minimum", 8, False),
    ("digital maximum", 8, False),
    ("prefilter", 80, True),
    ("samples", 8, False),
    ("reserved", 32, True),
)


def _words(data: bytes, start: int, end: int) -> list[tuple[str, int, int]]:
    return [(_text(m[0]), start + m.start(), start + m.end()) for m in re.finditer(rb"[^\s\x00]+", data[start:end])]


def _edf_person(data: bytes, plus: bool) -> Iterator[Text]:
    """Code, sex, birth date and name (EDF+); in plain EDF any text, which then names a person."""
    place = "patient field of the header"
    words = _words(data, 8, 88)
    if not plus:
        text = _text(data[8:88])
        if text:
            yield Text(place, "PATIENT:NAME", text, 8, 88)
        return
    for i, (text, start, end) in enumerate(words):
        if text.upper() in ("X", "F", "M") or (i == 1 and len(text) == 1):
            continue
        if i == 0:
            yield Text(place, "PATIENT:NAME", text, start, end)
        elif i == 2 and any(c.isdigit() for c in text):
            yield Text(place, "", text, start, end, kinds.DATE)
        else:
            yield Text(place, "PATIENT:NAME", text.replace("_", " "), start, end)


def _edf_recording(data: bytes, plus: bool) -> Iterator[Text]:
    """Start date, number of the investigation, technician and equipment (EDF+); in plain EDF any text."""
    place = "recording field of the header"
    words = _words(data, 88, 168)
    if not plus or not words or words[0][0].lower() != "startdate":
        text = _text(data[88:168])
        if text:
            yield Text(place, "", text, 88, 168)
        return
    for i, (text, start, end) in enumerate(words):
        if i == 0 or text.upper() == "X":
            continue
        if i == 1:
            yield Text(place, "", text, start, end, kinds.DATE)
        elif i == 2 and sum(c.isdigit() for c in text) >= 3:
            yield Text(place, "", text, start, end, kinds.RECORD)
        elif i == 3:
            yield Text(place, "RECORDING:TECHNICIAN", text.replace("_", " "), start, end)
        else:
            yield Text(place, "", text.replace("_", " "), start, end)


def _edf_annotations(data: bytes, count: int) -> Iterator[Text]:
    """Texts of the annotation channels: what stands between their separators (EDF+, 2.2)."""
    labels = [_text(data[256 + 16 * i : 272 + 16 * i]) for i in range(count)]
    base = 256 + count * 216
    samples = [_int(data[base + 8 * i : base + 8 * i + 8]) for i in range(count)]
    if min(samples) < 1 or "EDF Annotations" not in labels:
        return
    step, first = 2 * sum(samples), 256 * (count + 1)
    for record in range(min(200_000, max(0, len(data) - first) // step)):
        at = first + record * step
        for label, n in zip(labels, samples, strict=True):
            if label == "EDF Annotations":
                for match in re.finditer(rb"[^\x00\x14\x15]{2,}", data[at : at + 2 * n]):
                    text = _text(match[0])
                    if not re.fullmatch(r"[+-][0-9.]+", text):
                        yield Text("an annotation", "", text, at + match.start(), at + match.end())
            at += 2 * n


def _int(raw: bytes) -> int:
    text = raw.decode("ascii", errors="replace").strip()
    return int(text) if re.fullmatch(r"[0-9]{1,8}", text) else 0


def _text(raw: bytes) -> str:
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    return text.replace("\0", " ").strip()


def _shown(name: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in name.upper())[:60]
