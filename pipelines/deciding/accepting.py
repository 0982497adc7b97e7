"""A data manager accepts a trial in spite of one check, or takes that back; then its delivery is judged again.

Order matters, since a kill may come at any moment: the decision is kept and told to the ledger in one transaction, then
the delivery is judged with it. A run after a kill goes on from there. What can be set aside is in
``pipelines.depot.overrides``.
"""

from __future__ import annotations

import difflib
import re
import secrets
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from checks.registry import catalogue
from pipelines.depot import overrides
from pipelines.depot.books.rows import Decision, Override, Record
from pipelines.depot.desk import Desk
from pipelines.depot.overrides import in_force, overrides_changed, why_not
from pipelines.depot.storage import Depot, read_table
from pipelines.errors import Unusable
from pipelines.identity.identifiers import kinds_in, surely
from pipelines.identity.names import known_in
from pipelines.identity.word_list import names_beside
from pipelines.study.file import load_study
from pipelines.taking_in.building import build, is_built
from pipelines.taking_in.due import DECIDED, due_again
from pipelines.taking_in.noting import again
from pipelines.taking_in.opening import finish_what_a_kill_left, open_desk
from schemas.received import plain_rows

ACCEPTED, RETURNED = "accepted", "returned"
_LONGEST = 2000


@dataclass(frozen=True)
class Asked:
    """What is asked for. take_back: whether an earlier decision is to end."""

    trial_id: str
    check_name: str
    why: str
    by: str
    take_back: bool = False


@dataclass(frozen=True)
class Outcome:
    """What became of the trial. still: other checks for which it goes back; judged: deliveries judged again for it."""

    asked: Asked
    delivery_id: str
    standing: str
    still: tuple[str, ...]
    judged: tuple[str, ...]
    warning: str | None

    def text(self) -> str:
        """The outcome, for people."""
        trial, check = f"Trial {self.asked.trial_id} of {self.delivery_id}", self.asked.check_name
        lines = []
        if self.asked.take_back:
            lines.append(f"Taken back. {trial} is {self.standing} now.")
        elif self.standing == ACCEPTED:
            lines.append(f"{trial} is accepted in spite of {check}.")
            lines.append("It is marked in the tables trials, standings and overrides (accepted_by_override).")
        else:
            lines.append(f"{check} is set aside, and {trial[:1].lower() + trial[1:]} is still {self.standing}.")
        if self.still:
            lines.append(f"It goes back for {', '.join(self.still)}.")
        lines.append(f"Judged again: {', '.join(self.judged) or 'nothing, all was done before'}.")
        lines.append("Reason and name stand in the ledger for good.")
        return "\n".join([*lines, *([self.warning] if self.warning else [])])

    @property
    def exit_code(self) -> int:
        """0; 1 if the trial was to be accepted and still goes back."""
        return int(not self.asked.take_back and self.standing != ACCEPTED)


@dataclass(frozen=True)
class _Found:
    """The version of the trial that counts now. findings: those for which it goes back."""

    record: Record
    standing: str
    files: tuple[str, ...]
    findings: tuple[dict[str, Any], ...]


def decide(study_path: Path, depot_root: Path | str, asked: Asked) -> Outcome:
    """Accept a trial in spite of a check, or take that back, and build warehouse and pages anew.

    Raises Unusable if it cannot be: nothing to set aside, a check nobody can set aside, no reason, no name.
    """
    asked = replace(asked, why=" ".join(asked.why.split()), by=" ".join(asked.by.split()))
    _refuse_empty(asked)
    depot, study = Depot(depot_root), load_study(study_path)
    with depot.writing(asked.by), open_desk(depot, study, asked.by) as desk:
        finish_what_a_kill_left(desk)
        found = _find(desk, asked.trial_id)
        warning = _refuse_identity(desk, found.record, asked)
        (_take_back if asked.take_back else _set_aside)(desk, found, asked)
        judged = _judge(desk, asked)
        if judged or not is_built(desk):
            build(desk, lambda text: None)
        now = _found_in(desk, desk.books.deliveries.get(found.record.delivery_id) or found.record, asked.trial_id)
        own = {o.check_name for o in _own(desk, now, asked)}
        still = dict.fromkeys(f["check_name"] for f in now.findings if f["check_name"] not in own)
        left = tuple(still) if now.standing == RETURNED else ()
        return Outcome(asked, now.record.delivery_id, now.standing, left, judged, warning)


