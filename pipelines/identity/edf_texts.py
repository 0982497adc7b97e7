"""Every text inside an EDF or EDF+ file, with the bytes it takes. Bounds-checked; runs in a worker.

Measured values are not text and are never touched.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipelines.identity import kinds
from pipelines.identity.texts import Text, decoded
from pipelines.identity.unused import left_over


def is_edf(data: bytes) -> bool:
    """Whether the bytes begin as those of an EDF file do."""
    return data[:8] == b"0       "


def texts_of_edf(data: bytes) -> Iterator[Text]:
    """Texts of an EDF or EDF+ file: who, when, the channels' words, annotations, and what stands where none should."""
    plus = data[192:196] == b"EDF+"
    yield from _edf_person(data, plus)
    yield from _edf_recording(data, plus)
    for name, at, none, kind in (("date", 168, "01.01.85", kinds.DATE), ("time", 176, "00.00.00", kinds.TIME)):
        if (text := decoded(data[at : at + 8])) not in (none, ""):
            digits = any(c.isdigit() for c in text)
            yield Text(f"start {name} of the header", "", text, at, at + 8, kind if digits else None)
    for name, at, end in _EDF_NUMBERS:
        yield from _no_number(data, f"{name} of the header", at, end)
    begins = 197 if data[192:197] in (b"EDF+C", b"EDF+D") else 192
    if text := decoded(data[begins:236]):
        yield Text("reserved field of the header", "", text, begins, 236)
    count = _int(data[252:256])
    if not 0 < count <= 256:
        yield from left_over(data, [(0, 256)])
        return
    at = 256
    labels = [decoded(data[at + 16 * i : at + 16 * i + 16]) for i in range(count)]
    for name, width, told in _EDF_COLUMNS:
        for i in range(count):
            begins, end = at + i * width, at + (i + 1) * width
            text = decoded(data[begins:end])
            if not told:
                yield from _no_number(data, f"{name} of channel {i + 1}", begins, end)
            elif text and text != "EDF Annotations":
                field = f"CHANNEL:{_FIELDS.get(name, name.upper())}"
                yield Text(f"{name} of channel {i + 1}", field, text, begins, end, label=labels[i])
        at += width * count
    yield from _edf_annotations(data, count)
    yield from left_over(data, [(0, _end_of_records(data, count))])


#: Fields of the header that hold a number: name, first byte, end.
_EDF_NUMBERS = (
    ("size", 184, 192),
    ("number of records", 236, 244),
    ("duration of a record", 244, 252),
    ("number of channels", 252, 256),
)
_EDF_COLUMNS = (
    ("label", 16, True),
    ("transducer", 80, True),
    ("dimension", 8, True),
    ("physical minimum", 8, False),
    ("physical maximum", 8, False),
    ("digital minimum", 8, False),
    ("digital maximum", 8, False),
    ("prefilter", 80, True),
    ("samples", 8, False),
    ("reserved", 32, True),
)
#: What a column is called where texts are searched by what stands in their field.
_FIELDS = {"label": "LABEL", "dimension": "UNIT"}
_NUMBER = re.compile(r"[-+]?[0-9]*[.,]?[0-9]*(?:[eE][-+]?[0-9]+)?")


def _no_number(data: bytes, place: str, at: int, end: int) -> Iterator[Text]:
    """What stands in a field for a number and is none."""
    text = decoded(data[at:end])
    if text and not _NUMBER.fullmatch(text):
        yield Text(place, "", text, at, end)


def _end_of_records(data: bytes, count: int) -> int:
    """Where the last record ends; the end of the header if that cannot be told."""
    first, base = 256 * (count + 1), 256 + count * 216
    samples = [_int(data[base + 8 * i : base + 8 * i + 8]) for i in range(count)]
    return first + max(0, _int(data[236:244])) * 2 * sum(samples)


def _words(data: bytes, start: int, end: int) -> list[tuple[str, int, int]]:
    return [(decoded(m[0]), start + m.start(), start + m.end()) for m in re.finditer(rb"[^\s\x00]+", data[start:end])]


def _edf_person(data: bytes, plus: bool) -> Iterator[Text]:
    """Code, sex, birth date and name (EDF+); in plain EDF any text, which then names a person."""
    place = "patient field of the header"
    words = _words(data, 8, 88)
    if not plus:
        text = decoded(data[8:88])
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
        text = decoded(data[88:168])
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
    labels = [decoded(data[256 + 16 * i : 272 + 16 * i]) for i in range(count)]
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
                    text = decoded(match[0])
                    if not re.fullmatch(r"[+-][0-9.]+", text):
                        yield Text("an annotation", "", text, at + match.start(), at + match.end())
            at += 2 * n


def _int(raw: bytes) -> int:
    text = raw.decode("ascii", errors="replace").strip()
    return int(text) if re.fullmatch(r"[0-9]{1,8}", text) else 0
