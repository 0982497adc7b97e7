"""Makes hostile C3D files from sound ones. Each function takes the sound bytes and a seeded generator.

It knows the format well enough to break it where it hurts: links, sizes, counts, scales and names are found and set to
extremes, not only hit by chance. Nothing of the reader under attack is used.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

Rng = np.random.Generator
EXTREME_WORDS = (0, 1, 2, 255, 256, 511, 512, 0x7FFF, 0x8000, 0xFFFE, 0xFFFF)
EXTREME_FLOATS = (
    0.0,
    -0.0,
    1e-45,
    -1e-38,
    1.0,
    -1.0,
    65536.0,
    1e12,
    -1e12,
    3.4e38,
    -3.4e38,
    *map(float, ("inf", "nan")),
)
HOSTILE_TEXTS = (
    b"<script>alert(1)</script>",
    b"'); DROP TABLE trials;--",
    b"\xff\xfe\x80\x81",
    b"\x1b[2J\x1b[31m",
    b"=cmd|' /C calc'!A0",
    b"../../../../etc/passwd",
    b"\x00\n\r\t\x07",
    "‮gnp.exe".encode(),
    b"%s%n%x{0.__class__}",
)


@dataclass(frozen=True)
class Field:
    """Where one parameter's parts stand. size: bytes of one entry, negative for text; count: entries."""

    name: str
    record: int
    link: int
    dims: int
    value: int
    size: int
    count: int


def fields(content: bytes) -> Iterator[Field]:
    """Every parameter of a sound file."""
    at = (content[0] - 1) * 512 + 4
    order = ">" if content[at - 1] == 86 else "<"
    for _ in range(5000):
        if at + 4 > len(content):
            return
        length, group = struct.unpack_from("bb", content, at)
        link = at + 2 + abs(length)
        if length == 0 or group == 0 or link + 4 > len(content):
            return
        (step,) = struct.unpack_from(order + "H", content, link)
        if group > 0:
            size, dimensions = struct.unpack_from("bB", content, link + 2)
            dims = content[link + 4 : link + 4 + dimensions]
            name = content[at + 2 : link].decode("latin-1").upper()
            count = int(np.prod(np.frombuffer(dims, "u1"), dtype=np.int64))
            yield Field(name, at, link, link + 3, link + 4 + dimensions, size, count)
        if step == 0:
            return
        at = link + step


