"""The way of one delivery, stage by stage: open, gate, judge, publish.

Each stage is a plain function from what the one before gave. ``prepare`` walks all but the last and changes nothing
that counts: its result lies in ``work/`` until it is published, which ``pipelines.taking_in.publishing`` does. What is
checked is in ``checks``; what becomes of a trial in ``pipelines.judging.standings``; when a stage is due in
``pipelines.taking_in.due``. Gating is in ``pipelines.taking_in.gating``.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from checks.run import check_delivery
from pipelines.consent.held_texts import HeldTexts, held_texts, with_marks, with_own_words
from pipelines.consent.held_texts import write as write_held
from pipelines.consent.packing_notes import told_again
from pipelines.consent.redaction import redact_apart
from pipelines.consent.veil import veil_of
from pipelines.depot import overrides
from pipelines.depot.arrivals import Arrival, slug
from pipelines.depot.books.rows import (
    CONSENTS_UNREAD,
    GIVES_POSTURE,
    GIVES_REFERENCES,
    MADE,
    NO,
    REPEAT,
    STOPPED,
    TAKEN_IN,
    YES,
    Payload,
    Record,
    Result,
)
from pipelines.depot.consents import gate_of, taken_away
from pipelines.depot.desk import Desk, Opened, Tell
from pipelines.depot.unread_consents import is_unread
from pipelines.identity.guard import codes_of
from pipelines.identity.vocabulary import Vocabulary
from pipelines.identity.word_list import names_beside
from pipelines.judging import packed_with
from pipelines.judging.delivery_tables import (
    delivery_files,
    quality_tables,
    tables_of_delivery,
)
from pipelines.judging.muscle_references import given_digests
from pipelines.judging.of_delivery import Layout, judge_delivery, lay_out
from pipelines.judging.same_signals import cells_of_trials, copied_after
from pipelines.judging.stamps import Used, made, posture_digest
from pipelines.judging.standings import ACCEPTED, WITHHELD, Judged
from pipelines.taking_in.beyond_trials import tables_beyond_trials
from pipelines.taking_in.gating import Gated, gate
from pipelines.taking_in.keeping import (
    payload_of,
    rebuild_bag,
)
from pipelines.taking_in.kept_trials import trial_versions
from pipelines.taking_in.later_rows import told_rows
from pipelines.taking_in.naming import (
    name_for_stopped,
    same_content,
)
from pipelines.taking_in.publishing import (
    Passage,
    Prepared,
    forget_older,
    publish,
    site_of,
    used_to_stop,
    used_today,
)
from pipelines.taking_in.resends import with_parts
from pipelines.taking_in.writing import every_table, written
from schemas.model import Table
from schemas.quality import TRIAL_SHAPES

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.depot.books.rows import TrialVersion


def open_arrival(desk: Desk, arrival: Arrival, work: Path) -> Opened:
    """Receive what lies in the inbox into ``work``."""
    from pipelines.intake.opening import open_delivery

    names = names_beside(desk.study.path)
    received, payload = open_delivery(desk.isolated, arrival.path, arrival.site, work, desk.study.study, names)
    arrival.refuse_gone()
    received = with_own_words(received) if desk.shows_texts else with_marks(desk.books, received)
    return Opened(received, payload, arrival.site, arrival.name)


def open_again(desk: Desk, record: Record, work: Path) -> Opened:
    """Receive a delivery the depot holds from the bytes it holds, less what was withdrawn, into ``work``."""
    from pipelines.intake.bag import STUDY
    from pipelines.intake.opening import open_delivery

    site, _, name = record.arrival.partition("/")
    bag = rebuild_bag(desk.depot, record, work / "bag")
    withdrawn = desk.books.withdrawals.removed(datetime.now(UTC).isoformat(timespec="seconds"))
    if desk.books.withdrawals.any():
        redact_apart(desk.isolated, bag, withdrawn)
    names = names_beside(desk.study.path)
    received, payload = open_delivery(desk.isolated, bag, site, work, desk.study.study, names)
    # it was taken in under the title the study had then: a new title stops none that is held
    problems = tuple(p for p in received.problems if not (p.kind == "bag_info" and p.place == STUDY))
    came = desk.books.deliveries.payload(record.delivery_id)
    plain = Vocabulary.of(desk.study.study)
    plain = plain.knowing(codes_of(received, plain))
    problems = (*told_again(came.beside, withdrawn, names, plain), *problems)
    files = tuple(sorted((*received.files, *came.left_out), key=lambda file: file.path))
    received = with_marks(desk.books, replace(received, arrived_as=name, problems=problems, files=files))
    return Opened(received, payload, site, name)


def layout_of(desk: Desk, gated: Gated) -> Layout:
    """What of a gated delivery is to be judged, and with what."""
    return lay_out(desk, gated.delivery_id, gated.opened, gated.consent, gated.report)


@dataclass(frozen=True)
class Made:
    """What a delivery comes to, in memory. tables: each that a delivery has, if only an empty one; held: its texts."""

    result: Result
    tables: Mapping[Table, pd.DataFrame]
    held: HeldTexts = field(default_factory=HeldTexts)


def prepare(desk: Desk, gated: Gated, tell: Tell, meanwhile: Callable[[], None] | None = None) -> Prepared:
    """Judge a gated delivery, or stop it, and write its tables into ``work/``. meanwhile: as in ``make``."""
    made = make(desk, gated, tell, meanwhile)
    folder = written(desk, gated.opened, made.result, made.tables)
    write_held(made.held, folder)
    return Prepared(made.result, folder, gated.opened.payload if made.result.record.taken_in else None)


def make(desk: Desk, gated: Gated, tell: Tell, meanwhile: Callable[[], None] | None = None) -> Made:
    """Judge a gated delivery, or stop it; nothing is written.

    meanwhile: called once when its trials are under way.
    """
    if gated.stops:
        return _stopped(desk, gated)
    opened, consent, delivery_id = gated.opened, gated.consent, gated.delivery_id
    judged = judge_delivery(layout_of(desk, gated), tell, meanwhile)
    judged = replace(judged, held=_held(desk, judged))
    record = _record(desk, opened, delivery_id, TAKEN_IN, gated.before)
    record = replace(record, overrides=overrides.digest(judged.overrides))
    tables = tables_of_delivery(judged) | tables_beyond_trials(desk, judged)
    own = desk.books.trials.of_delivery(delivery_id) if gated.before else []
    words = {trial.trial_id: trial.resend for trial in own}
    trials = with_parts(trial_versions(judged, tables), consent, gated.earlier, words)
    payload = payload_of(opened, judged.consent, judged.unread | judged.unagreed, judged.held.files)
    cells, noted = cells_of_trials(tables[TRIAL_SHAPES]), desk.books.trials.cells_of(delivery_id)
    result = Result(
        replace(record, held=bool(payload.stored)),
        payload,
        judged.waiting,
        trials,
        stamps_of(desk, record.site),
        _trial_stamps(judged, trials),
        gate_of(judged.consent, judged.veil.names),
        judged.held.decided,
        cells,
        copied_after(desk, record, tables[TRIAL_SHAPES], [t for t, own in cells.items() if own != noted.get(t)]),
        told_rows(judged.consent, tables),
        packed_with.kept(opened.received.bag_info),
    )
    return Made(result, every_table(opened, result.record, tables), judged.held)


def _held(desk: Desk, judged: Judged) -> HeldTexts:
    """Texts that nobody has looked at, those of the recordings that were read and may be used, too.

    Its own laboratory is shown those of a recording that names somebody with the others, to mend them together.
    """
    shown = (v for trial, v in judged.verdicts.items() if desk.shows_texts or trial not in judged.withheld)
    held = held_texts(desk.books, judged.consent, (one for verdict in shown for one in verdict.held))
    return replace(held, marks={}) if desk.shows_texts else held


def _stopped(desk: Desk, gated: Gated) -> Made:
    opened, before = gated.opened, gated.before
    name = before.delivery_id if before else name_for_stopped(opened, desk.books)
    report, consent = gated.report, gated.consent
    if name != gated.delivery_id:
        report, consent = check_delivery(desk.study.study, name, consent, desk.stamp)
    # what the depot holds stays, so that the next code can judge it again
    payload = desk.books.deliveries.payload(name) if before is not None else Payload()
    marks = {} if desk.shows_texts else held_texts(desk.books, consent, ()).marks
    veil = veil_of(name, consent, named=False, marks=marks)
    findings = veil.findings(report.findings)
    tables = delivery_files(name, opened.received, veil) | quality_tables(findings, report.runs)
    unread = any(is_unread(f.file, f.weight, f.seen) for f in findings)
    record = replace(_record(desk, opened, name, STOPPED, before), held=bool(payload.stored))
    # what is held keeps what it told; of what is not held at least whatever takes consent away counts
    told = None if before is not None else taken_away(consent)
    stamps = _stamps(used_to_stop(desk, site_of(record))) | {CONSENTS_UNREAD: YES if unread else NO}
    packed = packed_with.kept(opened.received.bag_info)
    result = Result(record, payload, stamps=stamps, gate=told, packed_with=packed)
    return Made(result, every_table(opened, record, tables))


def prepare_repeat(desk: Desk, opened: Opened, same: Record) -> Prepared:
    """A delivery whose bytes are those of ``same``: only that it came is noted."""
    name = f"{same.delivery_id}.repeat.{slug(opened.name)}"[:64]
    result = Result(_record(desk, opened, name, REPEAT))
    return Prepared(result, written(desk, opened, result, every_table(opened, result.record, {})))


def stamps_of(desk: Desk, site: str | None) -> dict[str, str]:
    """The stamps of a delivery of ``site`` that is judged today."""
    return _stamps(used_today(desk, site))


def _stamps(used: Mapping[str, Used]) -> dict[str, str]:
    return {what: one.digest for what, one in used.items()} | {MADE: made(used)}


def _trial_stamps(judged: Judged, trials: Iterable[TrialVersion]) -> dict[str, Mapping[str, str]]:
    """What each trial was judged with, and what it gives to others; of a withheld one nothing."""
    found: dict[str, Mapping[str, str]] = {}
    trials = list(trials)
    references = given_digests(judged, (t.trial_id for t in trials if t.standing == ACCEPTED))
    for trial in (t for t in trials if t.standing != WITHHELD and t.trial_id in judged.stamps):
        name, gives = trial.trial_id, dict[str, str]()
        if trial.gives_posture:
            gives[GIVES_POSTURE] = posture_digest(judged.verdicts[name].posture)
        if name in references:
            gives[GIVES_REFERENCES] = references[name]
        found[name] = {**judged.stamps[name], **gives}
    return found


def take_in(desk: Desk, arrival: Arrival, tell: Tell) -> Passage:
    """Take in one arrival: its result is in the depot afterwards, whole, and the older one is gone."""
    with desk.depot.working("receive") as work:
        return take_in_opened(desk, open_arrival(desk, arrival, work), tell)


def take_in_opened(
    desk: Desk,
    opened: Opened,
    tell: Tell,
    meanwhile: Callable[[], None] | None = None,
    ahead: Gated | None = None,
    why: str | None = None,
) -> Passage:
    """Take in a delivery that was opened; its folder must stay until this ends. ahead: as in ``gate``.

    why: for the ledger, if it was opened before.
    """
    why = why or f"It arrived as {opened.arrival}."
    if (same := same_content(opened, desk.books)) is not None:
        if same.arrival == opened.arrival:
            return Passage(same, changed=False)
        return publish(desk, prepare_repeat(desk, opened, same), why)
    passage = publish(desk, prepare(desk, gate(desk, opened, ahead=ahead), tell, meanwhile), why)
    forget_older(desk, passage.record)
    return passage


def _record(desk: Desk, opened: Opened, delivery_id: str, status: str, before: Record | None = None) -> Record:
    """The record of a delivery; its fingerprint and its day stay those of the bytes as they first came.

    So does the day of what is still not taken in; what cannot be read has no fingerprint. What was stopped and is taken
    in now came only now for those that are compared with it.
    """
    received = opened.received
    earlier = desk.books.deliveries.of_arrival(opened.arrival) if status != TAKEN_IN else []
    came = before or next((r for r in earlier if r.fingerprint == received.fingerprint), None)
    return Record(
        delivery_id=delivery_id,
        arrival=opened.arrival,
        status=status,
        site=received.site,
        number=received.number,
        fingerprint=before.fingerprint if before else received.fingerprint,
        received_utc=came.received_utc if came else datetime.now(UTC).isoformat(timespec="seconds"),
        result=secrets.token_hex(8),
        **vars(desk.stamp),
    )
