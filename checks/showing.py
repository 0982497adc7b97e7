"""How checks make pictures of what they computed: arrays in, parts and panels of ``checks.evidence`` out.

A line keeps its smallest and largest values and its gaps however long it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from checks.evidence import MOST_POINTS, MOST_VALUES, NAN, Kind, Panel, Part, Picture, Role
from schemas.trial import FORWARD, RIGHT, UP, FloatArray

#: A running step takes about 0.35 s, so the step before and the one after are in view.
HALF_WINDOW_S = 0.6
_PER_BUCKET = 3  # smallest, largest, and the first missing value of a bucket


def picture(*panels: Panel) -> Picture:
    """A picture of these panels, the one with the found number first."""
    return Picture(panels)


def over_time(title: str, unit: str, *parts: Part | None, low: float | None = None, high: float | None = None) -> Panel:
    """Values over the trial's time. low, high: what is expected of them, in ``unit``; of measures, in seconds."""
    return Panel(Kind.OVER_TIME, title, unit, (*_known(parts), *expected(low, high)))


def spectrum(title: str, unit: str, *parts: Part | None, low: float | None = None, high: float | None = None) -> Panel:
    """Values over frequencies in Hz."""
    return Panel(Kind.SPECTRUM, title, unit, (*_known(parts), *expected(low, high)))


def one_by_one(
    title: str,
    unit: str,
    numbers: ArrayLike,
    sides: Iterable[str | None] = (),
    *,
    low: float | None = None,
    high: float | None = None,
    across: str = "Footfall",
    first: int = 1,
) -> Panel:
    """One value for each footfall, stride or trial, in order; sides: left, right or None for each.

    Where there are very many, those around the one that is furthest from what is expected are shown.
    """
    values = np.asarray(numbers, float)
    names = [*sides] or [None] * len(values)
    start, stop = _worth_showing(values, low, high)
    own: dict[str, list[tuple[float, float]]] = {}
    for i in range(start, stop):
        own.setdefault(names[i] or "", []).append((float(i + first), float(values[i])))
    parts = [Part(Role.VALUE, side, tuple(points)) for side, points in sorted(own.items())]
    return Panel(Kind.ONE_BY_ONE, title, unit, (*parts, *expected(low, high)), across)


def number(title: str, unit: str, value: float, *, low: float | None = None, high: float | None = None) -> Panel:
    """One number beside what is expected of it."""
    return one_by_one(title, unit, [value], low=low, high=high)


def from_above(title: str, *parts: Part | None, low: float | None = None, high: float | None = None) -> Panel:
    """Places in m seen from above: forward to the right of the drawing, the runner's right below."""
    return Panel(Kind.FROM_ABOVE, title, "m", (*_known(parts), *expected(low, high)))


def from_side(title: str, *parts: Part | None, low: float | None = None, high: float | None = None) -> Panel:
    """Places in m seen from the runner's right: forward to the right of the drawing, up above."""
    return Panel(Kind.FROM_SIDE, title, "m", (*_known(parts), *expected(low, high)))


def two_clocks(title: str, *parts: Part, low: float | None = None, high: float | None = None) -> Panel:
    """Events of two recorders or methods on one time line, one part each; measures lie between two of them."""
    return Panel(Kind.TWO_CLOCKS, title, "s", (*parts, *expected(low, high)))


def worst_at(shown: Picture, otherwise: float) -> float:
    """The moment to mark in a picture: where a line over time is furthest from what is expected of it, if one is."""
    panels = (panel for panel in shown.panels if panel.kind is Kind.OVER_TIME)
    worst = next((at for panel in panels if (at := panel.furthest_beyond(otherwise)) is not None), None)
    return otherwise if worst is None else worst[0]


# --- parts -----------------------------------------------------------------------------------------------------------


def line(
    name: str,
    values: FloatArray,
    rate_hz: float,
    start_s: float = 0.0,
    *,
    around: float | None = None,
    half_s: float = HALF_WINDOW_S,
    beside: bool = False,
) -> Part:
    """Samples (n,) as a line. around: of ``half_s`` to both sides of this moment only, if it is within the samples.

    beside: a line to compare with, of which nothing is expected.
    """
    start, stop = 0, len(values)
    if around is not None and 0 <= around - start_s <= stop / rate_hz:
        start = max(0, int(np.floor((around - start_s - half_s) * rate_hz)))
        stop = min(stop, int(np.ceil((around - start_s + half_s) * rate_hz)) + 1)
    return curve(name, start_s + np.arange(start, stop) / rate_hz, values[start:stop], beside=beside)


def curve(name: str, across: ArrayLike, values: ArrayLike, *, beside: bool = False) -> Part:
    """A line through (across, values), thinned to what can be drawn."""
    x, y = np.asarray(across, float), np.asarray(values, float)
    kept = _thinned(y)
    points = tuple((float(x[i]), float(y[i]) if np.isfinite(y[i]) else NAN) for i in kept)
    return Part(Role.BESIDE if beside else Role.LINE, name, points)


