"""Pictures that prove a fault: what a check shows beside what it says, as plain values made of what it computed.

A picture is one or two panels. What a panel's kind is tells what stands across and upwards; what a part's role is tells
how its points are meant. Nothing here draws, and nothing is made where there is no fault. How a check makes a picture
is in ``checks.showing``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

#: Of a line: more than a drawing of a fix sheet has pixels. Of single values: more than can be told apart.
MOST_POINTS, MOST_VALUES = 400, 60
Point = tuple[float, float]
NAN = float("nan")
#: Less than a sample of any signal that is drawn with a moment.
_SAME_MOMENT_S = 4e-4


class Kind(StrEnum):
    """What a panel is; meanings are in ``schemas.codes.PANEL_KIND``."""

    OVER_TIME = "over_time"
    ONE_BY_ONE = "one_by_one"
    SPECTRUM = "spectrum"
    FROM_ABOVE = "from_above"
    FROM_SIDE = "from_side"
    TWO_CLOCKS = "two_clocks"


class Role(StrEnum):
    """What a part of a panel is; meanings are in ``schemas.codes.PART_ROLE``."""

    LINE = "line"
    BESIDE = "beside"
    VALUE = "value"
    EXPECTED = "expected"
    CONTACT = "contact"
    SPAN = "span"
    OUTLINE = "outline"
    STICK = "stick"
    MEASURE = "measure"


@dataclass(frozen=True, slots=True)
class Part:
    """Points that belong together. points: (across, upwards), NaN for what is not known or not meant."""

    role: Role
    name: str
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Panel:
    """One drawing. title: what is drawn; across: what stands across, where the kind does not tell; unit: UCUM unit of
    what stands upwards, and of what is measured in it.
    """

    kind: Kind
    title: str
    unit: str
    parts: tuple[Part, ...]
    across: str = ""

    @property
    def expected(self) -> Point | None:
        """Lowest and highest of what is expected of the numbers, infinite where it is open; None if nothing is told."""
        for part in self.parts:
            if part.role is Role.EXPECTED:
                (_, low), (_, high) = part.points
                return (-math.inf if math.isnan(low) else low), (math.inf if math.isnan(high) else high)
        return None

    @property
    def counted_in(self) -> str:
        """UCUM unit of the numbers that ``expected`` is about."""
        times = self.kind in (Kind.OVER_TIME, Kind.TWO_CLOCKS)
        return "s" if times and any(part.role is Role.MEASURE for part in self.parts) else self.unit

    @property
    def numbers(self) -> list[float]:
        """The numbers that ``expected`` is about: lengths that are measured, else single values, else the lines'."""
        found: list[float] = []
        for role in (Role.MEASURE, Role.VALUE, Role.LINE):
            for part in self.parts:
                if part.role is role:
                    found += [measured(part)] if role is Role.MEASURE else [y for _, y in part.points]
            if found:
                break
        return [number for number in found if math.isfinite(number)]

    @property
    def beyond(self) -> list[float]:
        """Those of the numbers that are not as expected."""
        if self.expected is None:
            return []
        low, high = self.expected
        return [number for number in self.numbers if not low <= number <= high]

    def furthest_beyond(self, near: float | None) -> Point | None:
        """The drawn value that is furthest from what is expected; of equal ones that nearest to ``near`` across.

        None where all are as expected, or where what is measured is a length and not a value.
        """
        if self.expected is None or any(part.role is Role.MEASURE for part in self.parts):
            return None
        low, high = self.expected
        role = Role.VALUE if any(part.role is Role.VALUE for part in self.parts) else Role.LINE
        drawn = [p for part in self.parts if part.role is role for p in part.points if not math.isnan(p[1])]
        most = max((max(y - high, low - y) for _, y in drawn), default=0.0)
        if most <= 0:
            return None
        equal = [p for p in drawn if max(p[1] - high, low - p[1]) >= most * (1 - 1e-9)]
        return min(equal, key=lambda p: abs(p[0] - (equal[0][0] if near is None else near)))


@dataclass(frozen=True, slots=True)
class Picture:
    """What proves one fault: the panel with the found number first."""

    panels: tuple[Panel, ...]

    @property
    def shows_the_fault(self) -> bool:
        """Whether a drawn number lies outside what is drawn as expected."""
        return any(panel.beyond for panel in self.panels)

    def marks_the_worst(self, moment_s: float | None) -> bool:
        """Whether what is drawn over time is furthest from what is expected at the moment that is marked."""
        worst = [p.furthest_beyond(moment_s) for p in self.panels if p.kind is Kind.OVER_TIME]
        return all(moment_s is not None and abs(one[0] - moment_s) < _SAME_MOMENT_S for one in worst if one)


def measured(part: Part) -> float:
    """The length of a measure: along the axis it lies on with its sign, else the distance of its two ends."""
    (x0, y0), (x1, y1) = part.points
    if y0 == y1 or math.isnan(y0 + y1):
        return x1 - x0
    return y1 - y0 if x0 == x1 else math.hypot(x1 - x0, y1 - y0)
