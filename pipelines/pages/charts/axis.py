"""Axes of a drawing: a line with numbers and words below it, or to its left, and grid lines through the drawing."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.pages.charts.look import GRID, MUTED, SIZE, width_of
from pipelines.pages.charts.marks import rule, text
from pipelines.pages.charts.scale import Scale, tick_words

_TICK, _GAP = 5, 3
#: Height of an axis below a drawing, without and with a title.
BELOW, BELOW_TITLED = _TICK + SIZE + 6, _TICK + SIZE + 8 + SIZE + 4


def below(
    scale: Scale, y: float, ticks: Sequence[float], title: str | None, *, grid_from: float | None = None
) -> list[str]:
    """An axis below the drawing, its line at y. grid_from: upper end of grid lines; None for none."""
    parts = [] if grid_from is None else [_grid((scale(t), grid_from), (scale(t), y)) for t in ticks]
    parts.append(rule((scale.start, y), (scale.end, y), colour=MUTED))
    for tick, words in zip(ticks, tick_words(ticks), strict=True):
        x = scale(tick)
        parts.append(rule((x, y), (x, y + _TICK), colour=MUTED))
        parts.append(text((x, y + _TICK + SIZE), words, anchor="middle"))
    if title:
        middle = (scale.start + scale.end) / 2
        parts.append(text((middle, y + _TICK + SIZE + 8 + SIZE), title, anchor="middle"))
    return parts


def left(
    scale: Scale, x: float, ticks: Sequence[float], title: str | None, *, grid_to: float | None = None
) -> list[str]:
    """An axis to the left of the drawing, its line at x. grid_to: right-hand end of grid lines; None for none."""
    parts = [] if grid_to is None else [_grid((x, scale(t)), (grid_to, scale(t))) for t in ticks]
    parts.append(rule((x, scale.start), (x, scale.end), colour=MUTED))
    words = tick_words(ticks)
    for tick, said in zip(ticks, words, strict=True):
        y = scale(tick)
        parts.append(rule((x - _TICK, y), (x, y), colour=MUTED))
        parts.append(text((x - _TICK - _GAP, y + SIZE * 0.35), said, anchor="end"))
    if title:
        middle = (scale.start + scale.end) / 2
        at = x - _TICK - _GAP - max(map(width_of, words), default=0) - 7
        parts.append(text((at, middle), title, anchor="middle", turned=True))
    return parts


def left_room(ticks: Sequence[float], title: str | None) -> float:
    """Width that ``left`` takes of the drawing."""
    return _TICK + _GAP + max(map(width_of, tick_words(ticks)), default=0) + (7 + SIZE if title else 2)


def _grid(start: tuple[float, float], end: tuple[float, float]) -> str:
    return rule(start, end, colour=GRID)
