"""Trials with one thing wrong by a known amount, and how far each outcome moved.

A perturbation is applied to the trial in memory, as the equipment would have recorded it. An outcome moves by the
difference of its mean over the footfalls found in both; it may do so by twice its stated standard uncertainty, or a
check that did not speak before must speak. Two real recordings and two simulated ones.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from benchmarks.detection.specimens import Case, specimen
from benchmarks.detection.way import job_of
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
from schemas.trial import FloatArray, Plate, Trial

_STAMP = Stamp("perturbed", "perturbed")
_ALIKE_S = 0.1


@dataclass(frozen=True)
class Perturbation:
    """One thing that is wrong. change: of the trial. settings: of the processing, in place of the study's.

    Another setting is another definition of the outcome and no fault of the equipment: what it is worth is shown, and
    nobody has to speak. times: how many times what uncertainties assume, where no check can see it; outcomes may then
    move as many times further.
    """

    name: str
    change: Callable[[Trial], Trial] = lambda trial: trial
    settings: dict[str, float] | None = None
    times: float = 1.0


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


# --- what is wrong ---------------------------------------------------------------------------------------------------


def _plates(change: Callable[[Plate, float], Plate]) -> Callable[[Trial], Trial]:
    """The same of every plate; the second argument is the rate of force in Hz."""

    def changed(trial: Trial) -> Trial:
        rate = trial.analog_rate_hz or 1.0
        return replace(trial, plates=tuple(change(plate, rate) for plate in trial.plates))

    return changed


def _pushed(force: Callable[[int], FloatArray]) -> Callable[[Trial], Trial]:
    """A force (n, 3) N more at the middle of each plate."""

    def push(plate: Plate, _: float) -> Plate:
        extra = force(len(plate.force))
        turn = np.cross(plate.corners.mean(axis=0), extra)
        return replace(plate, force=plate.force + extra, moment=plate.moment + turn)

    return _plates(push)


def _offset(newtons: float, axis: int) -> Callable[[Trial], Trial]:
    return _pushed(lambda count: np.tile(newtons * np.eye(3)[axis], (count, 1)))


def _drift(newtons: float) -> Callable[[Trial], Trial]:
    return _pushed(lambda count: np.linspace(0, newtons, count)[:, None] * [0.0, 1.0, 0.0])


def _noise(newtons: float) -> Callable[[Trial], Trial]:
    return _pushed(lambda count: np.random.default_rng(7).normal(0, newtons, (count, 3)) * [0.5, 1.0, 0.5])


def _gain(times: float) -> Callable[[Trial], Trial]:
    return _plates(lambda plate, _: replace(plate, force=plate.force * times, moment=plate.moment * times))


def _lag(milliseconds: float) -> Callable[[Trial], Trial]:
    def late(plate: Plate, rate: float) -> Plate:
        samples = round(milliseconds / 1000 * rate)
        return replace(
            plate, force=np.roll(plate.force, samples, axis=0), moment=np.roll(plate.moment, samples, axis=0)
        )

    return _plates(late)


def _half_rate(trial: Trial) -> Trial:
    plates = tuple(replace(p, force=p.force[::2], moment=p.moment[::2], raw=p.raw[::2]) for p in trial.plates)
    return replace(trial, plates=plates, analog_rate_hz=(trial.analog_rate_hz or 0.0) / 2)


def _lost(seconds: float) -> Callable[[Trial], Trial]:
    """The converter repeats its last sample for so long, in the middle of the recording."""

    def hold(plate: Plate, rate: float) -> Plate:
        middle, count = len(plate.force) // 2, round(seconds * rate)
        force, moment, raw = plate.force.copy(), plate.moment.copy(), plate.raw.copy()
        for signal in (force, moment, raw):
            signal[middle : middle + count] = signal[middle - 1]
        return replace(plate, force=force, moment=moment, raw=raw)

    return _plates(hold)


def _shaking_markers(millimetres: float) -> Callable[[Trial], Trial]:
    def shaken(trial: Trial) -> Trial:
        chance = np.random.default_rng(8)
        paths = {name: path + chance.normal(0, millimetres / 1000, path.shape) for name, path in trial.markers.items()}
        return replace(trial, markers=paths)

    return shaken


GRID = (
    *(Perturbation(f"{n:+g} N vertically", _offset(n, 1)) for n in (-14, -8, 8, 14, 20)),
    *(Perturbation(f"{n:+g} N fore-aft", _offset(n, 0)) for n in (-14, 14, 20)),
    *(Perturbation(f"drift by {n:+g} N", _drift(n)) for n in (10, 20)),
    *(Perturbation(f"gain times {g}", _gain(g)) for g in (0.91, 0.97, 1.02, 1.05, 1.09)),
    *(Perturbation(f"force {ms:+g} ms late", _lag(ms)) for ms in (-20, -10, -5, 5, 10, 20)),
    *(Perturbation(f"noise of {n:g} N", _noise(n)) for n in (5, 10, 15)),
    Perturbation("half the force samples", _half_rate),
    Perturbation("a packet of 30 ms lost", _lost(0.03)),
    Perturbation("markers shake by 1 mm", _shaking_markers(1)),
    Perturbation("markers shake by 3 mm", _shaking_markers(3), times=3),
    Perturbation("threshold of 30 N", settings={"contact_threshold_n": 30.0}),
)
