"""Marks of a drawing as SVG text, and the ``<svg>`` element around them. Every word is escaped here, and only here.

Places are in pixels of the drawing, from its upper left corner.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from html import escape

from markupsafe import Markup

from pipelines.pages.charts.look import INK, SIZE

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")
Place = tuple[float, float]


def clean(words: str) -> str:
    """The words without characters that an SVG may not hold, or that turn text round."""
    return _CONTROL.sub("�", words)


def svg(width: float, height: float, parts: Iterable[str], key: str, title: str, summary: str) -> Markup:
    """The drawing as one element with its own title and description. key: makes its ids unique on a page."""
    name = escape(clean(key))
    size = f'width="{width:.0f}" height="{height:.0f}" viewBox="0 0 {width:.0f} {height:.0f}"'
    return Markup(
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" font-family="sans-serif" font-size="{SIZE}" '
        f'fill="{INK}" aria-labelledby="{name}-title" aria-describedby="{name}-desc">'
        f'<title id="{name}-title">{escape(clean(title))}</title>'
        f'<desc id="{name}-desc">{escape(clean(summary))}</desc>{"".join(parts)}</svg>'
    )


def text(
    place: Place,
    words: str,
    *,
    anchor: str = "start",
    size: float = SIZE,
    colour: str = INK,
    bold: bool = False,
    turned: bool = False,
) -> str:
    """Words at a place on their base line. anchor: start, middle or end. turned: to be read from below upwards."""
    x, y = place
    look = f' font-size="{size:g}"' if size != SIZE else ""
    look += f' fill="{colour}"' if colour != INK else ""
    look += ' font-weight="bold"' if bold else ""
    look += f' text-anchor="{anchor}"' if anchor != "start" else ""
    look += f' transform="rotate(-90 {x:.1f} {y:.1f})"' if turned else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{look}>{escape(clean(words))}</text>'


def rule(start: Place, end: Place, *, colour: str, width: float = 1, dash: str = "", opacity: float = 1) -> str:
    """A straight line. dash: lengths of strokes and gaps."""
    look = f' stroke-dasharray="{dash}"' if dash else ""
    look += f' stroke-opacity="{opacity:g}"' if opacity != 1 else ""
    return (
        f'<path d="M{start[0]:.1f},{start[1]:.1f}L{end[0]:.1f},{end[1]:.1f}" fill="none" stroke="{colour}" '
        f'stroke-width="{width:g}"{look}/>'
    )


def line(places: Iterable[Place | None], *, colour: str, width: float, dash: str = "") -> str:
    """A line through places, broken where there is None; a single place between breaks is drawn as a dot."""
    pieces: list[list[Place]] = [[]]
    for place in places:
        if place is None:
            pieces.append([])
        else:
            pieces[-1].append(place)
    path = "".join(
        "M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in (piece if len(piece) > 1 else piece * 2))
        for piece in pieces
        if piece
    )
    look = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width:g}" stroke-linejoin="round" '
        f'stroke-linecap="round"{look}/>'
    )


def area(upper: Sequence[Place], lower: Sequence[Place], *, fill: str, opacity: float) -> str:
    """The area between two lines of the same places across."""
    path = "L".join(f"{x:.1f},{y:.1f}" for x, y in (*upper, *reversed(lower)))
    return f'<path d="M{path}Z" fill="{fill}" fill-opacity="{opacity:g}"/>'


def box(
    corner: Place, width: float, height: float, *, fill: str = "none", edge: str = "", dash: str = "", name: str = ""
) -> str:
    """A rectangle from its upper left corner. name: what it is to the style sheet, which fills it on dark pages."""
    look = f' class="{name}"' if name else ""
    look += f' stroke="{edge}"' if edge else ""
    look += f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<rect x="{corner[0]:.1f}" y="{corner[1]:.1f}" width="{max(width, 0):.1f}" height="{max(height, 0):.1f}" '
        f'fill="{fill}"{look}/>'
    )


def mark(
    shape: str,
    place: Place,
    size: float,
    *,
    fill: str = "none",
    edge: str = INK,
    width: float = 0.8,
    opacity: float = 1,
    name: str = "",
) -> str:
    """A mark for one value. shape: circle, square, diamond, cross, triangle-up or triangle-down; size: its area.

    name: as for ``box``.
    """
    look = f'class="{name}" ' if name else ""
    look += f'fill="{fill}" stroke="{edge}" stroke-width="{width:g}"'
    look += f' opacity="{opacity:g}"' if opacity != 1 else ""
    at = f"translate({place[0]:.2f},{place[1]:.2f})"
    return f'<path transform="{at}" d="{_SHAPES[shape](math.sqrt(size))}" {look}/>'


def _circle(side: float) -> str:
    r = side / math.sqrt(math.pi)
    return f"M{r:.2f},0A{r:.2f},{r:.2f},0,1,1,{-r:.2f},0A{r:.2f},{r:.2f},0,1,1,{r:.2f},0Z"


def _polygon(*corners: Place) -> str:
    return "M" + "L".join(f"{x:.2f},{y:.2f}" for x, y in corners) + "Z"


def _square(side: float) -> str:
    h = side / 2
    return _polygon((-h, -h), (h, -h), (h, h), (-h, h))


def _diamond(side: float) -> str:
    h = side / math.sqrt(2)
    return _polygon((0, -h), (h, 0), (0, h), (-h, 0))


def _cross(side: float) -> str:
    a, b = side / 2 * 1.2, side / 6 * 1.2
    return _polygon(
        (-a, -b), (-b, -b), (-b, -a), (b, -a), (b, -b), (a, -b), (a, b), (b, b), (b, a), (-b, a), (-b, b), (-a, b)
    )


def _triangle(side: float, up: int) -> str:
    h = side / 2 * 1.1
    return _polygon((0, -h * up), (h * 1.1, h * up), (-h * 1.1, h * up))


_SHAPES: Mapping[str, Callable[[float], str]] = {
    "circle": _circle,
    "square": _square,
    "diamond": _diamond,
    "cross": _cross,
    "triangle-up": lambda side: _triangle(side, 1),
    "triangle-down": lambda side: _triangle(side, -1),
}
