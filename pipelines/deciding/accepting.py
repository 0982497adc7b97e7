"""A data manager accepts a trial in spite of one check, or takes that back: refused, or kept in books and ledger.

Nothing is judged here: that a delivery was judged with other decisions the books know, and whoever asks them what is
due (``pipelines.assets.deciding``, or the next run after a kill) does the rest. What can be set aside is in
``pipelines.depot.overrides``.
"""

from __future__ import annotations

import difflib
import re
import secrets
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from checks.registry import catalogue
from pipelines.depot import overrides
from pipelines.depot.books.rows import Decision, Override, Record
from pipelines.depot.desk import Desk
from pipelines.depot.overrides import in_force, why_not
from pipelines.depot.published import read_result
from pipelines.errors import Unusable
from pipelines.identity.reasons import refuse_who
from pipelines.identity.word_list import names_beside
from pipelines.taking_in.summary import Summary
from schemas.quality import CHECK_RUNS, FINDINGS, STANDINGS
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
    """What became of the trial. still: other checks for which it goes back; judged: deliveries judged again for it.

    done: all that the run after the decision did.
    """

    asked: Asked
    delivery_id: str
    standing: str
    still: tuple[str, ...]
    judged: tuple[str, ...]
    done: Summary

    def text(self) -> str:
        """The outcome, for people."""
        trial, check = f"Trial {self.asked.trial_id} of {self.delivery_id}", self.asked.check_name
        lines = list(self.done.finished)
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
        lines += self.done.faults()
        lines.append("Reason and name stand in the ledger for good.")
        return "\n".join(lines)

    @property
    def exit_code(self) -> int:
        """0; 1 if the trial was to be accepted and still goes back; as a run's if it did not come to its end."""
        return self.done.exit_code or int(not self.asked.take_back and self.standing != ACCEPTED)


@dataclass(frozen=True)
class _Found:
    """The version of the trial that counts now. findings: those for which it goes back."""

    record: Record
    standing: str
    files: tuple[str, ...]
    findings: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class Decided:
    """A decision that the books keep. asked: in its plain form."""

    asked: Asked
    delivery_id: str


def in_plain_form(asked: Asked) -> Asked:
    """What is asked for, without blanks that say nothing. Raises Unusable for what no depot could accept."""
    asked = replace(asked, why=" ".join(asked.why.split()), by=" ".join(asked.by.split()))
    _refuse_empty(asked)
    return asked


def decide(desk: Desk, asked: Asked) -> Decided:
    """Keep that a check of a trial is set aside, or that this is taken back; asked for again, nothing is kept twice.

    Raises Unusable if it cannot be: nothing to set aside, a check nobody can set aside, no reason, no name.
    """
    asked = in_plain_form(asked)
    found = _find(desk, asked.trial_id)
    _refuse_identity(desk, found.record, asked)
    (_take_back if asked.take_back else _set_aside)(desk, found, asked)
    return Decided(asked, found.record.delivery_id)


def outcome(desk: Desk, decided: Decided, done: Summary) -> Outcome:
    """What became of the trial. done: the run that followed the decision."""
    asked, record = decided.asked, desk.books.deliveries.get(decided.delivery_id)
    assert record is not None  # judging again never removes a delivery
    now = _found_in(desk, record, asked.trial_id)
    own = {o.check_name for o in _own(desk, now, asked)}
    still = dict.fromkeys(f["check_name"] for f in now.findings if f["check_name"] not in own)
    left = tuple(still) if now.standing == RETURNED else ()
    judged = tuple(one.record.delivery_id for one in done.done)
    return Outcome(asked, decided.delivery_id, now.standing, left, judged, done)


def _refuse_empty(asked: Asked) -> None:
    spec = catalogue().get(asked.check_name)
    if spec is None:
        near = difflib.get_close_matches(asked.check_name, catalogue(), n=1)
        expected = f"perhaps {near[0]}." if near else "the name of a check, from docs/reference/checks."
        raise Unusable(f"There is no check {asked.check_name!r}.", expected, "Give it with --check.")
    if (reason := why_not(spec)) is not None and not asked.take_back:
        remedy = "Have the site correct it and send the trial again."
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
        remedy = "Have one of the sites give the trial another id."
        raise Unusable(f"Trial {trial_id} came from several sites ({sites}).", "an id used once.", remedy)
    record = max(having, key=lambda r: r.number or 0)
    if not desk.books.deliveries.is_current(record.delivery_id, desk.made):
        seen = f"Delivery {record.delivery_id} was judged by other code or another study file."
        raise Unusable(seen, "findings of today's checks.", "Run manystrides run first, then look again.")
    return _found_in(desk, record, trial_id)


def _found_in(desk: Desk, record: Record, trial_id: str) -> _Found:
    standings, findings = (read_result(desk.depot, record.delivery_id, t) for t in (STANDINGS, FINDINGS))
    standing = str(standings.loc[standings["trial_id"] == trial_id, "standing"].iloc[0])
    own = findings[(findings["trial_id"] == trial_id) & (findings["weight"] == "returns")]
    files = tuple(desk.books.gates.get(record.delivery_id).files.get(trial_id, ()))
    return _Found(record, standing, files, tuple(plain_rows(own)))


def _refuse_identity(desk: Desk, record: Record, asked: Asked) -> None:
    """Raises Unusable for a reason that names this trial, another of its delivery, a runner, or surely a person."""
    codes = {asked.trial_id, *desk.books.gates.every_runner(), *desk.books.gates.get(record.delivery_id).files}
    refuse_who(asked.why, codes, names_beside(desk.study.path))


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
    runs = read_result(desk.depot, record.delivery_id, CHECK_RUNS)
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
