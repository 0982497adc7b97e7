"""A withdrawal is asked for: remembered, taken back in its time of grace, followed by new consent.

Order matters, since a kill may come at any moment: the register beside the depot is told first, then the books in one
transaction with the ledger's line. From then on every command withholds the runner and goes on with what is to be done:
whoever asks the books what is due (``pipelines.assets.deciding``, or the next run after a kill) does it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pipelines.consent.gas_of_runner import SCOPES, prints_to_keep
from pipelines.deciding.preview import alike, known_as, refuse_scope
from pipelines.deciding.preview_of_renewal import refuse_day
from pipelines.depot.books.rows import Job, Listed, Withdrawal
from pipelines.depot.consents import WHOLE_TRIAL
from pipelines.depot.desk import Desk
from pipelines.depot.guarding import noted
from pipelines.depot.ledger import whoami
from pipelines.depot.witnesses import TAKEN_BACK, WITHDRAWAL
from pipelines.errors import Unusable
from pipelines.identity.identifiers import NOBODY
from pipelines.identity.reasons import refuse_runner_as_name, refuse_who
from pipelines.identity.word_list import names_beside
from pipelines.taking_in.summary import Summary
from pipelines.taking_in.withdrawing import CarriedOut
from schemas.consent_forms import expected_version, is_understood
from schemas.privacy import EVERY_SCOPE

RENEWED = "withdrawal_renewed"
_MOST_DAYS = 365


@dataclass(frozen=True)
class Asked:
    """What is asked for.

    grace_days: how long bytes are kept, withheld. not_yet_delivered: whether the runner may be unknown. with_changes:
    whether deliveries may be judged again although something else has changed for them.
    """

    runner: str
    scope: str
    why: str
    by: str
    grace_days: int = 0
    not_yet_delivered: bool = False
    with_changes: bool = False


@dataclass(frozen=True)
class Renewed:
    """Consent given anew after a withdrawal. from_day: study day on which the new form was signed. with_changes: as
    in ``Asked``.
    """

    runner: str
    scope: str
    form_version: str
    from_day: int
    why: str
    by: str
    with_changes: bool = False


@dataclass(frozen=True)
class Withdrawn:
    """What a withdrawal did. run: all that the run after it did."""

    tombstone: str
    scope: str
    done: CarriedOut | None
    run: Summary

    @property
    def deliveries(self) -> tuple[str, ...]:
        """Deliveries that were judged again."""
        return self.done.deliveries if self.done else ()

    @property
    def files_removed(self) -> int:
        """Files removed of the raw store and the closed folder."""
        return self.done.files_removed if self.done else 0

    @property
    def found(self) -> tuple[Path, ...]:
        """Live files in which the runner's id still stands."""
        return self.done.found if self.done else ()

    @property
    def exit_code(self) -> int:
        """0; 1 if the id still stands somewhere, or it is not finished; as a run's if that did not come to its end."""
        left = self.done is not None and not (self.done.ended or self.done.waits_until)
        return self.run.exit_code or int(left or bool(self.found))

    def text(self) -> str:
        """The outcome, for people; the runner is not named."""
        scope = "everything" if self.scope == EVERY_SCOPE else self.scope
        lines = [*self.run.finished, f"Withdrawn: {scope}. Tombstone {self.tombstone} in the ledger, without identity."]
        lines += self.done.lines() if self.done else ["It was withdrawn before."]
        return "\n".join([*lines, *self.run.faults()])


@dataclass(frozen=True)
class Restored:
    """A withdrawal that was taken back, or after which consent was given anew. run: all that the run after it did."""

    told: str
    run: Summary

    @property
    def exit_code(self) -> int:
        """As a run's."""
        return self.run.exit_code

    def text(self) -> str:
        """The outcome, for people; the runner is not named."""
        return "\n".join([*self.run.finished, self.told, *self.run.faults()])