def _refuse_empty(asked: Asked) -> None:
    spec = catalogue().get(asked.check_name)
    if spec is None:
        near = difflib.get_close_matches(asked.check_name, catalogue(), n=1)
        expected = f"perhaps {near[0]}." if near else "the name of a check, from docs/reference/checks."
        raise Unusable(f"There is no check {asked.check_name!r}.", expected, "Give it with --check.")
    if (reason := why_not(spec)) is not None and not asked.take_back:
        remedy = "Have the laboratory mend it and send the trial again."
        raise Unusable(f"{asked.check_name} cannot be set aside: {reason}.", "a check that returns trials.", remedy)
    for words, what, option in ((asked.why, "reason", "--why"), (asked.by, "name", "--as")):
        if not re.search(r"\w", words) or len(words) > _LONGEST:
            seen = f"There is no {what}." if len(words) <= _LONGEST else f"The {what} has {len(words)} characters."
            raise Unusable(seen, f"a {what} of at most {_LONGEST} characters.", f"Give it with {option}.")


def _find(desk: Desk, trial_id: str) -> _Found:
    """The newest version of the trial that came. Raises Unusable if there is none that was judged by today's code."""
    names = [version.delivery_id for version in desk.books.trials.versions(trial_id)]
    having = [record for name in names if (record := desk.books.deliveries.get(name)) is not None]
    if not having:
        seen = f"The depot does not know trial {trial_id}, or it is withheld."
        remedy = "Compare it with trials.csv of the delivery; capital and small letters count."
        raise Unusable(seen, "the id of a trial of a delivery that was taken in.", remedy, file=desk.depot.root)
    if len({r.site for r in having}) > 1:
        sites = ", ".join(sorted(str(r.site) for r in having))
        remedy = "Have one of the laboratories give the trial another id."
        raise Unusable(f"Trial {trial_id} came from several laboratories ({sites}).", "an id used once.", remedy)
    record = max(having, key=lambda r: r.number or 0)
    if not desk.books.deliveries.is_current(record.delivery_id, desk.made):
        seen = f"Delivery {record.delivery_id} was judged by other code or another study file."
        raise Unusable(seen, "findings of today's checks.", "Run manystrides run first, then look again.")
    return _found_in(desk, record, trial_id)


def _found_in(desk: Desk, record: Record, trial_id: str) -> _Found:
    folder = desk.depot.delivery_path(record.delivery_id)
    standings, findings = read_table(folder / "standings.parquet"), read_table(folder / "findings.parquet")
    standing = str(standings.loc[standings["trial_id"] == trial_id, "standing"].iloc[0])
    own = findings[(findings["trial_id"] == trial_id) & (findings["weight"] == "returns")]
    files = tuple(desk.books.gates.get(record.delivery_id).files.get(trial_id, ()))
    return _Found(record, standing, files, tuple(plain_rows(own)))


def _refuse_identity(desk: Desk, record: Record, asked: Asked) -> str | None:
    """A warning if the reason may tell who was recorded; refuses one that surely does."""
    gate = desk.books.gates.get(record.delivery_id)
    known = names_beside(desk.study.path)
    ids = {asked.trial_id, *gate.runners, *gate.files}
    naming = any(re.search(rf"(?<![0-9A-Za-z]){re.escape(one)}(?![0-9A-Za-z])", asked.why) for one in ids)
    if naming or list(known_in(asked.why, known)):
        seen = "The reason names a runner, a trial or a person, and the ledger can never forget."
        raise Unusable(seen, "a reason without identity.", "Word it differently with --why.")
    kinds = kinds_in(surely(asked.why))
    if not kinds:
        return None
    return f"CAUTION: the reason may identify a person ({', '.join(kinds)}). If it does, tell whoever keeps the depot."


