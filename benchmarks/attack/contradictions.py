"""What a C3D file says twice, read anew: which of its statements contradict each other. Nothing of the reader under
attack is used here but the walk over records that makes mutants, so that both cannot be wrong in the same way.

Own reading of the public C3D user guide, written for files as they are sound ones changed in places.
"""

from __future__ import annotations

import math
import struct
from collections import Counter
from collections.abc import Iterator

import numpy as np

Numbers = tuple[float, ...]
Said = dict[str, Numbers]


def contradictions(content: bytes) -> set[str]:
    """Names of the pairs of statements that do not agree; empty for what is no C3D file at all."""
    try:
        return set(_found(content))
    except (struct.error, IndexError, ValueError, OverflowError):
        return set()


def _found(content: bytes) -> Iterator[str]:
    start = (content[0] - 1) * 512
    order = ">" if content[start + 3] == 86 else "<"
    vax = content[start + 3] == 85
    words = struct.unpack_from(order + "12H", content, 0)
    scale, rate = _float(content, 12, order, vax), _float(content, 20, order, vax)
    said, twice = _parameters(content, start + 4, order, vax)
    yield from (f"{name} twice" for name in twice)

    def one(name: str) -> float | None:
        return said[name][0] if said.get(name) else None

    if _apart(scale, one("POINT:SCALE"), 1e-6):
        yield "scale"
    if _apart(rate, one("POINT:RATE"), 1e-3):
        yield "rate"
    if _apart(words[1], one("POINT:USED"), 0):
        yield "points"
    frames = words[4] - words[3] + 1
    if words[4] != 65535 and _apart(frames, one("POINT:FRAMES"), 0):
        yield "frames"
    if _apart(words[8], one("POINT:DATA_START"), 0):
        yield "data start"
    channels, samples = one("ANALOG:USED"), words[9]
    if channels is not None and channels * samples != words[2]:
        yield "analog values in a frame"
    analog, points_rate = one("ANALOG:RATE"), one("POINT:RATE")
    if words[2] and analog and points_rate and _apart(analog / points_rate, samples, 0.01):
        yield "analog rate"
    size = 4 if scale < 0 else 2
    left = len(content) - (words[8] - 1) * 512 - frames * size * (4 * words[1] + words[2])
    if left < 0 or (left >= 512 and any(content[len(content) - left :])):
        yield "bytes"
    if words[2]:
        general = one("ANALOG:GEN_SCALE")
        if general == 0 or len(said.get("ANALOG:SCALE", ())) < (channels or 0):
            yield "analog scales"
    yield from _of_plates(said)


def _of_plates(said: Said) -> Iterator[str]:
    used = said.get("FORCE_PLATFORM:USED", (0.0,))[0]
    entries = {"TYPE": 1, "CORNERS": 12, "ORIGIN": 3}
    for name, width in entries.items():
        if used and len(said.get(f"FORCE_PLATFORM:{name}", ())) != used * width:
            yield f"plates and {name}"
    channels = Counter(c for c in said.get("FORCE_PLATFORM:CHANNEL", ()) if c > 0)
    if used and max(channels.values(), default=1) > 1:
        yield "channel twice"
    if channels and max(channels) > said.get("ANALOG:USED", (math.inf,))[0]:
        yield "channel not there"


def _apart(one: float, other: float | None, share: float) -> bool:
    if other is None or not (math.isfinite(one) and math.isfinite(other)):
        return False
    return abs(one - other) > share * max(abs(one), abs(other))


def _float(content: bytes, at: int, order: str, vax: bool) -> float:
    if not vax:
        return float(struct.unpack_from(order + "f", content, at)[0])
    high, low = struct.unpack_from("<HH", content, at)
    bits = high << 16 | low
    exponent = bits >> 23 & 0xFF
    return 0.0 if not exponent else (-1.0) ** (bits >> 31) * (0.5 + (bits & 0x7FFFFF) / 2**24) * 2.0 ** (exponent - 128)


def _parameters(content: bytes, at: int, order: str, vax: bool) -> tuple[Said, list[str]]:
    """Every numeric parameter, and the places that stand there twice with two contents."""
    groups: dict[int, str] = {}
    held: list[tuple[int, str, Numbers]] = []
    for _ in range(3000):
        if at + 4 > len(content):
            break
        length, group = struct.unpack_from("bb", content, at)
        if length == 0 or group == 0:
            break
        name = content[at + 2 : at + 2 + abs(length)].decode("latin-1").strip().upper()
        link = at + 2 + abs(length)
        (step,) = struct.unpack_from(order + "H", content, link)
        if group < 0:
            groups[-group] = name
        else:
            held.append((group, name, _numbers(content, link + 2, order, vax)))
        if not step:
            break
        at = link + step
    said: Said = {}
    twice = []
    for group, name, numbers in held:
        place = f"{groups.get(group, group)}:{name}"
        if place in said and said[place] != numbers:
            twice.append(place)
        said.setdefault(place, numbers)
    return said, twice


def _numbers(content: bytes, at: int, order: str, vax: bool) -> Numbers:
    size, dimensions = struct.unpack_from("bB", content, at)
    count = int(np.prod(np.frombuffer(content, np.uint8, dimensions, at + 2), dtype=np.int64))
    at += 2 + dimensions
    if size not in (1, 2, 4) or count > 100_000:
        return ()
    if size == 4:
        return tuple(_float(content, at + 4 * i, order, vax) for i in range(count))
    return tuple(float(v) for v in struct.unpack_from(order + f"{count}{'B' if size == 1 else 'H'}", content, at))
