"""What consent given anew would let count, shown to the person who notes it before anything is done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipelines.deciding.preview import held_with, known_as, refuse_scope
from pipelines.depot.books.rows import Listed
from pipelines.depot.desk import Desk
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.study.file import load_study
from pipelines.taking_in.opening import open_desk
from schemas.consent_history import GIVEN
from schemas.privacy import EVERY_SCOPE

AWAITS_A_DELIVERY = (
    "A NEW DELIVERY IS NEEDED: no consents.csv here gives anything from that day on, and what was taken out stays out. "
    "Let the site send the runner's sessions, trials and this consent."
)


@dataclass(frozen=True)
class PreviewOfRenewal:
    """What would count again; nothing is changed by asking. counted: from which study day it does already, if any.

    counting, before: study days on which consents.csv gives what was withdrawn, from that day on and before it.
    """

    runner: str
    scope: str
    from_day: int
    counted: int | None
    deliveries: tuple[str, ...]
    counting: tuple[int, ...]
    before: tuple[int, ...]

    def text(self) -> str:
        """For the person who asked."""
        return "\n".join(self._lines())

    def _lines(self) -> Iterator[str]:
        what = "all" if self.scope == EVERY_SCOPE else self.scope
        yield f"Renewing {what} of {self.runner} from study day {self.from_day} on would"
        if self.counted is not None:
            yield f"  correct the day: so far it counts from study day {self.counted} on"
        yield f"  let count what consents.csv gives on study days: {_listed(self.counting) or 'none so far'}"
        yield f"  leave out what it gave before, on study days: {_listed(self.before) or 'none'}"
        yield f"  judge deliveries again: {', '.join(self.deliveries) or 'none'}"
        if not self.counting:
            yield AWAITS_A_DELIVERY
        if self.counting and not self.before:
            yield "CAUTION: everything that was ever given counts again. Was the new form signed on this day?"


def preview_of_renewal(
    study_path: Path, depot_root: Path | str, runner: str, scope: str, from_day: int
) -> PreviewOfRenewal:
    """What renewing would let count. Raises Unusable for an unknown scope, without a depot, or as ``refuse_day``."""
    refuse_scope(scope)
    depot = Depot(depot_root)
    if not depot.exists:
        raise Unusable("There is no depot here.", "a depot.", "Name it with --depot.", file=depot.root)
    with open_desk(depot, load_study(study_path)) as desk:
        withdrawals = desk.books.withdrawals
        tombstone = withdrawals.as_noted(runner, scope, ()).tombstone
        own = next((one for one in withdrawals.listed() if one.tombstone == tombstone), None)
        refuse_day(own, scope, from_day)
        days = days_given(desk, runner, scope)
        return PreviewOfRenewal(
            runner,
            scope,
            from_day,
            own.renewed_from if own else None,
            tuple(record.delivery_id for record in held_with(desk, runner)),
            tuple(sorted(day for day in days if day >= from_day)),
            tuple(sorted(day for day in days if day < from_day)),
        )


def days_given(desk: Desk, runner: str, scope: str) -> set[int]:
    """Study days on which the deliveries that are here give the scope."""
    told = desk.books.gates.told({runner, *known_as(desk, runner)})
    return {day for _, of, event, day in told if event == GIVEN and day is not None and scope in (of, EVERY_SCOPE)}


def refuse_day(own: Listed | None, scope: str, from_day: int) -> None:
    """Raises Unusable where nothing was withdrawn, and for a day before the one from which it counts already."""
    if own is None:
        seen = f"The runner has not withdrawn {scope} by command."
        raise Unusable(seen, "a withdrawal that is in force.", "There is nothing to renew; see consents.csv.")
    if own.renewed_from is not None and from_day < own.renewed_from:
        raise Unusable(
            f"Consent for {scope} was renewed already and counts from study day {own.renewed_from} on.",
            "that day, or a later one, which corrects it.",
            "If the new form was signed before, withdraw again and renew from that day.",
        )


def _listed(days: tuple[int, ...]) -> str:
    return ", ".join(map(str, days))
