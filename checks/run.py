"""Runs checks and makes findings; the only maker of findings and of words on how a check ended."""

from __future__ import annotations

import hashlib
import traceback
from collections.abc import Iterable, Mapping
from string import Formatter
from typing import Any

from checks.context import PARTS, Context, of_delivery
from checks.evidence import Picture
from checks.findings import CheckRun, Finding, Report, Stamp, Status
from checks.registry import CheckSpec, Fault, Looked, Subject, Weight, catalogue
from schemas.consent import Consent
from schemas.study import Study

_FORMATTER = Formatter()


class FaultError(Exception):
    """A check tells a fault in a way that its messages cannot be made of; holds no words of a delivery."""


def run_checks(about: Subject, context: Context, stamp: Stamp, only: Iterable[str] | None = None) -> Report:
    """Run every check about ``about`` (or those named in ``only``) on the context's subject."""
    report = Report()
    wanted = set(only) if only is not None else None
    for spec in catalogue().values():
        if spec.about is about and (wanted is None or spec.name in wanted):
            report.add(run_one(spec, context, stamp))
    return report


def check_delivery(study: Study, delivery_id: str, consent: Consent, stamp: Stamp) -> tuple[Report, Consent]:
    """Run every check about a delivery; also returns consent without the trials that a check withholds."""
    report = run_checks(Subject.DELIVERY, of_delivery(study, delivery_id, consent), stamp)
    withheld = (f.trial_id for f in report.findings if f.weight is Weight.WITHHOLDS and f.trial_id)
    return report, consent.withholding(withheld)


def run_one(spec: CheckSpec, context: Context, stamp: Stamp) -> Report:
    """Run one check; a crash inside it becomes a status of its own and a finding that keeps the trial out."""
    limits = {**spec.defaults, **context.study.limits_of(spec.name, context.site)}
    status: Status
    reason: str | None
    try:
        result = spec.function(**{name: PARTS[name].access(context) for name in spec.needs}, **limits)
        findings = [row for fault in result.faults for row in _findings(spec, fault, limits, context, stamp)]
        status, reason = _status(result)
    except Exception as error:  # any fault of ours must not take the run down
        where = traceback.extract_tb(error.__traceback__)[-1]
        result, status = Looked(0), Status.CRASHED
        told = str(error) if isinstance(error, FaultError) else type(error).__name__
        reason = f"{told} in {where.name}, line {where.lineno}"
        findings = [_crash_finding(spec, reason, context, stamp)]
    run = CheckRun(
        delivery_id=context.delivery_id,
        check_name=spec.name,
        subject=_subject(spec, context),
        status=status,
        reason=reason,
        rows_examined=result.examined,
        finding_count=len(findings),
        code_version=stamp.code_version,
        study_version=stamp.study_version,
    )
    return Report(findings, [run], [(spec.name, answer) for answer in result.evidence])


def _status(result: Looked) -> tuple[Status, str | None]:
    if result.faults:
        return Status.FOUND, None
    if result.examined:
        return Status.PASS, None
    return Status.SKIPPED, result.reason or "there was nothing to look at"


def _subject(spec: CheckSpec, context: Context) -> str:
    return _trial_id(context) or (context.site if spec.about is Subject.SITE else None) or "delivery"


def _trial_id(context: Context) -> str | None:
    if context.trial is not None:
        return context.trial.trial_id
    return context.reading.trial_id if context.reading is not None else None


def _findings(spec: CheckSpec, fault: Fault, limits: dict[str, float], context: Context, stamp: Stamp) -> list[Finding]:
    if lacking := [word for word in spec.words if word not in fault]:
        raise FaultError(f"a fault does not tell {', '.join(lacking)}, which a message names")
    values = {**limits, **fault}
    said = {name: filled(getattr(spec, name), values) for name in ("seen", "expected", "remedy")}
    spans = tuple((name, start, end) for name, (_, own) in said.items() for start, end in own)
    return [
        _finding(
            spec.name,
            Weight(fault.get("weight", spec.weight)),
            context,
            stamp,
            trial_id=trial_id,
            file=fault.get("file") or _file(context),
            place=fault.get("place"),
            seen=said["seen"][0],
            expected=said["expected"][0],
            remedy=said["remedy"][0],
            moment_s=fault.get("moment_s"),
            signal=fault.get("signal"),
            shows=fault.get("shows"),
            spans=spans,
        )
        for trial_id in _trials_touched(fault, context)
    ]


def filled(sentence: str, values: Mapping[str, Any]) -> tuple[str, list[tuple[int, int]]]:
    """A sentence with values in it, as ``str.format`` makes it, and where in it they stand."""
    text, spans = "", []
    for literal, name, form, conversion in _FORMATTER.parse(sentence):
        text += literal
        if name is not None:
            asked = f"{{{name}{f'!{conversion}' if conversion else ''}{f':{form}' if form else ''}}}"
            value = asked.format(**values)
            spans.append((len(text), len(text) + len(value)))
            text += value
    return text, spans


def _crash_finding(spec: CheckSpec, reason: str, context: Context, stamp: Stamp) -> Finding:
    return _finding(
        spec.name,
        Weight.NOTES if spec.about is Subject.SITE else Weight.RETURNS,
        context,
        stamp,
        trial_id=_trial_id(context),
        file=_file(context),
        place=None,
        seen=f"The check itself failed: {reason}.",
        expected="Every check runs to its end.",
        remedy="Nothing to correct at the site; the data manager reports this as a fault of manystrides.",
        moment_s=None,
        signal=None,
    )


def _finding(
    check_name: str,
    weight: Weight,
    context: Context,
    stamp: Stamp,
    *,
    trial_id: str | None,
    file: str | None,
    place: str | None,
    seen: str,
    expected: str,
    remedy: str,
    moment_s: float | None,
    signal: str | None,
    shows: Picture | None = None,
    spans: tuple[tuple[str, int, int], ...] | None = None,
) -> Finding:
    """A finding, with an id made from where it is and what was seen."""
    identity = (context.delivery_id, trial_id, check_name, file, place, moment_s, seen)
    return Finding(
        finding_id=hashlib.sha256(repr(identity).encode()).hexdigest()[:16],
        delivery_id=context.delivery_id,
        site=context.site,
        trial_id=trial_id,
        check_name=check_name,
        weight=weight,
        file=file,
        place=place,
        seen=seen,
        expected=expected,
        remedy=remedy,
        moment_s=moment_s,
        signal=signal,
        code_version=stamp.code_version,
        study_version=stamp.study_version,
        shows=shows,
        spans=spans,
    )


def _file(context: Context) -> str | None:
    if context.trial is not None:
        return context.trial.file
    return context.reading.file if context.reading is not None else None


def _trials_touched(fault: Fault, context: Context) -> list[str | None]:
    """The trials a fault belongs to: its own, or all trials of the session or runner whose row is at fault."""
    if own := fault.get("trial_id") or _trial_id(context):
        return [own]
    tables = context.arrived.tables if context.arrived is not None else {}
    trials, sessions = tables.get("sent_trials"), tables.get("sent_sessions")
    touched: list[str | None] = []
    if trials is not None and fault.get("session_id"):
        touched = trials.loc[trials["session_id"] == fault["session_id"], "trial_id"].dropna().tolist()
    elif trials is not None and sessions is not None and fault.get("participant_id"):
        own_sessions = sessions.loc[sessions["participant_id"] == fault["participant_id"], "session_id"]
        touched = trials.loc[trials["session_id"].isin(own_sessions), "trial_id"].dropna().tolist()
    return touched or [None]
