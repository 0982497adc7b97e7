"""Judges the trials of one delivery in isolated workers: standing trials first, since running trials need them.

What is looked at in one trial is in ``pipelines.judging.judge``; here is only who is judged with what.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from checks.context import Context
from checks.findings import Report
from checks.registry import Subject
from checks.run import run_checks
from pipelines.depot.books.rows import (
    BORROWED_POSTURE,
    BORROWED_REFERENCES,
    COPY_OF,
    POSTURE_OF_SESSION,
    Occasion,
)
from pipelines.depot.desk import Desk, Opened, Tell
from pipelines.depot.overrides import in_force
from pipelines.judging.judge import TrialJob, Verdict, judge_trial, references_in
from pipelines.judging.muscle_references import by_session, earlier_references, reference_trials
from pipelines.judging.postures import occasion_of, other_postures, own_postures, waiting_for
from pipelines.judging.same_signals import copies_by_shape
from pipelines.judging.stamps import of_trial
from pipelines.judging.standings import Judged, is_accepted
from pipelines.judging.trial_jobs import channel_rows, shas_of, trial_job
from pipelines.judging.weighed_together import told_apart
from pipelines.workers.engine import Task
from pipelines.workers.isolation import Ended
from schemas.consent import Consent
from schemas.delivery import RECORDED, SENT_CHANNELS
from schemas.reading import Reading
from schemas.trial import Posture

if TYPE_CHECKING:
    from pipelines.science.muscles.amplitudes import Reference
    from pipelines.science.muscles.signal import Key

#: Problems after which nobody knows what texts are in the file.
_NOT_TO_ITS_END = frozenset({"crashed", "too_slow", "too_large"})

Stamps = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True)
class Layout:
    """The trials of one delivery that are to be judged, and what other deliveries give them.

    judged: with no verdicts yet but of files that are missing; payload: the folder their files are in; standing,
    others: trials in the order of the tables; postures, references: of other deliveries.
    """

    desk: Desk
    judged: Judged
    payload: Path
    standing: tuple[str, ...]
    others: tuple[str, ...]
    postures: Mapping[Occasion, Posture]
    references: Mapping[str, Mapping[Key, Reference]]

    @cached_property
    def first(self) -> tuple[Task, ...]:
        """What must be known before other trials can be judged: standing trials and muscle references."""
        wanted = reference_trials(self.desk, self.judged, self.others)
        return (
            *(_task(judge_trial, self._job(trial)) for trial in self.standing),
            *(_task(references_in, self._job(trial)) for trial in wanted),
        )

    def second(self, first: Mapping[str, Ended]) -> list[Task]:
        """All other trials. first: how ``first`` ended, by key."""
        postures = {**self.postures, **self.postures_given(first)}
        references = {**self.references, **self._own_by_session(first)}
        jobs = (self._job(trial, postures, references) for trial in self.others)
        return [_task(judge_trial, job) for job in jobs]

    def postures_given(self, first: Mapping[str, Ended]) -> dict[Occasion, Posture]:
        """Postures of the delivery's own standing trials."""
        verdicts = {t.argument.row.trial_id: verdict_of(t, first[t.key]) for t in self.first if _is_verdict(t)}
        return own_postures(replace(self.judged, verdicts=verdicts), self.standing)

    def own_references(self, first: Mapping[str, Ended]) -> dict[str, Mapping[Key, Reference]]:
        """What each of the delivery's own reference recordings gives, of those that give something."""
        ended = {t.argument.row.trial_id: first[t.key] for t in self.first if not _is_verdict(t) and t.key in first}
        return {trial: one.value for trial, one in ended.items() if one.problem is None and one.value}

    def without_references(self, first: Mapping[str, Ended], gone: Iterable[str]) -> dict[str, Ended]:
        """The same, but for what these recordings would give: nothing is divided by what goes back."""
        lost = {t.key for t in self.first if not _is_verdict(t) and t.argument.row.trial_id in set(gone)}
        return {key: ended for key, ended in first.items() if key not in lost}

    def _own_by_session(self, first: Mapping[str, Ended]) -> dict[str, Mapping[Key, Reference]]:
        rows = self.judged.rows
        return by_session((rows[trial]["session_id"], given) for trial, given in self.own_references(first).items())

    def borrowed(self, first: Mapping[str, Ended], stamps: Mapping[str, Mapping[str, str]]) -> Stamps:
        """The same stamps, with those marked of what only another delivery could give: the delivery has none itself."""
        occasions, sessions = set(self.postures_given(first)), set(self._own_by_session(first))
        found = {}
        for trial, own in stamps.items():
            row, more = self.judged.rows[trial], {}
            occasion = self._occasion(trial)
            if row["kind"] == "running" and occasion not in occasions:
                more[BORROWED_POSTURE] = own["posture"]
                if occasion is not None and occasion[0] != row["session_id"]:
                    more[POSTURE_OF_SESSION] = occasion[0]
            if row["kind"] != "standing" and row["session_id"] not in sessions:
                more[BORROWED_REFERENCES] = own["references"]
            found[trial] = {**own, **more}
        return found

    def _job(
        self,
        trial: str,
        postures: Mapping[Occasion, Posture] | None = None,
        references: Mapping[str, Mapping[Key, Reference]] | None = None,
    ) -> TrialJob:
        row, occasion = self.judged.rows[trial], self._occasion(trial)
        posture = (postures or {}).get(occasion) if row["kind"] == "running" and occasion is not None else None
        own = (references or {}).get(row["session_id"])
        return trial_job(self.desk, self.judged, self.payload, trial, self._channels.get(trial, ()), posture, own)

    def _occasion(self, trial: str) -> Occasion | None:
        return occasion_of(self.judged.rows[trial], self.judged.consent.visits)

    @cached_property
    def _channels(self) -> Mapping[str, list[dict[str, Any]]]:
        return channel_rows(self.judged.consent)


