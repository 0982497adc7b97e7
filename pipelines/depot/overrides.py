"""What a data manager decided on single findings: the trial is accepted in spite of one check, for a reason, by name.

A decision belongs to the trial's id, the bytes of its files and the check; a trial that comes again with other bytes is
judged anew. Here decisions are kept and looked up; how one is made is in ``pipelines.deciding.accepting``, what follows
from it in ``pipelines.judging.standings``. The file names trials and so runners: only the depot's owner can read it.
"""

from __future__ import annotations

import hashlib
import json
import stat
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from checks.registry import CheckSpec, Subject, Weight
from pipelines.depot.books.rows import Record
from pipelines.depot.consents import read_gate
from pipelines.depot.desk import Desk
from pipelines.depot.storage import Depot, write_json

#: A check of the tables that leaves the recording and its rows usable as they are.
_ABOUT_A_RESEND = "delivery.resends"


@dataclass(frozen=True)
class Decision:
    """Who decided what, when and why. utc: ISO 8601."""

    why: str
    by: str
    utc: str


@dataclass(frozen=True)
class Override:
    """One decision on one check of one trial. word: random, by which the ledger knows it. files: checksums."""

    word: str
    site: str
    trial_id: str
    files: tuple[str, ...]
    check_name: str
    decided: Decision
    taken_back: Decision | None = None

    @property
    def about(self) -> str:
        """What the ledger's line is about."""
        return f"override-{self.word}"


def why_not(spec: CheckSpec) -> str | None:
    """Why findings of a check cannot be set aside, as a clause; None if they can."""
    if spec.weight is Weight.WITHHOLDS:
        return "it keeps out what consent or privacy forbids, which nobody can set aside"
    if spec.weight is Weight.STOPS:
        return "it stops whole deliveries, of which nothing was read"
    if spec.weight is Weight.NOTES:
        return "it only notes; no trial goes back for it"
    if spec.about is Subject.TRIAL or spec.topic == _ABOUT_A_RESEND:
        return None
    return "where it finds something there is no whole row or no readable file, so that nothing can be computed"


def read_overrides(depot: Depot) -> tuple[Override, ...]:
    """Every decision ever made in the depot, in order, those that were taken back, too."""
    if not depot.overrides.exists():
        return ()
    return tuple(_read(entry) for entry in json.loads(depot.overrides.read_text(encoding="utf-8")))


def _read(entry: dict[str, Any]) -> Override:
    back = entry["taken_back"]
    told = {"files": tuple(entry["files"]), "decided": Decision(**entry["decided"])}
    return Override(**{**entry, **told, "taken_back": Decision(**back) if back else None})


def write_overrides(depot: Depot, overrides: Iterable[Override]) -> None:
    """Replace all decisions."""
    write_json(depot.overrides, [asdict(o) for o in overrides])
    depot.overrides.chmod(stat.S_IRUSR | stat.S_IWUSR)


def in_force(depot: Depot, site: str | None, files: Mapping[str, Iterable[str]]) -> tuple[Override, ...]:
    """Decisions on trials of one delivery. files: trial id -> checksums of its files, which must be the same."""
    return tuple(
        o
        for o in read_overrides(depot)
        if o.taken_back is None and o.site == site and tuple(files.get(o.trial_id, ())) == o.files
    )


def digest(overrides: Iterable[Override]) -> str:
    """The decisions a delivery was judged with, as one word; empty without any."""
    words = sorted(o.word for o in overrides)
    return hashlib.sha256(repr(words).encode()).hexdigest()[:16] if words else ""


def overrides_changed(desk: Desk) -> list[Record]:
    """Deliveries that were judged with other decisions than those in force."""
    held = desk.books.deliveries.taken_in(held=True)
    if not desk.depot.overrides.exists() and not any(r.overrides for r in held):
        return []
    files = {r.delivery_id: read_gate(desk.depot, r.delivery_id).files for r in held}
    return [r for r in held if digest(in_force(desk.depot, r.site, files[r.delivery_id])) != r.overrides]


def tell_overrides(desk: Desk) -> None:
    """Write into the ledger what it does not know yet; the trial is not named there, since it can never forget."""
    overrides = read_overrides(desk.depot)
    told = desk.ledger.abouts() if overrides else set()
    for override in overrides:
        for what, about, decision in _lines(override):
            if about not in told:
                details = {"check": override.check_name, "site": override.site, "by": decision.by}
                desk.ledger.write(what, about, decision.why, **details)


def _lines(override: Override) -> Iterator[tuple[str, str, Decision]]:
    yield "override", override.about, override.decided
    if override.taken_back is not None:
        yield "override_taken_back", f"{override.about}.taken-back", override.taken_back


def forget_gone(depot: Depot) -> None:
    """Drop decisions on trials no delivery shows any more, as after a withdrawal; the ledger keeps their words."""
    overrides = read_overrides(depot)
    if not overrides:
        return
    kept = [o for o in overrides if any(v.site == o.site for v in depot.books.trials.versions(o.trial_id))]
    if len(kept) < len(overrides):
        write_overrides(depot, kept)
