"""Text in a C3D file that may tell who was recorded or when. Names places and kinds, never the text itself.

What such text looks like is known to ``pipelines.identity.identifiers`` alone.
"""

from __future__ import annotations

from pipelines.identity.identifiers import kinds_in, surely
from pipelines.intake.c3d.layout import Layout


def identity_like(layout: Layout) -> tuple[tuple[str, str], ...]:
    """Places and kinds: ("SUBJECTS:NAMES", "name of a person"). One entry for each place and kind, in file order."""
    found: dict[tuple[str, str], None] = {}
    for place, rows in layout.texts:
        for text in rows:
            for kind in kinds_in(surely(text, place)):
                found[place, kind] = None
    for label in layout.point_labels:
        prefix, colon, _ = label.partition(":")
        if colon and len(prefix) > 1 and surely(prefix, "SUBJECTS:NAMES"):
            found["POINT:LABELS", "name of a person before a colon"] = None
    return tuple(found)
