"""Faults that are told only by comparison with another trial: copies, and accepted trials that come again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from benchmarks.detection.plants import Plant
from benchmarks.detection.sending import Sent, clean
from benchmarks.detection.specimens import STUDY, Case, Specimen, specimen
from benchmarks.detection.way import STAMP, job_of
from checks.context import Context, of_delivery
from checks.findings import Report
from checks.registry import catalogue
from checks.run import run_one
from demo_site_uploads.simulator.faults import played_at_another_speed
from demo_site_uploads.simulator.tables import Rows
from pipelines.depot.books.rows import TrialVersion
from pipelines.judging.judge import workspace_of
from pipelines.science.known_again import Kept, kept_in, rows_in
from pipelines.taking_in.resends import parts_of, with_changed_trials
from schemas.consent import Consent
from schemas.reading import Reading
from schemas.received import Received


@dataclass(frozen=True)
class Again:
    """A delivery after an earlier one of the same trials, all of which were accepted."""

    before: Sent
    after: Sent

    def report(self, check_name: str) -> Report:
        """What the check says of the later one."""
        earlier = self._received(self.before)
        number = int(earlier.number or 1)
        before = {
            trial: TrialVersion("before", trial, str(earlier.site), "accepted", parts=parts)
            for trial, parts in parts_of(Consent.of(earlier, STUDY)).items()
        }
        later = replace(self._received(self.after), number=number + 1)
        later = replace(later, known_trials=dict.fromkeys(before, "before"))
        context = of_delivery(STUDY, "after", with_changed_trials(Consent.of(later, STUDY), before))
        return run_one(catalogue()[check_name], context, STAMP)

    def _received(self, sent: Sent) -> Received:
        received = sent.context().arrived
        assert received is not None
        return received


def _changed_without_reason(case: Case, size: float, chance: np.random.Generator) -> Again:
    def change(rows: Rows) -> None:
        row = rows.sessions[0]
        row["mass_kg"] = round(float(row["mass_kg"]) * (1 + size / 100), 1)

    return Again(clean(case), clean(case).spoilt(change))


@dataclass(frozen=True)
class Copied:
    """A trial, and what is sent as another one."""

    first: Specimen
    second: Specimen

    def report(self, check_name: str) -> Report:
        """What the check says of the second, once its shape has been compared with the first's."""
        one, other = (self._kept(s) for s in (self.first, self.second))
        known = bool(one.own_cells) and bool(other.own_cells)
        near = not one.own_cells.isdisjoint(other.cells)
        copy = "another trial" if known and near and other.is_one_with(one) else None
        reading = Reading(self.second.row.trial_id, self.second.row.file, copy_of=copy, shaped=known)
        context = Context(study=STUDY, delivery_id="copied", site=self.second.row.site, reading=reading)
        return run_one(catalogue()[check_name], context, STAMP)

    @staticmethod
    def _kept(one: Specimen) -> Kept:
        shapes = workspace_of(job_of(one))[0].trial_shapes
        return next(iter(kept_in(rows_in(shapes)).values()), Kept())


def _resampled(case: Case, size: float, chance: np.random.Generator) -> Copied:
    """The same recording, played faster or slower by ``size`` per cent."""
    own = specimen(case)
    fault: Callable[..., object] = played_at_another_speed(1 + size / 100 * float(chance.choice([-1, 1])))
    return Copied(own, own.faulty(fault))  # type: ignore[arg-type]


def _with_the_start_cut(case: Case, size: float, chance: np.random.Generator) -> Copied:
    """The same recording without its first ``size`` per cent."""
    own = specimen(case)
    recording = own.recording
    frames = round(len(recording.points) * size / 100)
    samples = frames * (len(recording.analog) // len(recording.points))
    return Copied(own, own.with_recording(points=recording.points[frames:], analog=recording.analog[samples:]))


def _with_noise(case: Case, size: float, chance: np.random.Generator) -> Copied:
    """The same recording without its first frame, every marker shaken by ``size`` mm (standard deviation)."""
    cut = _with_the_start_cut(case, 100 / len(specimen(case).recording.points), chance)
    points = cut.second.recording.points
    unit = 1000.0 if cut.second.recording.point_unit == "m" else 1.0
    return replace(cut, second=cut.second.with_recording(points=points + chance.normal(0, size / unit, points.shape)))


def _standing_again(case: Case, size: float, chance: np.random.Generator) -> Copied:
    """A standing trial without its first fifth, positions rounded to ``size`` mm."""
    cut = _with_the_start_cut(case, 20.0, chance)
    recording = cut.second.recording
    grid = size / 1000 if recording.point_unit == "m" else size
    return replace(cut, second=cut.second.with_recording(points=np.round(recording.points / grid) * grid))


PLANTS = (
    Plant(
        "changed_trials_say_why", "the mass of an accepted session comes again {size} larger, without a reason", "%",
        (0.5, 5.0), 0.5, "any change of an accepted trial has to be told", send=_changed_without_reason,
        share_of_trials=0.2,
    ),
    Plant(
        "recording_is_of_one_trial_only", "a recording is sent again as another trial, played {size} faster or slower",
        "%", (0.0, 1.0, 3.0, 10.0), 3.0, "the same run counts twice", send=_resampled, share_of_trials=0.5,
    ),
    Plant(
        "recording_is_of_one_trial_only", "a recording is sent again as another trial, without its first {size}", "%",
        (10.0, 20.0, 50.0), 20.0, "the same run counts twice", send=_with_the_start_cut, share_of_trials=0.5,
    ),
    Plant(
        "recording_is_of_one_trial_only",
        "a recording is sent again as another trial, less a frame and with noise of {size}", "mm", (0.5, 2.0, 5.0), 2.0,
        "the same run counts twice", send=_with_noise, share_of_trials=0.5,
    ),
    Plant(
        "recording_is_of_one_trial_only",
        "a standing trial is sent again as another one, without its first fifth and rounded to {size}", "mm",
        (0.01, 0.1, 1.0), 0.1, "the other one's strike and joint angles count from somebody else's posture",
        send=_standing_again, kind="standing", share_of_trials=0.5,
    ),
    Plant(
        "recording_is_of_one_trial_only",
        "a standing trial is sent again as another one, less a frame and with noise of {size}", "mm",
        (0.1, 0.3, 1.0, 2.0), 0.1, "the other one's strike and joint angles count from somebody else's posture",
        send=_with_noise, kind="standing", share_of_trials=0.5,
    ),
)  # fmt: skip