def cut(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Anywhere: in the header, in the parameters, in the data, or a few bytes before the end."""
    ends = (512, 512 * 10, len(data), len(data))
    end = min(ends[rng.integers(4)], len(data))
    return data[: int(rng.integers(0, end + 1))] if rng.random() < 0.8 else data[: -int(rng.integers(1, 600))]


def flip_bits(data: bytes, other: bytes, rng: Rng) -> bytes:
    """A few bits, mostly where the structure is."""
    changed = bytearray(data)
    for at in _places(data, rng, int(rng.integers(1, 12))):
        changed[at] ^= 1 << int(rng.integers(8))
    return bytes(changed)


def change_bytes(data: bytes, other: bytes, rng: Rng) -> bytes:
    """A few bytes, or a run of them, to random or extreme values."""
    changed = bytearray(data)
    for at in _places(data, rng, int(rng.integers(1, 8))):
        run = int(rng.integers(1, 64)) if rng.random() < 0.3 else 1
        if rng.random() < 0.5:
            filler = rng.integers(0, 256, run, np.uint8).tobytes()
        else:
            filler = bytes([int(rng.choice([0, 1, 127, 128, 255]))]) * run
        changed[at : at + run] = filler[: len(changed) - at]
    return bytes(changed)


def header_words(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Counts, frame numbers, blocks, scale and rate of the header set to extremes."""
    changed = bytearray(data)
    for _ in range(int(rng.integers(1, 4))):
        if rng.random() < 0.25:
            at = int(rng.choice([12, 20]))  # scale, rate
            struct.pack_into(_order(data) + "f", changed, at, float(rng.choice(EXTREME_FLOATS)))
        elif rng.random() < 0.2:
            changed[int(rng.choice([0, 1]))] = int(rng.integers(0, 256))
        else:
            word = int(rng.choice([2, 3, 4, 5, 6, 9, 10, 150, 151]))
            struct.pack_into(_order(data) + "H", changed, 2 * word - 2, int(rng.choice(EXTREME_WORDS)))
    return bytes(changed)


def parameter_fields(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Links, name lengths, group numbers, kinds and dimensions of a few parameters set to extremes."""
    changed, found = bytearray(data), list(fields(data))
    for _ in range(int(rng.integers(1, 5)) if found else 0):
        field = found[rng.integers(len(found))]
        what = rng.integers(5)
        if what == 0:
            struct.pack_into(_order(data) + "H", changed, field.link, int(rng.choice(EXTREME_WORDS)))
        elif what in (1, 2):
            changed[field.record + what - 1] = int(rng.integers(0, 256))
        elif what == 3:
            changed[field.dims - 1] = int(rng.choice([0, 1, 2, 3, 4, 8, 127, 128, 255]))
        else:
            for at in range(field.dims, min(field.value, len(changed))):
                changed[at] = int(rng.choice([0, 1, 2, 127, 128, 255]))
    return bytes(changed)


def huge_sizes(data: bytes, other: bytes, rng: Rng) -> bytes:
    """What counts or scales something, in header and parameters together: the largest, none, or no number."""
    counting = {
        "USED",
        "FRAMES",
        "RATE",
        "SCALE",
        "DATA_START",
        "LONG_FRAMES",
        "GEN_SCALE",
        "OFFSET",
        "BITS",
        "CHANNEL",
    }
    counting |= {"TYPE", "ZERO", "CORNERS", "ORIGIN", "CAL_MATRIX", "ACTUAL_END_FIELD", "ACTUAL_START_FIELD", "TIMES"}
    changed = bytearray(data)
    found = [field for field in fields(data) if field.name in counting and field.count]
    for _ in range(int(rng.integers(1, 5)) if found else 0):
        field = found[rng.integers(len(found))]
        entry = field.value + abs(field.size) * int(rng.integers(field.count))
        if field.size == 4 and entry + 4 <= len(changed):
            struct.pack_into(_order(data) + "f", changed, entry, float(rng.choice(EXTREME_FLOATS)))
        elif field.size == 2 and entry + 2 <= len(changed):
            struct.pack_into(_order(data) + "H", changed, entry, int(rng.choice(EXTREME_WORDS)))
    return header_words(bytes(changed), other, rng) if rng.random() < 0.5 else bytes(changed)


def count_as_float(data: bytes, other: bytes, rng: Rng) -> bytes:
    """A count of 16 bits turned into an enormous float, which takes the place of what follows it."""
    changed = bytearray(data)
    found = [field for field in fields(data) if field.size == 2 and field.count <= 2]
    if found:
        field = found[rng.integers(len(found))]
        changed[field.link + 2] = 4
        struct.pack_into(
            _order(data) + "f", changed, min(field.value, len(changed) - 4), float(rng.choice(EXTREME_FLOATS))
        )
    for word in (4, 5) if rng.random() < 0.5 else ():
        struct.pack_into(_order(data) + "H", changed, 2 * word - 2, int(rng.integers(0, 2)))
    return bytes(changed)


def move_sections(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Blocks of 512 bytes taken out, doubled, exchanged, or put in."""
    blocks = [data[at : at + 512] for at in range(0, len(data), 512)]
    for _ in range(int(rng.integers(1, 4))):
        first = int(rng.integers(min(len(blocks), 30)))
        second = int(rng.integers(len(blocks)))
        what = rng.integers(4)
        if what == 0:
            blocks[first], blocks[second] = blocks[second], blocks[first]
        elif what == 1 and len(blocks) > 2:
            del blocks[first]
        elif what == 2:
            blocks.insert(first, blocks[second])
        else:
            blocks.insert(first, bytes(512) if rng.random() < 0.5 else b"\xff" * 512)
    return b"".join(blocks)


def join_files(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Two files one after the other, or the beginning of one with the end of the other."""
    if rng.random() < 0.3:
        return data + other
    at = 512 * int(rng.integers(1, 12))
    return data[:at] + (other[at:] if rng.random() < 0.5 else other)


def other_processor(data: bytes, other: bytes, rng: Rng) -> bytes:
    """The same bytes said to come from another processor, or positions of another storage."""
    changed = bytearray(data)
    start = (data[0] - 1) * 512
    if rng.random() < 0.6 and start + 4 <= len(data):
        changed[start + 3] = int(rng.choice([84, 85, 86, 0, 83, 87, 255]))
    if rng.random() < 0.6:
        changed[15 if data[start + 3] == 84 else 13] ^= 0x80  # the scale's sign: integer or float storage
    return bytes(changed)


def hostile_texts(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Labels, units and descriptions that are script, SQL, paths, terminal codes, or no text at all."""
    changed = bytearray(data)
    found = [field for field in fields(data) if field.size == -1 and field.count > 3]
    for _ in range(int(rng.integers(1, 6)) if found else 0):
        field = found[rng.integers(len(found))]
        text = (HOSTILE_TEXTS[rng.integers(len(HOSTILE_TEXTS))] * 8)[: field.count]
        changed[field.value : field.value + len(text)] = text
    return bytes(changed[: len(data)])


def _order(data: bytes) -> str:
    start = (data[0] - 1) * 512
    return ">" if start + 3 < len(data) and data[start + 3] == 86 else "<"


def _places(data: bytes, rng: Rng, count: int) -> list[int]:
    end = min((512, 512 * 12, len(data))[rng.integers(3)], len(data))
    return [int(at) for at in rng.integers(0, end, count)]


KINDS: dict[str, Callable[[bytes, bytes, Rng], bytes]] = {
    "cut short": cut,
    "bits flipped": flip_bits,
    "bytes changed": change_bytes,
    "header words at extremes": header_words,
    "parameter records broken": parameter_fields,
    "counts and scales at extremes": huge_sizes,
    "counts as huge floats": count_as_float,
    "sections moved": move_sections,
    "files joined": join_files,
    "another processor or storage": other_processor,
    "hostile texts": hostile_texts,
}
