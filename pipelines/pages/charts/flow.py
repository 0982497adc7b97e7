"""Trials of a site over the weeks of the study, as a row of small columns that stands in a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from markupsafe import Markup

from pipelines.pages.charts import marks
from pipelines.pages.charts.look import BLUE, INK, MUTED, ORANGE

_WIDTH, _HEIGHT, _FOOT = 170, 32, 3
#: Narrower columns cannot be told apart: beyond these weeks several share one.
_MOST_COLUMNS = 34


def flow_chart(trials: Iterable[tuple[int, str]], last_week: int, highest: int, key: str) -> Markup | None:
    """Columns of accepted trials with returned ones above; None if there is no trial.

    trials: (week of the study, standing). last_week, highest: of all sites, so that rows can be compared.
    """
    counts = Counter(trials)
    if not counts:
        return None
    shared = -(-(last_week + 1) // _MOST_COLUMNS)
    step = _WIDTH / -(-(last_week + 1) // shared)
    high = (_HEIGHT - _FOOT - 2) / max(1, highest)
    parts = [marks.rule((0, _HEIGHT - _FOOT), (_WIDTH, _HEIGHT - _FOOT), colour=MUTED)]
    for column in range(-(-(last_week + 1) // shared)):
        bottom = float(_HEIGHT - _FOOT)
        for standing, fill in (("accepted", BLUE), ("returned", ORANGE)):
            weeks = range(column * shared, (column + 1) * shared)
            if count := sum(counts[week, standing] for week in weeks):
                tall = count * high / shared
                marked = marks.box((column * step + 1, bottom - tall), max(2.0, step - 2), tall, fill=fill, edge=INK)
                parts.append(marked)
                bottom -= tall
    weeks_seen = sorted({week for week, _ in counts})
    said = "; ".join(
        f"week {w}: {counts[w, 'accepted']} accepted, {counts[w, 'returned']} returned" for w in weeks_seen
    )
    return marks.svg(_WIDTH, _HEIGHT, parts, key, "Trials by week of the study", said + ".")


def highest_of(trials: Iterable[tuple[int, str]]) -> int:
    """The most trials of one week."""
    return max(Counter(week for week, _ in trials).values(), default=0)
