"""The marks of contact and toe-off that a laboratory set in the EVENT group of its file.

Which spellings mean what stands in ``event_words.csv``; marks of anything else are left out here and told by ``look``.
Contacts that are made of marks are for ``pipelines.science.events``.
"""

from __future__ import annotations

import csv
import re
from functools import cache
from importlib import resources

import numpy as np

from pipelines.intake.c3d.layout import Layout
from schemas.trial import Mark

#: Own choice of words for the sides, whole or as the first letter of what is run together ("LTO").
_SIDES = {"left": "left", "l": "left", "lt": "left", "right": "right", "r": "right", "rt": "right"}


def marks_of(layout: Layout) -> tuple[Mark, ...]:
    """Contacts and toe-offs that the EVENT group marks, in order of time from the file's first frame.

    Marks count from the first frame that was recorded, of which the file may hold a later part (common practice). Where
    more of them lie within the file when they are counted from its own first frame, they are counted from there.
    """
    rate, frames = layout.point_rate_hz, layout.counts.frames
    known = [(time_s, said) for time_s, *words in layout.events if (said := meant(" ".join(reversed(words))))]
    times = np.array([time_s for time_s, _ in known])
    if not len(times) or rate <= 0:
        return ()
    cut_s = (max(layout.header.first_frame, 1) - 1) / rate
    inside = [int(np.sum((t >= 0) & (t <= frames / rate))) for t in (times - cut_s, times)]
    since = times if inside[1] > inside[0] else times - cut_s
    marks = [Mark(*said, float(t)) for t, (_, said) in zip(since, known, strict=True) if np.isfinite(t)]
    return tuple(sorted(marks, key=lambda mark: mark.time_s))


def meant(words: str) -> tuple[str, str] | None:
    """Side and event ("contact", "toe_off") that the words of a mark, context and label together, mean; else None.

    Capitals, spaces, hyphens, underscores and numbers do not matter, nor where the side stands.
    """
    parts = re.findall("[a-z]+", words.lower())
    sides = {_SIDES[part] for part in parts if part in _SIDES}
    rest = "".join(part for part in parts if part not in _SIDES)
    if not sides:
        for start in ("left", "right", "l", "r"):
            if rest.startswith(start) and rest.removeprefix(start) in _events():
                return _SIDES[start], _events()[rest.removeprefix(start)]
    if len(sides) != 1 or rest not in _events():
        return None
    return sides.pop(), _events()[rest]


@cache
def _events() -> dict[str, str]:
    """Words of an event, small letters without spaces -> which event."""
    text = resources.files("pipelines.intake").joinpath("event_words.csv").read_text(encoding="utf-8")
    return {row["words"].lower().replace(" ", ""): row["event"] for row in csv.DictReader(text.splitlines())}
