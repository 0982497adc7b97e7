"""What a run would do, told beforehand: what came, what would be judged again and why, which trials would flip.

Deliveries are judged into ``work/`` exactly as a run would, and nothing is published.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from pipelines.judging.standings import WITHHELD
from pipelines.taking_in.again import Again, judged_again
from pipelines.taking_in.batch import Bench
from pipelines.taking_in.building import is_built
from pipelines.taking_in.due import NEW, WhatIsDue, what_is_due

NOTHING_DUE = "Nothing new: a run would take in nothing and judge nothing again."
_ONLY_BUILT = (
    "A run would take in nothing and judge nothing again. Warehouse, analyses and pages would be made again: since "
    "they were built the study file, the code or what the depot holds has changed."
)
_UNCHANGED = "Nothing was changed."
#: So many deliveries are told together if they are due for the same reason.
_FEW = 4


def plan(bench: Bench, inbox: Path) -> str:
    """What a run would do, for people. What follows from new deliveries is known only when they have come."""
    desk = bench.desk
    due = what_is_due(desk, inbox)
    if not due:
        return NOTHING_DUE if is_built(desk) else f"{_ONLY_BUILT}\n{_UNCHANGED}"
    with judged_again(desk, due.again, bench.progress.delivery) as judged:
        return "\n".join(_lines(bench, due, judged))


def _lines(bench: Bench, due: WhatIsDue, judged: Again) -> Iterator[str]:
    if new := [came.arrival for came in due.arrivals if came.why == NEW]:
        yield "New in the inbox, would be taken in"
        yield from (f"  {arrival.key}" for arrival in new)
    if known := [came for came in due.arrivals if came.why != NEW]:
        yield "In the inbox since before, would be opened again"
        yield from (f"  {came.arrival.key}: {came.why}" for came in known)
    if due.again:
        yield "Would be judged again"
        yield from _again(due, judged)
        yield "What would change"
        yield from (f"  {line}" for line in judged.lines())
        if not judged.flips:
            yield "  no trial would stand otherwise"
    for one, error in judged.failed:
        yield f"COULD NOT BE JUDGED: {one.record.delivery_id}: {type(error).__name__}"
    if judged.needs_yes(bench.desk.study.study.judging_again):
        yield "That is so many that a run publishes it only with --yes."
    yield _UNCHANGED


def _again(due: WhatIsDue, judged: Again) -> Iterator[str]:
    """Each delivery and why, many with one reason together; after what others or people changed with its trials."""
    trials = {
        one.record.delivery_id: sorted(t.trial_id for t in one.result.trials if t.standing != WITHHELD)
        for one in judged.prepared
    }
    alike = Counter(one.why for one in due.again if one.guarded)
    for why, count in alike.items():
        if count >= _FEW:
            names = (one.record.delivery_id for one in due.again if one.guarded and one.why == why)
            yield f"  {why} ({count} deliveries)"
            yield f"    {', '.join(names)}"
    for one in due.again:
        if one.guarded and alike[one.why] >= _FEW:
            continue
        yield f"  {one.record.delivery_id}: {one.why}"
        if not one.guarded and (named := trials.get(one.record.delivery_id)):
            yield f"    {', '.join(named)}"