def nearest_on(corners: FloatArray, point: FloatArray) -> FloatArray:
    """(2,) m: the place on the edges of a plate that is nearest to a point (2,), forward and right.

    corners: (4, 3) m.
    """
    flat = np.asarray(corners, float)[:, [FORWARD, RIGHT]]
    along = np.roll(flat, -1, axis=0) - flat
    share = np.einsum("ij,ij->i", point - flat, along) / np.maximum(np.einsum("ij,ij->i", along, along), 1e-12)
    places = flat + np.clip(share, 0, 1)[:, None] * along
    found: FloatArray = places[np.argmin(np.linalg.norm(places - point, axis=1))]
    return found


def pair(point: ArrayLike) -> tuple[float, float]:
    """A place in the plane as two plain numbers."""
    a, b = np.asarray(point, float)
    return float(a), float(b)


def span(name: str, start_s: float, stop_s: float) -> Part:
    """A stretch of time that the fault is about."""
    return Part(Role.SPAN, name, ((float(start_s), NAN), (float(stop_s), NAN)))


def measure(name: str, start: tuple[float, float], end: tuple[float, float]) -> Part:
    """A distance that is drawn with its number; see ``checks.evidence.measured``."""
    (x0, y0), (x1, y1) = start, end
    return Part(Role.MEASURE, name, ((float(x0), float(y0)), (float(x1), float(y1))))


def lasting(name: str, start_s: float, stop_s: float) -> Part:
    """A length of time that is drawn with its number."""
    return measure(name, (start_s, NAN), (stop_s, NAN))


def outline(name: str, corners: FloatArray) -> Part:
    """A plate or a foot from above; corners: (n, 3) m."""
    return Part(Role.OUTLINE, name, tuple((float(c[FORWARD]), float(c[RIGHT])) for c in corners))


def path(name: str, points: FloatArray, *, beside: bool = False) -> Part:
    """A path in the plane of the panel; points: (n, 2) m."""
    step = max(1, -(-len(points) // MOST_POINTS))
    drawn = tuple((float(a), float(b)) if np.isfinite(a + b) else (NAN, NAN) for a, b in points[::step])
    return Part(Role.BESIDE if beside else Role.LINE, name, drawn)


def stick(name: str, points: FloatArray, *, above: bool) -> Part:
    """Markers (n, 3) m joined by a line, in the plane seen from above or else from the side."""
    other = RIGHT if above else UP
    seen = points[np.isfinite(points).all(axis=1)]
    return Part(Role.STICK, name, tuple((float(p[FORWARD]), float(p[other])) for p in seen))


def events(name: str, times_s: Iterable[float]) -> Part:
    """Moments of one recorder, for ``two_clocks``."""
    return Part(Role.LINE, name, tuple((float(t), NAN) for t in times_s)[:MOST_VALUES])


def expected(low: float | None, high: float | None) -> tuple[Part, ...]:
    """From where to where numbers are as expected; nothing if neither is told."""
    if low is None and high is None:
        return ()
    ends = ((NAN, NAN if end is None else float(end)) for end in (low, high))
    return (Part(Role.EXPECTED, "", tuple(ends)),)


def _known(parts: Iterable[Part | None]) -> tuple[Part, ...]:
    return tuple(part for part in parts if part is not None and part.points)


def _worth_showing(values: FloatArray, low: float | None, high: float | None) -> tuple[int, int]:
    if len(values) <= MOST_VALUES:
        return 0, len(values)
    off = np.maximum(values - (np.inf if high is None else high), (-np.inf if low is None else low) - values)
    worst = int(np.nanargmax(off)) if np.isfinite(off).any() else 0
    start = min(max(0, worst - MOST_VALUES // 2), len(values) - MOST_VALUES)
    return start, start + MOST_VALUES


def _thinned(values: FloatArray) -> Sequence[int]:
    """Which of the values to keep: all if few, otherwise the extremes and the gaps of equal buckets."""
    if len(values) <= MOST_POINTS:
        return range(len(values))
    kept: set[int] = set()
    edges = np.linspace(0, len(values), MOST_POINTS // _PER_BUCKET + 1).astype(int)
    for low, high in pairwise(edges):
        bucket = values[low:high]
        finite = np.flatnonzero(np.isfinite(bucket))
        if len(finite) < len(bucket):
            kept.add(int(low + np.flatnonzero(~np.isfinite(bucket))[0]))
        if len(finite):
            kept.add(int(low + finite[np.argmin(bucket[finite])]))
            kept.add(int(low + finite[np.argmax(bucket[finite])]))
    return sorted(kept)
