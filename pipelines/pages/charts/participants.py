"""Drawing of how far the runners came: stages below each other, who is lost beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from pipelines.pages.charts import marks
from pipelines.pages.charts.look import EDGE, INK, MUTED, SIZE, shortened
from pipelines.pages.words import counted

_WIDTH, _BOX, _TALL, _BETWEEN = 350, 196, 40, 30
#: stage, its words, and the stage that is lost on the way to the next with the words for it
_STAGES = (
    ("enrolled", "Enrolled", "not_sent", "No running trial came"),
    ("sent", "Sent a running trial", "none_accepted", "None accepted"),
    ("accepted", "A trial accepted", "not_compared", "Never on both sides"),
    ("compared", "Compared", None, ""),
)


def participants_chart(
    counts: Mapping[str, int], analyses: Sequence[tuple[str, int, Sequence[str]]], key: str
) -> Markup:
    """The chart. counts: by stage of ``participant_flow``. analyses: name, runners in it, and lines about it."""
    parts: list[str] = []
    told = []
    top = float(EDGE)
    for stage, words, lost, lost_words in _STAGES:
        parts += _box((EDGE, top), words, counts.get(stage, 0))
        told.append(f"{words}: {counts.get(stage, 0)}")
        if lost is not None:
            middle, below = EDGE + _BOX / 2, top + _TALL + _BETWEEN
            parts.append(marks.rule((middle, top + _TALL), (middle, below), colour=INK, width=1.4))
            at = top + _TALL + _BETWEEN / 2
            parts.append(marks.rule((middle, at), (middle + 12, at), colour=MUTED))
            said = f"{lost_words}: {counts.get(lost, 0)}"
            parts.append(marks.text((middle + 18, at + SIZE * 0.35), said, colour=MUTED))
            told.append(said)
        top += _TALL + _BETWEEN
    for words, runners, reasons in analyses:
        top += 2
        whole = f"{words}: {counted(runners, 'runner')}"
        parts.append(
            marks.text((EDGE, top + SIZE), shortened(marks.clean(whole), _WIDTH - 2 * EDGE, bold=True), bold=True)
        )
        told.append(whole)
        top += SIZE + 6
        for reason in reasons:
            line = shortened(marks.clean(reason), _WIDTH - 2 * EDGE - 14)
            parts.append(marks.text((EDGE + 14, top + 12), line, colour=MUTED))
            told.append(reason)
            top += 18
        top += 6
    return marks.svg(_WIDTH, top + EDGE, parts, key, "How far the runners came", "; ".join(told) + ".")


def _box(corner: marks.Place, words: str, count: int) -> list[str]:
    middle = corner[0] + _BOX / 2, corner[1] + _TALL / 2 + SIZE * 0.35
    return [
        marks.box(corner, _BOX, _TALL, fill="none", edge=INK),
        marks.text(middle, f"{words}: {count}", anchor="middle", bold=True),
    ]