def _own(desk: Desk, found: _Found, asked: Asked) -> list[Override]:
    """Decisions in force on this version of the trial."""
    return list(in_force(desk, found.record.site, {asked.trial_id: found.files}))


def _set_aside(desk: Desk, found: _Found, asked: Asked) -> None:
    if any(o.check_name == asked.check_name for o in _own(desk, found, asked)):
        return  # asked for again, as after a kill
    if found.standing != RETURNED:
        seen = f"Trial {asked.trial_id} of {found.record.delivery_id} is {found.standing}."
        raise Unusable(seen, "a trial that is returned.", "There is nothing to do.")
    own = [f for f in found.findings if f["check_name"] == asked.check_name]
    if not own:
        checks = ", ".join(dict.fromkeys(f["check_name"] for f in found.findings)) or "no check that is known"
        seen = f"{asked.check_name} found nothing on trial {asked.trial_id} of {found.record.delivery_id}."
        raise Unusable(seen, f"a check it goes back for: {checks}.", "Give that one with --check.")
    if _crashed(desk, found.record, asked):
        seen = f"{asked.check_name} did not come to its end on this trial, so nobody knows what it would have found."
        raise Unusable(seen, "a check that looked.", "Report the crash as a fault of manystrides.")
    decision = Decision(asked.why, asked.by, datetime.now(UTC).isoformat(timespec="seconds"))
    new = Override(
        secrets.token_hex(8), str(found.record.site), asked.trial_id, found.files, asked.check_name, decision
    )
    overrides.decide(desk, new)


def _crashed(desk: Desk, record: Record, asked: Asked) -> bool:
    runs = read_table(desk.depot.delivery_path(record.delivery_id) / "check_runs.parquet")
    own = runs[(runs["check_name"] == asked.check_name) & runs["subject"].isin([asked.trial_id, "delivery"])]
    return bool((own["status"] == "crashed").any())


def _take_back(desk: Desk, found: _Found, asked: Asked) -> None:
    own = [o for o in _own(desk, found, asked) if o.check_name == asked.check_name]
    every = desk.books.decisions.on_trials([asked.trial_id])
    if not own:
        if any(o.check_name == asked.check_name and o.taken_back for o in every):
            return  # asked for again, as after a kill
        seen = f"{asked.check_name} was never set aside on trial {asked.trial_id} as it is now."
        raise Unusable(seen, "a decision that is in force.", "Look at the table overrides.")
    decision = Decision(asked.why, asked.by, datetime.now(UTC).isoformat(timespec="seconds"))
    with desk.books.transaction():
        for override in own:
            overrides.decide(desk, replace(override, taken_back=decision))


def _judge(desk: Desk, asked: Asked) -> tuple[str, ...]:
    """Judge again what the decision changes: the trial's delivery, and others of its session, which may lean on it."""
    judged: dict[str, None] = {}

    def work(record: Record, why: str) -> None:
        again(desk, record, why, lambda done, of: None)
        judged[record.delivery_id] = None

    sessions = _sessions(desk, asked.trial_id)
    for record in overrides_changed(desk):
        work(record, DECIDED)
    if not judged:
        return ()
    sessions |= _sessions(desk, asked.trial_id)
    leaning = {trial.delivery_id for trial in desk.books.trials.in_sessions(desk.made, sessions)}
    for record in desk.books.deliveries.current(desk.made):
        if record.delivery_id in leaning - judged.keys():
            work(record, "A trial of the same session was decided on.")
    for why, record in due_again(desk):
        work(record, why)
    return tuple(judged)


def _sessions(desk: Desk, trial_id: str) -> set[tuple[str, str]]:
    """Site and session of the trial, wherever it is accepted."""
    versions = desk.books.trials.versions(trial_id)
    return {(v.site, v.session_id) for v in versions if v.standing == ACCEPTED and v.session_id is not None}
