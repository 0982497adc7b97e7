"""A withdrawal is asked for: shown beforehand, remembered, taken back in its time of grace, followed by new consent.

Order matters, since a kill may come at any moment: the register beside the depot is told first, then the books in one
transaction with the ledger's line. From then on every command withholds the runner and goes on with what is to be done,
which is in ``pipelines.taking_in.withdrawing``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pipelines.consent.gas_of_runner import SCOPES, prints_to_keep
from pipelines.deciding.preview import alike, known_as, refuse_scope
from pipelines.depot.books.rows import Job, Listed, Withdrawal
from pipelines.depot.consents import WHOLE_TRIAL
from pipelines.depot.desk import Desk
from pipelines.depot.guarding import TAKEN_BACK, WITHDRAWAL, noted
from pipelines.depot.ledger import whoami
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.identity.reasons import refuse_who
from pipelines.identity.word_list import names_beside
from pipelines.study.file import load_study
from pipelines.taking_in.building import build, is_built
from pipelines.taking_in.due import due_again
from pipelines.taking_in.noting import again
from pipelines.taking_in.opening import finish_what_a_kill_left, open_desk
from pipelines.taking_in.withdrawing import CarriedOut, carry_out
from schemas.privacy import EVERY_SCOPE

RENEWED = "withdrawal_renewed"
_MOST_DAYS = 365


@dataclass(frozen=True)
class Asked:
    """What is asked for.

    grace_days: how long bytes are kept, withheld. not_yet_delivered: whether the runner may be unknown.
    """

    runner: str
    scope: str
    why: str
    by: str
    grace_days: int = 0
    not_yet_delivered: bool = False


@dataclass(frozen=True)
class Renewed:
    """Consent given anew after a withdrawal. from_day: study day on which the new form was signed."""

    runner: str
    scope: str
    form_version: str
    from_day: int
    why: str
    by: str


@dataclass(frozen=True)
class Withdrawn:
    """What a withdrawal did. earlier: what was done for others that were not finished."""

    tombstone: str
    scope: str
    done: CarriedOut | None
    earlier: tuple[str, ...] = ()

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

    def text(self) -> str:
        """The outcome, for people; the runner is not named."""
        scope = "everything" if self.scope == EVERY_SCOPE else self.scope
        lines = [*self.earlier, f"Withdrawn: {scope}. Tombstone {self.tombstone} in the ledger, without identity."]
        return "\n".join([*lines, *(self.done.lines() if self.done else ["It was withdrawn before."])])


def withdraw(study_path: Path, depot_root: Path | str, asked: Asked) -> Withdrawn:
    """Take ``scope`` ("all" or one kind of data) of a runner out of the depot and build warehouse and pages anew.

    Raises Unusable if the scope is unknown, if there is no reason or name, if the reason names the runner, or if the
    depot does not know the runner and nobody said that the runner is still to come.
    """
    refuse_scope(asked.scope)
    asked = replace(asked, why=" ".join(asked.why.split()), by=" ".join(asked.by.split()))
    refuse_words(study_path, asked.runner, asked.why, asked.by)
    if not 0 <= asked.grace_days <= _MOST_DAYS:
        seen = f"{asked.grace_days} days of grace were asked for."
        raise Unusable(seen, f"0 to {_MOST_DAYS} days.", "Correct --grace-days.")
    depot, study = Depot(depot_root), load_study(study_path)
    with depot.writing(asked.by), open_desk(depot, study, asked.by) as desk:
        earlier = finish_what_a_kill_left(desk)
        withdrawal = _remember(desk, asked)
        done = next((one for one in carry_out(desk) if one.job.tombstone == withdrawal.tombstone), None)
        return Withdrawn(withdrawal.tombstone, asked.scope, done, earlier)


def take_back(study_path: Path, depot_root: Path | str, asked: Asked) -> str:
    """End a withdrawal within its time of grace. Raises Unusable if there is none."""
    refuse_words(study_path, asked.runner, asked.why, asked.by)
    depot, study = Depot(depot_root), load_study(study_path)
    with depot.writing(asked.by), open_desk(depot, study, asked.by) as desk:
        finish_what_a_kill_left(desk)
        withdrawal = desk.books.withdrawals.as_noted(asked.runner, asked.scope, ())
        job = desk.books.jobs.get(withdrawal.tombstone)
        if job is None:
            seen = "No withdrawal of this runner and scope is in its time of grace."
            raise Unusable(seen, "one that was asked for with --grace-days.", "What was removed cannot come back.")
        with desk.books.transaction():
            desk.books.withdrawals.drop(job.tombstone)
            desk.ledger.decided(TAKEN_BACK, f"tombstone-{job.tombstone}.taken-back", asked.why, scope=asked.scope)
        noted(depot, replace(_listed(withdrawal, job), taken_back=True))
        _judge_what_follows(desk)
        return f"Taken back: tombstone {job.tombstone}. Consent counts again as the deliveries tell it."


def renew(study_path: Path, depot_root: Path | str, asked: Renewed) -> str:
    """Let consent that a runner gave anew count from its day on; what was taken out does not come back.

    Raises Unusable if the runner never withdrew this scope.
    """
    refuse_words(study_path, asked.runner, asked.why, asked.by)
    if not asked.form_version.strip():
        raise Unusable("There is no version of the form.", "the new form's version.", "Give it with --form-version.")
    depot, study = Depot(depot_root), load_study(study_path)
    with depot.writing(asked.by), open_desk(depot, study, asked.by) as desk:
        finish_what_a_kill_left(desk)
        if asked.scope not in desk.books.withdrawals.scopes(asked.runner):
            seen = f"The runner has not withdrawn {asked.scope} by command."
            raise Unusable(seen, "a withdrawal that is in force.", "There is nothing to renew; see consents.csv.")
        withdrawal = desk.books.withdrawals.as_noted(asked.runner, asked.scope, ())
        own = next(one for one in desk.books.withdrawals.listed() if one.tombstone == withdrawal.tombstone)
        noted(depot, replace(own, renewed_from=asked.from_day))
        with desk.books.transaction():
            desk.books.withdrawals.renew(withdrawal.tombstone, asked.from_day, asked.form_version.strip())
            details = {"scope": asked.scope, "from_day": asked.from_day, "form_version": asked.form_version.strip()}
            desk.ledger.decided(RENEWED, f"tombstone-{withdrawal.tombstone}", asked.why, **details)
        _judge_what_follows(desk)
        return (
            f"Renewed: tombstone {withdrawal.tombstone}. What consents.csv gives from study day {asked.from_day} on "
            "counts again; what was given before, and what was taken out, does not."
        )


def _remember(desk: Desk, asked: Asked) -> Withdrawal:
    """Note the withdrawal and its job, and the tombstone that tells it: that somebody withdrew, when and what."""
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
        if renewed:
            gates.know_anew(names)
        books.jobs.put(job)
        if new or renewed:
            desk.ledger.decided(WITHDRAWAL, f"tombstone-{withdrawal.tombstone}", asked.why, scope=asked.scope)
    return withdrawal


def _listed(withdrawal: Withdrawal, job: Job) -> Listed:
    own = (withdrawal.tombstone, withdrawal.runner, withdrawal.scope, withdrawal.files)
    return Listed(*own, job.asked_utc, job.due_utc)


def _judge_what_follows(desk: Desk) -> None:
    for why, record in due_again(desk):
        again(desk, record, why, lambda done, of: None)
    if not is_built(desk):
        build(desk, lambda text: None)


def refuse_words(study_path: Path, runner: str, why: str, by: str) -> None:
    """Raises Unusable without a runner, reason or name, and for a reason that tells of somebody."""
    known = names_beside(study_path)
    named: Sequence[tuple[str, str, str]] = ((why, "reason", "--why"), (by, "name", "--as"))
    for words, what, option in named:
        if not re.search(r"\w", words):
            raise Unusable(f"There is no {what}.", f"a {what}, for the ledger.", f"Give it with {option}.")
    if not runner.strip():
        raise Unusable("There is no runner.", "the participant_id of a runner.", "Give it before the options.")
    refuse_who(why, [runner], known)
