"""Every text inside a C3D file, with the bytes it takes. Bounds-checked; runs in a worker.

Measured values are not text and are never touched.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from pipelines.identity import identifiers, places
from pipelines.identity.record_names import is_known
from pipelines.identity.texts import Text, decoded
from pipelines.identity.unused import left_over

_BLOCK = 512
#: So many letters of a parameter of bytes are text, not numbers.
_LEAST_LETTERS = 3


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
            labels = {_columns(r): _cells(data, r) for r in records if _stem(r.name) == "LABELS"}
            for record in records:
                taken.append((record.start, record.content_end))
                group = names.get(abs(record.group), f"GROUP {abs(record.group)}")
                named = (group, record.name) if abs(record.group) in names else (record.name,)
                unknown = tuple(_shown(name) for name in named if name.strip() and not is_known(name))
                for text in _of_record(data, record, group, labels):
                    yield replace(text, names=unknown)
    yield from left_over(data, taken)


def _order(processor: int) -> str:
    return ">" if processor == 86 else "<"


def _header_events(data: bytes) -> Iterator[Text]:
    for i in range(18):
        at = 396 + 4 * i
        text = decoded(data[at : at + 4])
        if text:
            yield Text(f"label of header event {i + 1}", "", text, at, at + 4)


@dataclass(frozen=True)
class _Record:
    """One record of the parameter section: where its parts stand in the file."""

    group: int
    name: str
    name_at: int
    name_end: int
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
        name = decoded(data[at + 2 : name_end])
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
        end = min(end, len(data))
        yield _Record(group, name, at + 2, name_end, at, size, dims, data_at, data_end, told_at, end, order)
        if not offset:
            return
        at = name_end + offset


def _stem(name: str) -> str:
    return name.upper().rstrip("0123456789")


def _columns(record: _Record) -> tuple[int, str]:
    """What parameters have in common whose rows stand beside each other: LABELS2 and DESCRIPTIONS2 of one group."""
    return record.group, record.name[len(_stem(record.name)) :]


def _cells(data: bytes, record: _Record) -> list[str]:
    """The rows of a parameter of texts."""
    return [decoded(data[at:end]) for at, end in _spans(record)] if record.size == -1 else []


def _spans(record: _Record) -> list[tuple[int, int]]:
    width = record.dims[0] if record.dims else 1
    starts = range(record.data_at, record.data_end, width) if width else ()
    return [(at, min(at + width, record.data_end)) for at in starts]


def _of_record(
    data: bytes, record: _Record, group: str, labels: Mapping[tuple[int, str], Sequence[str]]
) -> Iterator[Text]:
    telling = identifiers.surely_in_path(record.name)
    shown_group = "(kept back)" if identifiers.surely_in_path(group) else _shown(group)
    if record.name and not is_known(record.name):
        where = "the name of a group" if record.group < 0 else f"the name of a parameter of the group {shown_group}"
        kind = telling[0].kind if telling else None
        yield Text(where, "", record.name.upper(), record.name_at, record.name_end, kind, named=True)
    name = "(kept back)" if telling else _shown(record.name)
    place = shown_group if record.group < 0 else f"{shown_group}:{name}"
    told = decoded(data[record.told_at : record.content_end])
    if told:
        yield Text(f"the description of {place}", "description", told, record.told_at, record.content_end)
    if record.group > 0 and record.size == -1:
        yield from _rows(data, record, place, labels.get(_columns(record), ()))
    elif record.group > 0:
        yield from _numbers(data, record, place)


def _rows(data: bytes, record: _Record, place: str, labels: Sequence[str]) -> Iterator[Text]:
    """Each row of a parameter of texts. labels: of the rows, where the group names them."""
    spans = _spans(record)
    many = len(spans) > 1
    joined = _cells(data, record)
    for i, ((at, end), text) in enumerate(zip(spans, joined, strict=True)):
        where = f"{place}, row {i + 1}" if many else place
        label = labels[i] if many and i < len(labels) else ""
        if text:
            yield Text(where, place, text, at, end, label=label)
        prefix = text.partition(":")[0]
        if ":" in text and place.startswith("POINT:LABELS") and len(prefix) > 1:
            yield Text(
                f"{where}, before the colon", "SUBJECTS:NAMES", prefix, at, at + len(prefix.encode()), label=label
            )
    if many and record.dims[0] < 4 and len(joined) < 4096:  # a text stored letter by letter
        yield Text(place, place, "".join(t or " " for t in joined), record.data_at, record.data_end)


def _numbers(data: bytes, record: _Record, place: str) -> Iterator[Text]:
    """A parameter of few numbers whose name says that they tell of a person: a date, an age, a serial number.

    Bytes that are letters are a text, whatever the parameter's name.
    """
    if record.size == 1:
        raw = data[record.data_at : record.data_end].strip(b"\0 ")
        text = decoded(raw)
        if all(byte >= 0x20 for byte in raw) and sum(c.isalpha() for c in text) >= _LEAST_LETTERS:
            yield Text(place, place, text, record.data_at, record.data_end)
            return
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


def _shown(name: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in name.upper())[:60]
