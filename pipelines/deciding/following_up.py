"""The safety lead notes that cautions of a change-over were looked at or followed up: who and when, nothing else.

What is noted stands in the books by keyed hashes, and in the ledger without a runner: that somebody is on the list
tells of their health. What was said or found is for the study's own records of health.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from pipelines.depot.books.rows import Followed
from pipelines.depot.desk import Desk
from pipelines.errors import Unusable
from pipelines.identity.reasons import refuse_runner_as_name
from pipelines.pages.safety import key_of, read_over
from pipelines.science.change_over.cautions import Caution
from pipelines.taking_in.building import build_safety_stage, is_built

_LONGEST = 200
_WHY = {
    "looked": "The list of cautions was looked through.",
    "followed_up": "Cautions of a change-over were followed up.",
    "follow_up_taken_back": "A note that cautions were followed up was taken back.",
}


@dataclass(frozen=True)
class Asked:
    """What is asked for. runner: None for the whole list, at which somebody looked; week: None for all of a runner."""

    runner: str | None
    week: int | None
    by: str
    take_back: bool = False

    @property
    def what(self) -> str:
        """The word for it in the ledger."""
        if self.runner is None:
            return "looked"
        return "follow_up_taken_back" if self.take_back else "followed_up"


def note(desk: Desk, asked: Asked) -> int:
    """Keep it, and write the safety lead's page anew; returns how many cautions it is about.

    Raises Unusable without a name, if the warehouse is not up to date, or if no caution is like that.
    """
    asked = replace(asked, by=" ".join(asked.by.split()))
    if not re.search(r"\w", asked.by) or len(asked.by) > _LONGEST:
        raise Unusable("There is no name.", f"a name of at most {_LONGEST} characters.", "Give it with --as.")
    refuse_runner_as_name(asked.by, desk.books.gates.every_runner())
    if not is_built(desk):
        seen = "The list of cautions does not show what the depot holds."
        raise Unusable(seen, "a list that is up to date.", "Run manystrides run first.", file=desk.depot.root)
    chosen = _chosen(read_over(desk.depot.warehouse, desk.study).cautions, asked)
    now, follow_ups = datetime.now(UTC).isoformat(timespec="seconds"), desk.books.follow_ups
    known = follow_ups.of(map(key_of, chosen))
    with desk.books.transaction():
        for caution in chosen:
            follow_ups.put(key_of(caution), _noted(known.get(key_of(caution)), asked, now))
        desk.ledger.decided(asked.what, "change-over", _WHY[asked.what], cautions=len(chosen), by=asked.by)
    build_safety_stage(desk)
    return len(chosen)


def _chosen(cautions: Sequence[Caution], asked: Asked) -> list[Caution]:
    own = [c for c in cautions if asked.runner in (None, c.participant_id)]
    if asked.runner is not None and not own:
        seen = f"There is no caution about runner {asked.runner}."
        raise Unusable(seen, "a runner of the safety lead's page.", "Look at safety/index.html of the depot.")
    chosen = [c for c in own if asked.week in (None, c.week)]
    if asked.week is not None and not chosen:
        weeks = ", ".join(str(week) for week in sorted({c.week for c in own}))
        seen = f"There is no caution about runner {asked.runner} in week {asked.week}."
        raise Unusable(seen, f"a week with a caution: {weeks}.", "Give it with --week.")
    return chosen


def _noted(before: Followed | None, asked: Asked, now: str) -> Followed:
    looked = Followed(asked.by, now, *((before.followed_by, before.followed_utc) if before else (None, None)))
    if asked.runner is None:
        return looked
    if asked.take_back:
        return replace(looked, followed_by=None, followed_utc=None)
    return replace(looked, followed_by=asked.by, followed_utc=now)