def in_plain_form(asked: Asked) -> Asked:
    """What is asked for, without blanks that say nothing. Raises Unusable for what no depot could do."""
    refuse_scope(asked.scope)
    asked = replace(asked, why=" ".join(asked.why.split()), by=" ".join(asked.by.split()))
    _refuse_words(asked.runner, asked.why, asked.by)
    if not 0 <= asked.grace_days <= _MOST_DAYS:
        seen = f"{asked.grace_days} days of grace were asked for."
        raise Unusable(seen, f"0 to {_MOST_DAYS} days.", "Correct --grace-days.")
    return asked


def ask(desk: Desk, asked: Asked) -> Withdrawal:
    """Note a withdrawal and its job, and the tombstone that tells it: that somebody withdrew, when and what.

    asked: in its plain form. Raises Unusable if the depot does not know the runner and nobody said that the runner is
    still to come.
    """
    _refuse_who(desk, asked.why)
    gates, withdrawals, books = desk.books.gates, desk.books.withdrawals, desk.books
    names = known_as(desk, asked.runner)
    if not names and not withdrawals.scopes(asked.runner) and not asked.not_yet_delivered:
        near = alike(desk, asked.runner)
        raise Unusable(
            "The depot does not know this runner."
            + (f" Known ids that look alike: {', '.join(near)}." if near else ""),
            "the participant_id of a runner of a delivery that was taken in.",
            "Compare it with participants.csv. If data of the runner are still to come, add --not-yet-delivered.",
            file=desk.depot.root,
        )
    shas = {sha for name in names for sha in gates.tables_naming(name)}
    if asked.scope in WHOLE_TRIAL:
        shas |= {sha for name in names for sha in gates.files_of_trials(name)}
    if asked.scope in SCOPES:
        records = [books.deliveries.get(one) for name in names for one in gates.naming(name)]
        held = [record for record in records if record is not None and record.held]
        shas |= prints_to_keep(desk.depot, desk.isolated, held, asked.runner)
    withdrawal = withdrawals.as_noted(asked.runner, asked.scope, shas)
    if not names and asked.scope in withdrawals.scopes(asked.runner) and books.jobs.get(withdrawal.tombstone) is None:
        return withdrawal  # asked for again when all is done
    now = datetime.now(UTC)
    before = books.jobs.get(withdrawal.tombstone)
    job = Job(
        *(withdrawal.tombstone, withdrawal.runner, asked.scope, asked.by, whoami(), asked.why),
        asked_utc=before.asked_utc if before else now.isoformat(timespec="seconds"),
        due_utc=(now + timedelta(days=asked.grace_days)).isoformat(timespec="seconds"),
        participants=tuple(sorted(names | {asked.runner.strip()} | set(before.participants if before else ()))),
    )
    noted(desk.depot, _listed(withdrawal, job))
    with books.transaction():
        renewed = withdrawals.is_renewed(withdrawal.tombstone)
        new = withdrawals.put(withdrawal)
        withdrawals.end_renewal(withdrawal.tombstone)
        books.jobs.put(job)
        if new or renewed:
            desk.ledger.decided(WITHDRAWAL, f"tombstone-{withdrawal.tombstone}", asked.why, scope=asked.scope)
    return withdrawal


def take_back(desk: Desk, asked: Asked) -> str:
    """End a withdrawal within its time of grace; its tombstone. Raises Unusable if there is none."""
    _refuse_who(desk, asked.why)
    withdrawal = desk.books.withdrawals.as_noted(asked.runner, asked.scope, ())
    job = desk.books.jobs.get(withdrawal.tombstone)
    if job is None or _is_over(job):
        seen = "No withdrawal of this runner and scope is in its time of grace."
        raise Unusable(seen, "one that was asked for with --grace-days.", "What was removed cannot come back.")
    with desk.books.transaction():
        desk.books.withdrawals.drop(job.tombstone)
        desk.ledger.decided(TAKEN_BACK, f"tombstone-{job.tombstone}.taken-back", asked.why, scope=asked.scope)
    noted(desk.depot, replace(_listed(withdrawal, job), taken_back=True))
    return job.tombstone


