"""What charts look like: colours and sizes, and how wide words are. Nothing is drawn here.

Colours are those of Okabe & Ito (2008); no chart needs them, since shapes, labels and lightness say the same.
"""

from __future__ import annotations

INK, MUTED, GRID = "#1d2b36", "#4c5b67", "#e7e3d8"
BLUE, ORANGE, VERMILLION, GREEN, PURPLE, BLACK = "#0072B2", "#E69F00", "#D55E00", "#009E73", "#CC79A7", "#000000"
SITE_COLOURS = (BLUE, VERMILLION, BLACK, GREEN, PURPLE)
SITE_SHAPES = ("circle", "square", "triangle-up", "diamond", "cross")
#: Font size of labels, in pixels of the drawing. A phone shows drawings at about three quarters of their size.
SIZE = 13
#: Room around a drawing, for line ends and half letters.
EDGE = 4

_NARROW, _WIDE = set("ijlftrI.,:;'|!()[] "), set("mwMWOQGD@%▲▼◀▶●◇■…")


def width_of(words: str, size: float = SIZE, *, bold: bool = False) -> float:
    """About how wide the words are, in pixels; rather more than less, since the reader's font is not known."""
    parts = sum(0.33 if c in _NARROW else 0.92 if c in _WIDE else 0.7 if c.isupper() else 0.58 for c in words)
    return parts * size * (1.08 if bold else 1.0)


def shortened(words: str, room: float, size: float = SIZE, *, bold: bool = False) -> str:
    """The words, or as many of their letters as there is room for, and an ellipsis."""
    if width_of(words, size, bold=bold) <= room:
        return words
    kept = words
    while kept and width_of(kept + "…", size, bold=bold) > room:
        kept = kept[:-1]
    return kept + "…"