def lay_out(desk: Desk, delivery_id: str, opened: Opened, consent: Consent, report: Report) -> Layout:
    """Which trials are judged, all that are not withheld, and what the depot holds for them."""
    assert opened.payload is not None
    received, rows = consent.received, consent.trials
    shas = shas_of(rows, received)
    open_rows = {t: row for t, row in rows.items() if t not in consent.withheld}
    missing = {
        trial_id: Verdict(Reading(trial_id, str(row["file"] or ""), "missing", "the file is not in the bag"))
        for trial_id, row in open_rows.items()
        if trial_id not in shas
    }
    judged = Judged(delivery_id, str(received.site), desk.stamp, consent, report, missing, shas)
    judged = replace(judged, overrides=in_force(desk, received.site, consent.shas))
    ready = {t: row for t, row in open_rows.items() if t in shas and row["kind"] is not None}
    standing = tuple(t for t, row in ready.items() if row["kind"] == "standing")
    others = tuple(t for t in ready if t not in set(standing))
    sessions = {str(rows[t]["session_id"]) for t in others}
    references = earlier_references(desk, judged, sessions)
    return Layout(desk, judged, opened.payload, standing, others, other_postures(desk, received), references)


def judge_delivery(layout: Layout, tell: Tell, meanwhile: Callable[[], None] | None = None) -> Judged:
    """Judge the trials of a delivery. tell: called after each, once. meanwhile: called when all are under way."""
    desk, judged = layout.desk, layout.judged
    found, stamps = dict(judged.verdicts), dict[str, Mapping[str, str]]()
    of, done, told = sum(trial not in judged.withheld for trial in judged.rows), set[str](), set(judged.verdicts)

    def carried_out(tasks: Sequence[Task], then: Callable[[], None] | None = None) -> dict[str, Ended]:
        ended_by_key = {}
        for task, ended in desk.engine.results(tasks, then):
            ended_by_key[task.key] = ended
            done.add(task.key)
            if _is_verdict(task):
                trial = task.argument.row.trial_id
                found[trial], stamps[trial] = verdict_of(task, ended), of_trial(task.argument)
                if trial not in told:
                    told.add(trial)
                    tell(len(told), of)
        return ended_by_key

    first = carried_out(layout.first)
    carried_out(layout.second(first), meanwhile)
    whole = _looked_over(layout, first, found, stamps)
    while gone := _references_lost(whole):
        first = layout.without_references(first, gone)
        carried_out([task for task in layout.second(first) if task.key not in done])
        whole = _looked_over(layout, first, found, stamps)
    return whole