def refuse_renewal(asked: Renewed) -> None:
    """Raises Unusable for consent given anew that no depot could note."""
    _refuse_words(asked.runner, asked.why, asked.by)
    if not asked.form_version.strip():
        raise Unusable("There is no version of the form.", "the new form's version.", "Give it with --form-version.")


def renew(desk: Desk, asked: Renewed) -> str:
    """Note that consent was given anew and counts from its day on; the tombstone of the withdrawal.

    One that was renewed already is corrected by a later day. Raises Unusable for an earlier one, if the runner never
    withdrew this scope, or for a form that is none of the study's.
    """
    _refuse_who(desk, asked.why)
    _refuse_form(desk, asked.form_version.strip())
    withdrawal = desk.books.withdrawals.as_noted(asked.runner, asked.scope, ())
    own = next((one for one in desk.books.withdrawals.listed() if one.tombstone == withdrawal.tombstone), None)
    refuse_day(own, asked.scope, asked.from_day)
    assert own is not None
    _refuse_unfinished(desk, withdrawal)
    # a kill in between leaves the books with what lets less count
    if own.renewed_from is None:
        noted(desk.depot, replace(own, renewed_from=asked.from_day))
    with desk.books.transaction():
        desk.books.withdrawals.renew(withdrawal.tombstone, asked.from_day, asked.form_version.strip())
        details = {"scope": asked.scope, "from_day": asked.from_day, "form_version": asked.form_version.strip()}
        desk.ledger.decided(RENEWED, f"tombstone-{withdrawal.tombstone}", asked.why, **details)
    if own.renewed_from is not None:
        noted(desk.depot, replace(own, renewed_from=asked.from_day))
    return withdrawal.tombstone


def _refuse_unfinished(desk: Desk, withdrawal: Withdrawal) -> None:
    """Raises Unusable while bytes of a withdrawal are here still: nobody could tell which of them are given anew."""
    job = desk.books.jobs.get(withdrawal.tombstone)
    if job is None:
        return
    if _is_over(job):
        seen, mend = "The withdrawal is not carried out yet.", "Run `manystrides run`, then renew."
    else:
        seen = f"The withdrawal is in its time of grace, until {job.due_utc}; nothing was taken out yet."
        mend = "If the runner takes it back: `manystrides withdraw` with --take-back. Else renew after that moment."
    raise Unusable(seen, "a withdrawal that was carried out.", mend)


def _is_over(job: Job) -> bool:
    return job.due_utc <= datetime.now(UTC).isoformat(timespec="seconds")


def _refuse_form(desk: Desk, version: str) -> None:
    """Raises Unusable for a version that the study file does not list, or that says more than a version."""
    forms = desk.study.study.consent_forms
    if not is_understood(version, forms):
        _refuse_who(desk, version)
        raise Unusable(
            f"The study file lists no consent form of version {version!r}." if forms else f"{version!r} is no version.",
            f"{expected_version(forms)}.",
            "Correct --form-version, or add the new form to consent_forms in the study file.",
        )


def _listed(withdrawal: Withdrawal, job: Job) -> Listed:
    own = (withdrawal.tombstone, withdrawal.runner, withdrawal.scope, withdrawal.files)
    return Listed(*own, job.asked_utc, job.due_utc)


def _refuse_words(runner: str, why: str, by: str) -> None:
    named: Sequence[tuple[str, str, str]] = ((why, "reason", "--why"), (by, "name", "--as"))
    for words, what, option in named:
        if not re.search(r"\w", words):
            raise Unusable(f"There is no {what}.", f"a {what}, for the ledger.", f"Give it with {option}.")
    if not runner.strip():
        raise Unusable("There is no runner.", "the participant_id of a runner.", "Give it before the options.")
    refuse_who(why, [runner], NOBODY)
    refuse_runner_as_name(by, [runner])


def _refuse_who(desk: Desk, why: str) -> None:
    refuse_who(why, desk.books.gates.every_runner(), names_beside(desk.study.path))
