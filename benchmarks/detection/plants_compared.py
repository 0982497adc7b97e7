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
from pipelines.science.shapes import alike, shapes_in, shapes_of
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
        one, other = (self._shapes(s) for s in (self.first, self.second))
        known = bool(one) and bool(other)
        copy = "another trial" if known and alike(one, other) else None
        reading = Reading(self.second.row.trial_id, self.second.row.file, copy_of=copy, shaped=known)
        context = Context(study=STUDY, delivery_id="copied", site=self.second.row.site, reading=reading)
        return run_one(catalogue()[check_name], context, STAMP)

    @staticmethod
    def _shapes(one: Specimen) -> dict[str, np.ndarray]:
        job = job_of(one)
        trial = workspace_of(job)[0].trial
        return next(iter(shapes_in(shapes_of(trial, STUDY.processing).frame()).values()), {})


def _resampled(case: Case, size: float, chance: np.random.Generator) -> Copied:
    """The same recording, played faster or slower by ``size`` per cent."""
    own = specimen(case)
    fault: Callable[..., object] = played_at_another_speed(1 + size / 100 * float(chance.choice([-1, 1])))
    return Copied(own, own.faulty(fault))  # type: ignore[arg-type]


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
)  # fmt: skip
