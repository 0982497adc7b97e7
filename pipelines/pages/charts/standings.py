"""Accepted, returned and withheld trials of each delivery, as labelled stacked bars."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, ORANGE, SIZE, shortened, width_of
from pipelines.pages.charts.scale import Scale
from pipelines.pages.words import SIGNS

STANDING_FILL = {"accepted": BLUE, "returned": ORANGE, "withheld": "#ffffff"}
_STEP, _BAR, _LONGEST_NAME = 26, 16, 150
#: Deliveries beyond these, the newest, are not drawn; their numbers are in the table.
MOST_BARS = 60


def standing_chart(rows: Sequence[tuple[str, dict[str, int]]], key: str, *, width: int) -> Markup:
    """One bar per delivery, in the order given.

    rows: (delivery id, standing -> number of trials), at least one. width: of the whole drawing, in pixels.
    """
    said = ["  ".join(f"{SIGNS[s]} {counts[s]}" for s in STANDING_FILL if counts.get(s, 0)) for _, counts in rows]
    longest = max(1, *(sum(counts.get(s, 0) for s in STANDING_FILL) for _, counts in rows))
    names = [shortened(marks.clean(name), _LONGEST_NAME) for name, _ in rows]
    left = EDGE + max(map(width_of, names)) + 8
    across = Scale(0, longest, left, max(left + 60, width - EDGE - 8 - max(map(width_of, said))))
    bottom = EDGE + _STEP * len(rows)
    ticks = across.ticks(min(width // 100, longest), whole=True)
    parts = axis.below(across, bottom, ticks, "Trials", grid_from=EDGE)
    for place, (name, label, (_, counts)) in enumerate(zip(names, said, rows, strict=True)):
        top = EDGE + _STEP * place
        base = top + _STEP / 2 + SIZE * 0.35
        parts.append(marks.text((left - 8, base), name, anchor="end"))
        so_far = 0
        for standing, fill in STANDING_FILL.items():
            if count := counts.get(standing, 0):
                corner = (across(so_far), top + (_STEP - _BAR) / 2)
                parts.append(marks.box(corner, across(count) - across(0), _BAR, fill=fill, edge=INK))
                so_far += count
        parts.append(marks.text((across(so_far) + 7, base), label or "no trials"))
    words = "; ".join(
        f"{name}: " + (", ".join(f"{n} {s}" for s, n in counts.items() if n) or "no trials") for name, counts in rows
    )
    height = bottom + axis.BELOW_TITLED + EDGE
    return marks.svg(width, height, parts, key, "Trials of each delivery by standing", words + ".")