def _references_lost(judged: Judged) -> list[str]:
    """Recordings that others' muscle amplitudes were divided by, and that are not accepted themselves."""
    return [trial for trial in judged.references if not is_accepted(trial, judged)]


def _looked_over(
    layout: Layout, first: Mapping[str, Ended], found: Mapping[str, Verdict], stamps: Mapping[str, Mapping[str, str]]
) -> Judged:
    """The delivery with its verdicts, after what only all of them together can tell."""
    desk, judged = layout.desk, layout.judged
    in_order = [*judged.verdicts, *layout.standing, *layout.others]  # they end in any order
    verdicts, references = {t: found[t] for t in in_order}, layout.own_references(first)
    borrowed = layout.borrowed(first, stamps)
    judged = _with_copies(desk, replace(judged, verdicts=verdicts, stamps=borrowed, references=references))
    checked = {t: v.with_report(_check_reading(desk, judged, v)) for t, v in judged.verdicts.items()}
    checked = told_apart(checked, {t: row["session_id"] for t, row in judged.rows.items()})
    telling = {trial_id for trial_id, verdict in checked.items() if verdict.reading.identifying}
    unread = frozenset(t for t, verdict in checked.items() if verdict.reading.problem in _NOT_TO_ITS_END)
    postures = {**layout.postures, **own_postures(judged, layout.standing)}
    return replace(
        judged,
        verdicts=checked,
        consent=judged.consent.withholding(telling),
        waiting=waiting_for(replace(judged, verdicts=checked), postures),
        unread=unread,
        unagreed=frozenset(t for t, verdict in checked.items() if _may_hold_more(judged.consent, t, verdict)),
    )


def _may_hold_more(consent: Consent, trial: str, verdict: Verdict) -> bool:
    """Whether the trial's files hold, or may hold, signals that need a consent which was not in force.

    The files decide, not the tables: a row that was left out, or taken out by a withdrawal, leaves its signal there.
    A file that could not be read may hold anything.
    """
    unread = verdict.reading.problem is not None
    kinds = set(SENT_CHANNELS.scopes_of_words) if verdict.unexplained or unread else set()
    kinds |= set(RECORDED.scopes) if verdict.facts.get("plate_count") or unread else set()
    return not all(consent.allows(trial, scope) for scope in kinds)


def verdict_of(task: Task, ended: Ended) -> Verdict:
    """The verdict a task ended with; that it did not come to its end is a verdict, too."""
    row = task.argument.row
    if ended.problem is None and isinstance(ended.value, Verdict):
        return ended.value
    return Verdict(Reading(row.trial_id, row.file, ended.problem, ended.detail))


def _task(function: Callable[[TrialJob], Any], job: TrialJob) -> Task:
    """The key names all the result depends on within one run, in which code and study are the same for every task."""
    used = of_trial(job)
    about = (function.__name__, job.delivery_id, job.row.site, *(used[what] for what in sorted(used)))
    return Task("|".join(about), function, job)


def _is_verdict(task: Task) -> bool:
    return task.function is judge_trial


def _with_copies(desk: Desk, judged: Judged) -> Judged:
    """The same, each trial with the one it is a copy of, if it is one."""
    shapes = [v.outcomes["trial_shapes"] for v in judged.verdicts.values() if "trial_shapes" in v.outcomes]
    copies, shaped = copies_by_shape(desk, judged.delivery_id, judged.received, shapes, judged.shas)
    named = {trial: copy.named for trial, copy in copies.items()}
    verdicts = {
        trial: replace(v, reading=replace(v.reading, copy_of=named.get(trial), shaped=trial in shaped))
        for trial, v in judged.verdicts.items()
    }
    sources = {trial: {COPY_OF: copy.source} for trial, copy in copies.items() if copy.source}
    stamps = {trial: {**own, **sources.get(trial, {})} for trial, own in judged.stamps.items()}
    return replace(judged, verdicts=verdicts, stamps=stamps)


def _check_reading(desk: Desk, judged: Judged, verdict: Verdict) -> Report:
    context = Context(study=desk.study.study, delivery_id=judged.delivery_id, site=judged.site, reading=verdict.reading)
    return run_checks(Subject.READING, context, desk.stamp)
