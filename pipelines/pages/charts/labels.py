"""Where words stand beside places of a drawing: not on each other, as little as can be on what is drawn, and inside."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from pipelines.pages.charts import marks
from pipelines.pages.charts.look import INK, MUTED, SIZE, shortened, width_of
from pipelines.pages.charts.marks import Place

_ROOM, _EVERY = 3, 4
#: Own choices: how far words may stand from their place, in pixels; further than the first they get a line to it.
_AWAY = (8, 20, 34, 50, 70)
_WAYS = ((1, -0.7), (-1, -0.7), (1, 0.7), (-1, 0.7), (0, -1), (0, 1), (1, 0), (-1, 0))
Box = tuple[float, float, float, float]  # left, top, right, bottom


class Labels:
    """The words of one drawing. within: where they may stand."""

    def __init__(self, within: Box) -> None:
        self._within = within
        self._words: list[Box] = []
        self._drawn: list[Place] = []

    def keep_off(self, line: Sequence[Place | None]) -> None:
        """What is drawn between places, broken at None: words rather stand beside it."""
        self._drawn += [place for place in line if place is not None]
        for one, other in pairwise(line):
            if one is not None and other is not None:
                steps = min(int(math.dist(one, other) / _EVERY), 200)
                self._drawn += [
                    (one[0] + (other[0] - one[0]) * i / steps, one[1] + (other[1] - one[1]) * i / steps)
                    for i in range(1, steps)
                ]

    def beside(self, at: Place, words: str, *, bold: bool = False) -> list[str]:
        """The words beside a place, with a thin line to it where they could not stand near it."""
        words = shortened(words, (self._within[2] - self._within[0]) / 2, bold=bold)
        width = width_of(words, bold=bold)
        away, box = min(
            ((away, self._moved_in(_box(at, way, away, width))) for away in _AWAY for way in _WAYS),
            key=lambda found: self._cost(found[1], found[0]),
        )
        self._words.append(box)
        text = marks.text((box[0], box[3] - _ROOM), words, bold=bold, colour=INK if bold else MUTED)
        if away == _AWAY[0]:
            return [text]
        near = min(max(at[0], box[0]), box[2]), min(max(at[1], box[1]), box[3])
        return [marks.rule(near, at, colour=MUTED, width=0.8), text]

    def _moved_in(self, box: Box) -> Box:
        left, top, right, bottom = self._within
        across = max(left - box[0], 0) or min(right - box[2], 0)
        down = max(top - box[1], 0) or min(bottom - box[3], 0)
        return box[0] + across, box[1] + down, box[2] + across, box[3] + down

    def _cost(self, box: Box, away: float) -> float:
        """Words on words are worst, then words on what is drawn, then words far away."""
        on_words = sum(_shared(box, other) for other in self._words)
        on_drawn = sum(box[0] - 1 <= x <= box[2] + 1 and box[1] - 1 <= y <= box[3] + 1 for x, y in self._drawn)
        return 100 * on_words + 6 * on_drawn + away


def _box(at: Place, way: Place, away: float, width: float) -> Box:
    """The words' box, so far from the place in that direction."""
    height = SIZE + 2 * _ROOM
    x = at[0] + away * way[0] + (0 if way[0] > 0 else -width if way[0] < 0 else -width / 2)
    y = at[1] + away * way[1] + (-height if way[1] < 0 else 0 if way[1] > 0 else -height / 2)
    return x, y, x + width, y + height


def _shared(one: Box, other: Box) -> float:
    """Area that two boxes share."""
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return across * down if across > 0 and down > 0 else 0.0
