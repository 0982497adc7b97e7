"""The rows above a picture that say which line is which: by its strokes first, by its colour only beside that."""

from __future__ import annotations

from collections.abc import Sequence

from checks.evidence import Part, Role
from pipelines.pages.charts import marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, ORANGE, PURPLE, SIZE, VERMILLION, shortened, width_of

ROW, _SAMPLE = SIZE + 5, 30
#: Colour and strokes of the first, second ... line that was seen, and of those beside it.
_SEEN = ((BLUE, ""), (VERMILLION, "7 3"), (PURPLE, "2 3"), (ORANGE, "9 3 2 3"))
_BESIDE = ((INK, "5 3"), (INK, "1.5 3"))
#: Sides by shape, so that colour is never needed.
SHAPES = {"left": "square", "right": "circle", "": "diamond"}
BAND, BAND_EDGE = "#cfe0ee", "#33617f"


def looks(parts: Sequence[Part]) -> dict[int, tuple[str, str]]:
    """Number of each line among the parts -> colour and strokes."""
    found: dict[int, tuple[str, str]] = {}
    for role, ways in ((Role.LINE, _SEEN), (Role.BESIDE, _BESIDE)):
        for number, i in enumerate(i for i, part in enumerate(parts) if part.role is role):
            found[i] = ways[number % len(ways)]
    return found


def legend(parts: Sequence[Part], top: float, width: float, expected: str) -> tuple[list[str], float]:
    """Rows from ``top`` on, and where they end. expected: said beside a shaded swatch; empty for none."""
    drawn, y = [], top
    for i, (colour, dash) in looks(parts).items():
        if parts[i].name:
            middle = y + ROW / 2
            drawn.append(marks.rule((EDGE, middle), (EDGE + _SAMPLE, middle), colour=colour, width=2.2, dash=dash))
            drawn.append(_said(parts[i].name, y, width))
            y += ROW
    sides = sorted({part.name for part in parts if part.role is Role.VALUE and part.name in ("left", "right")})
    if sides:
        x = float(EDGE)
        for side in sides:
            drawn.append(marks.mark(SHAPES[side], (x + 7, y + ROW / 2), 60, fill=BLUE, width=0.6))
            drawn.append(marks.text((x + 18, y + ROW - 5), f"{side} ({side[0].upper()})"))
            x += 34 + width_of(f"{side} (L)")
        y += ROW
    if expected:
        swatch = marks.box((EDGE, y + 3), _SAMPLE, ROW - 6, fill=BAND, edge=BAND_EDGE, dash="3 2", name="expected")
        drawn.append(swatch)
        drawn.append(_said(f"expected: {expected}", y, width))
        y += ROW
    return drawn, y


def _said(words: str, y: float, width: float) -> str:
    x = EDGE + _SAMPLE + 6
    return marks.text((x, y + ROW - 5), shortened(marks.clean(words), width - x - EDGE))
