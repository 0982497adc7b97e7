"""Trials with one thing wrong by a known amount, and how far each outcome moved.

A perturbation is applied to the trial in memory, as the equipment would have recorded it. An outcome moves by the
difference of its mean over the footfalls found in both; it may do so by twice its stated standard uncertainty, or a
check that did not speak before must speak. Two real recordings and two simulated ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from benchmarks.detection.specimens import Case, specimen
from benchmarks.detection.way import job_of
from benchmarks.perturbations.wrong import Perturbation
from benchmarks.real_recordings.recordings import runway, there, treadmill
from checks.context import Context
from checks.findings import Finding, Stamp
from checks.registry import Subject
from checks.run import run_checks
from pipelines.judging.judge import TrialJob, context_of
from pipelines.science.equipment.moved import JUDGED
from pipelines.science.frames import Rows, computed_fields
from pipelines.science.workspace import Workspace
from schemas.model import Kind
from schemas.outcomes_signals import FOOTFALL_JOINTS
from schemas.processing import Processing
from schemas.reading import Reading
from schemas.trial import FloatArray

_STAMP = Stamp("perturbed", "perturbed")
_ALIKE_S = 0.1


@dataclass(frozen=True)
class Move:
    """How far the mean of one outcome moved, and its standard uncertainty (NaN: none is stated)."""

    outcome: str
    unit: str
    by: float
    uncertainty: float

    @property
    def outside(self) -> bool:
        """Whether it moved by more than twice that."""
        return abs(self.by) > 2 * self.uncertainty + 1e-9


@dataclass(frozen=True)
class Effect:
    """What a perturbation did. lost: footfalls that are no longer there. spoke: checks that had not spoken before."""

    moves: tuple[Move, ...]
    lost: int
    spoke: tuple[str, ...]
    is_a_definition: bool = False

    def told(self) -> str:
        """In a few words."""
        outside = sum(move.outside for move in self.moves)
        spoke = "another definition" if self.is_a_definition else ", ".join(self.spoke) or "nobody spoke"
        return f"{outside:2} of {len(self.moves)} outside, {self.lost} footfalls lost; {spoke}"


@dataclass(frozen=True)
class Subjected:
    """A recording to be perturbed, as it is."""

    name: str
    context: Context
    found: frozenset[tuple[str, str]]

    @property
    def work(self) -> Workspace:
        """What is worked out of it as it is."""
        assert self.context.work is not None
        return self.context.work


def recordings() -> Iterator[Subjected]:
    """Real ones, if they are on this machine, then simulated ones."""
    if there():
        yield from (_as_it_is(one.name, one.job) for one in (treadmill(), runway()))
    for site in ("brack", "corrie"):
        yield _simulated(site)


@cache
def _simulated(site: str) -> Subjected:
    return _as_it_is(f"simulated {site}", job_of(specimen(Case(1, site))))


def _as_it_is(name: str, job: TrialJob) -> Subjected:
    context = context_of(job, Reading(job.row.trial_id, job.row.file))
    subject = Subjected(name, context, frozenset())
    return replace(subject, found=frozenset(_spoken(subject.context)))


def _spoken(context: Context) -> Iterator[tuple[str, str]]:
    for finding in run_checks(Subject.TRIAL, context, _STAMP).findings:
        yield _key(finding)


def _key(finding: Finding) -> tuple[str, str]:
    return finding.check_name, str(finding.weight)


def moved(subject: Subjected, perturbation: Perturbation, *, ask_always: bool = True) -> Effect:
    """What the perturbation does to the recording.

    ask_always: also where nothing moved out of its uncertainty, which is most of the work.
    """
    plain = subject.work
    settings = plain.processing.model_copy(update=perturbation.settings or {})
    work = Workspace(perturbation.change(plain.trial), Processing.model_validate(settings.model_dump()), plain.posture)
    here, there_ = plain.footfalls, work.footfalls
    pairs = _pairs(here, there_)
    stated = dict(
        zip(
            work.outcome_uncertainties.columns["outcome"],
            work.outcome_uncertainties.numbers("standard_uncertainty_value"),
            strict=True,
        )
    )
    moves = []
    before, after = _values(plain), _values(work)
    for outcome, (unit, values) in before.items():
        others = after.get(outcome, (unit, np.full(len(there_), np.nan)))[1]
        change = [others[j] - values[i] for i, j in pairs]
        known = [one for one in change if np.isfinite(one)]
        if known:
            uncertainty = perturbation.times * float(stated.get(outcome, 0.0))
            moves.append(Move(outcome, unit, float(np.mean(known)), uncertainty))
    lost = len(here) - len(pairs)
    if lost:
        moves.append(Move("footfall_count", "1", -float(lost), 0.0))
    spoke: set[str] = set()
    if ask_always or any(move.outside for move in moves):
        context = replace(subject.context, work=work)
        spoke = {name for name, weight in _spoken(context) if (name, weight) not in subject.found}
    return Effect(tuple(moves), lost, tuple(sorted(spoke)), perturbation.settings is not None)


def _values(work: Workspace) -> dict[str, tuple[str, FloatArray]]:
    """Outcome -> its unit and its values, one for each footfall; of joints under the names of the uncertainties."""
    footfalls, joints = work.footfalls, work.footfall_joints
    found = {column.name: (str(column.unit), footfalls.numbers(column.name)) for column in JUDGED}
    place = {number: i for i, number in enumerate(footfalls.columns["footfall_number"])}
    for column in (field for field in computed_fields(FOOTFALL_JOINTS) if field.kind is Kind.REAL):
        for row in joints.records:
            name = "/".join((row["joint"], row["plane"], row["angle_against"], column.name))
            values = found.setdefault(name, (str(column.unit), np.full(len(footfalls), np.nan)))[1]
            values[place[row["footfall_number"]]] = row[column.name]
    return found


def silent(effect: Effect) -> list[Move]:
    """Outcomes that moved out of their uncertainty, if no check spoke."""
    return [] if effect.spoke or effect.is_a_definition else [move for move in effect.moves if move.outside]


def _pairs(here: Rows, there_: Rows) -> list[tuple[int, int]]:
    a, b = here.numbers("contact_s"), there_.numbers("contact_s")
    if not len(b):
        return []
    nearest = [(i, int(np.argmin(np.abs(b - when)))) for i, when in enumerate(a)]
    sides = here.columns["side"], there_.columns["side"]
    return [(i, j) for i, j in nearest if abs(a[i] - b[j]) < _ALIKE_S and sides[0][i] == sides[1][j]]
