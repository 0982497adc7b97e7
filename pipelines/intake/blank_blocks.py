"""Blocks of a file that a disk or a transfer lost: whole blocks of 512 bytes that hold nothing but one byte.

A marker that was not seen, or a channel that nobody plugged in, are runs of zeros as well, but they begin and end where
a frame or a point does and not at the borders of a disk's blocks, and they hold what these columns hold elsewhere.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from schemas.self_description import Blank

BLOCK = 512
#: Own choice: so many numbers that are others elsewhere; a block of integers holds 256, one of floats 128.
FEWEST_NUMBERS = 12
#: Own choice: how many neighbours are asked on each side, and what part of them must not hold the same.
NEIGHBOURS, LEAST_OTHERS = 8, 0.5
#: Own choice: of a file that is nothing but runs, the first tell enough.
MOST_RUNS = 500
_REPEATED = 0x0101010101010101


def blank_blocks(data: bytes, first_byte: int, stored: NDArray[np.generic], points: int = 0) -> tuple[Blank, ...]:
    """Every run of lost blocks among the numbers ``stored`` (rows, columns), which begin at ``first_byte`` of the file.

    points: so many columns may be blank together in whole rows, as where no marker was seen. A column is a
    coordinate, a channel's sample in the frame, or a place in a data record: where most of its rows hold the filling
    anyhow, it tells nothing.
    """
    if not stored.size:
        return ()
    size, columns = stored.dtype.itemsize, stored.shape[1]
    begin, end = -(-first_byte // BLOCK), (first_byte + stored.size * size) // BLOCK
    if end <= begin:
        return ()
    words = np.frombuffer(data, "<u8", (end - begin) * BLOCK // 8, begin * BLOCK).reshape(-1, BLOCK // 8)
    first = words[:, 0]
    suspect = first == (first & np.uint64(0xFF)) * np.uint64(_REPEATED)
    suspect[suspect] = (words[suspect] == first[suspect, None]).all(axis=1)
    if not suspect.any():
        return ()
    filling = (first & np.uint64(0xFF)).astype(int)
    numbers = np.frombuffer(data, f"<u{size}", stored.size, first_byte)
    found = []
    columns_of: dict[int, tuple[NDArray[np.bool_], NDArray[np.int_]]] = {}
    for start, stop in _runs(suspect, filling)[:MOST_RUNS]:
        low, high = -(-((begin + start) * BLOCK - first_byte) // size), ((begin + stop) * BLOCK - first_byte) // size
        if (own := int(filling[start])) not in columns_of:
            same = numbers == _pattern(own, size)
            columns_of[own] = same, same.reshape(-1, columns).sum(axis=0)
        held, times = columns_of[own]
        alive = _alive(held, times, columns, low, high)
        count = int(alive[np.arange(low, high) % columns].sum())
        if count >= FEWEST_NUMBERS and _torn_out(held, alive, columns, low, high, points):
            place = (begin + start) * BLOCK, (stop - start) * BLOCK, own
            found.append(Blank(*place, low // columns + 1, (high - 1) // columns + 1, count))
    return tuple(found)


def _runs(suspect: NDArray[np.bool_], filling: NDArray[np.int_]) -> list[tuple[int, int]]:
    """Neighbouring blocks of one filling."""
    kind = np.where(suspect, filling, -1)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(kind)) + 1, [len(kind)]])
    return [(int(a), int(b)) for a, b in pairwise(edges) if kind[a] >= 0]


def _pattern(filling: int, size: int) -> int:
    return int.from_bytes(bytes([filling]) * size, "little")


def _alive(held: NDArray[np.bool_], times: NDArray[np.int_], columns: int, low: int, high: int) -> NDArray[np.bool_]:
    """(columns,) whether most rows hold something else, those between ``low`` and ``high`` not counted.

    times: (columns,) in how many rows each holds the filling.
    """
    places = np.arange(low, high) % columns
    others = len(held) // columns - np.bincount(places, minlength=columns)
    elsewhere = times - np.bincount(places, held[low:high], columns)
    return np.asarray((elsewhere < 0.5 * np.maximum(others, 1)) & (others > 0))


def _torn_out(
    held: NDArray[np.bool_], alive: NDArray[np.bool_], columns: int, low: int, high: int, points: int
) -> bool:
    """Whether numbers stop at both ends of the run, and it is not what a gap of all markers or a start looks like."""
    reach = NEIGHBOURS * max(1, columns // max(1, int(alive.sum()))) + columns
    before = np.arange(max(0, low - reach), low)
    after = np.arange(high, min(len(held), high + reach))
    before, after = before[alive[before % columns]][-NEIGHBOURS:], after[alive[after % columns]][:NEIGHBOURS]
    # the first and the last block of all may be a filter that begins, or a file that was filled up
    if any(not len(side) or (~held[side]).mean() < LEAST_OTHERS for side in (before, after)):
        return False
    places = np.arange(low, high) % columns
    others = int((alive[places] & (places >= points)).sum())
    return others >= FEWEST_NUMBERS or not all(_at_border(alive, columns, place) for place in (low, high))


def _at_border(alive: NDArray[np.bool_], columns: int, place: int) -> bool:
    """Whether between this place and the border of its row no number stands that tells anything."""
    column = place % columns
    return not alive[:column].any() or not alive[column:].any()
