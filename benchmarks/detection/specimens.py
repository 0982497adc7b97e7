"""Clean trials to plant faults in: invented runners of many sizes and speeds, in the three invented laboratories, with
the small imperfections that good recordings have (``imperfections``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

import numpy as np

from benchmarks.detection.imperfections import imperfect
from demo_site_uploads.simulator.channels import channel_rows
from demo_site_uploads.simulator.faults import Fault
from demo_site_uploads.simulator.labs import Recording, lab, record
from demo_site_uploads.simulator.measure import Asked, simulate_trial
from demo_site_uploads.simulator.plates import share_of
from demo_site_uploads.simulator.runner import Gait, Runner, gait_of
from demo_site_uploads.simulator.trial import SimulatedTrial, random_source
from pipelines.intake.to_trial import TrialRow
from pipelines.study.file import load_study
from schemas.study import SiteProfile, Study
from schemas.trial import Posture

STUDY = load_study(Path(__file__).resolve().parents[2] / "demo_site_uploads" / "study.yaml").study
SITES = ("brack", "corrie", "tarn")
CONDITIONS = ("cushioned", "thin_soled", "unshod")
VISITS = ("week_0", "week_5", "week_10")
DURATION_S = {"brack": 3.2, "tarn": 4.0}  # six footfalls of the slowest runner, and enough for two clocks
RUNWAY_M = 2.5  # beyond the middle plate; further off 16 bits do not reach
SPEEDS_M_PER_S = (2.5, 4.5)


@dataclass(frozen=True)
class Case:
    """One clean trial by number. muscles: their amplifier is on. second: tarn's second file is recorded too."""

    number: int
    site: str
    kind: str = "running"
    muscles: bool = False
    second: bool = False

    @property
    def trial_id(self) -> str:
        """The seed of everything random in it."""
        return f"D{self.number:04d}-{self.site}-{self.kind.replace('_', '-')}"

    def chance(self, of: str) -> np.random.Generator:
        """Random numbers of this case for one purpose."""
        return random_source(f"{self.trial_id}/{of}")


class Contact(NamedTuple):
    """What truly happened: one foot on the ground, s on the trial's clock."""

    side: str
    contact_s: float
    toe_off_s: float


@dataclass(frozen=True)
class Specimen:
    """A trial before it is written into files; plants change it.

    second: the file recorded beside it. after_writing: what happens to the C3D file's bytes. case: None for the real
    run. trial: the simulated truth, None for the real run. references_times: what the session's muscle references are,
    as a multiple of the trial's own.
    """

    recording: Recording
    contacts: tuple[Contact, ...]
    row: TrialRow
    profile: SiteProfile
    study: Study
    channel_rows: tuple[Mapping[str, Any], ...] = ()
    second: bytes | None = None
    posture: Posture | None = None
    after_writing: Callable[[bytes], bytes] | None = None
    case: Case | None = None
    trial: SimulatedTrial | None = None
    plates_hit: tuple[int, ...] = field(default=())
    references_times: float = 1.0

    def label(self, role: str) -> str:
        """The file's name of a marker, given its role with side."""
        return self.profile.markers[role]

    def channel(self, plate: int, name: str) -> str:
        """The file's name of a plate's channel, for example Fz of plate 2."""
        return f"P{plate}.{name}"

    def verticals(self, plate: int) -> list[str]:
        """The channels that together are the plate's vertical force; each points down in the plate's axes."""
        names = ("Fz1", "Fz2", "Fz3", "Fz4") if self.recording.plate_types[plate - 1] == 3 else ("Fz",)
        return [self.channel(plate, name) for name in names]

    def fore_aft(self, plate: int) -> str:
        """How the names begin of the plate's channels along the way of running."""
        one, two = self.recording.corners[plate - 1][:2]  # the first two corners lie along the plate's x axis
        forward = "xyz".index(self.profile.axes.forward[1])
        return "Fx" if int(np.argmax(np.abs(two - one))) == forward else "Fy"

    @property
    def mapped_labels(self) -> tuple[str, ...]:
        """The labels of the file that the profile has a role for."""
        return tuple(label for label in self.recording.labels if label in self.profile.markers.values())

    def columns(self, plate: int, start: str = "") -> list[int]:
        """Indices of the plate's channels whose name begins with ``start``."""
        begins = self.channel(plate, start)
        return [i for i, label in enumerate(self.recording.analog_labels) if label.startswith(begins)]

    def with_recording(self, **changes: Any) -> Specimen:
        """The same with fields of the recording replaced."""
        return replace(self, recording=replace(self.recording, **changes))

    def faulty(self, fault: Fault) -> Specimen:
        """The same with a fault of the demonstration planted."""
        truth: Any = self.trial or SimpleNamespace(trial_id=self.row.trial_id, footfalls=self.contacts)
        return replace(self, recording=fault(self.recording, truth))

    def with_row(self, **changes: Any) -> Specimen:
        """The same with other words in the tables."""
        return replace(self, row=replace(self.row, **changes))

    def again(
        self, *, gait: Callable[[Gait], Gait] | None = None, speed: float | None = None, **asked: Any
    ) -> Specimen:
        """The same runner recorded again, with something else asked of him or her. speed: m/s."""
        assert self.case is not None
        return _made(self.case, self.study, Asked(**asked), gait, speed)


@lru_cache(maxsize=400)
def specimen(case: Case) -> Specimen:
    """The clean trial of a case, with its standing posture."""
    from benchmarks.detection.way import posture_in

    made = _made(case, STUDY, Asked(), None, None)
    if case.kind != "running":
        return made
    still = _made(replace(case, kind="standing", second=False), STUDY, Asked(), None, None)
    return replace(made, posture=posture_in(still))


def _made(
    case: Case, study: Study, asked: Asked, change: Callable[[Gait], Gait] | None, speed: float | None
) -> Specimen:
    from demo_site_uploads.simulator.sidecar import edf_bytes

    chance = random_source(f"{case.number}/{case.site}/who")  # the same person standing and running
    runner, where = _runner(case, chance), lab(case.site)
    condition, visit = str(chance.choice(CONDITIONS)), str(chance.choice(VISITS))
    backwards = case.site == "corrie" and bool(chance.random() < 0.5)
    usual = gait_of(runner, condition, visit)
    for own_speed in chance.uniform(*SPEEDS_M_PER_S, size=30):
        used = speed or float(own_speed)
        gait = _at_speed(usual, used)
        own = replace(
            asked,
            kind=case.kind,
            speed_m_per_s=used,
            duration_s=asked.duration_s or _duration(case, used),
            backwards=backwards,
            gait=change(gait) if change else gait,
            muscles=case.muscles,
        )
        trial = simulate_trial(case.trial_id, case.site, runner, condition, visit, own)
        if speed or asked != Asked() or _whole_feet_on_plates(trial, case):
            break
    recording = imperfect(record(trial, where, muscles=case.muscles), trial, case.chance("imperfections"))
    has_second = case.second and case.site == "tarn" and case.kind == "running"
    row = TrialRow(
        case.trial_id,
        case.site,
        case.kind,
        condition,
        where.profile.surface,
        runner.participant_id,
        f"{runner.participant_id}-{visit}",
        visit,
        round(runner.mass_kg * chance.uniform(0.99, 1.01), 1),
        runner.sex,
        runner.stature_m,
        runner.leg_length_m,
        round(used * chance.uniform(0.98, 1.02), 2),
        raw_sha256="0" * 64,
        file=f"trials/{case.trial_id}.c3d",
    )
    return Specimen(
        recording,
        _contacts(trial),
        row,
        where.profile,
        study,
        tuple(channel_rows(case.site, case.kind, case.trial_id, muscles=case.muscles, second_file=has_second)),
        edf_bytes(trial) if has_second else None,
        case=case,
        trial=trial,
        plates_hit=_plates_hit(recording),
    )


def around(
    recording: Recording, trial: SimulatedTrial, visit: str, profile: SiteProfile, rows: tuple[Mapping[str, Any], ...]
) -> Specimen:
    """A recording of the demonstration as a specimen. rows: of channels.csv."""
    who = trial.runner
    row = TrialRow(
        trial.trial_id,
        profile.site,
        trial.kind,
        trial.condition,
        profile.surface,
        who.participant_id,
        f"{who.participant_id}-{visit}",
        visit,
        who.mass_kg,
        who.sex,
        who.stature_m,
        who.leg_length_m,
        trial.speed_m_per_s,
        raw_sha256="0" * 64,
        file=f"trials/{trial.trial_id}.c3d",
    )
    hit = _plates_hit(recording)
    return Specimen(recording, _contacts(trial), row, profile, STUDY, rows, trial=trial, plates_hit=hit)


def _contacts(trial: SimulatedTrial) -> tuple[Contact, ...]:
    return tuple(Contact(f.side, f.contact_at_20n_s, f.toe_off_at_20n_s) for f in trial.footfalls)


def _duration(case: Case, speed: float) -> float | None:
    if case.kind != "running":
        return None
    return DURATION_S.get(case.site) or round(0.45 + RUNWAY_M / speed, 1)


def _whole_feet_on_plates(trial: SimulatedTrial, case: Case) -> bool:
    """Whether no foot on the runway meets an edge, which is a fault of its own and not a clean trial."""
    plates = lab(case.site).plates
    if case.site != "corrie" or case.kind != "running":
        return True
    for load in trial.loads:
        loaded = load.force[:, 1] > 20
        for plate in plates:
            shares = share_of(plate, load.cop)[0][loaded]
            if len(shares) and 0 < shares.mean() < 1:
                return False
    return True


def _runner(case: Case, chance: np.random.Generator) -> Runner:
    stature = float(chance.uniform(1.52, 1.95))
    return Runner(
        f"D{case.number:04d}",
        str(chance.choice(["female", "male"])),
        1990,
        round(stature, 2),
        round(float(chance.uniform(18.5, 26.0)) * stature**2, 1),
        float(chance.uniform(0.228, 0.272)),
        float(chance.uniform(0.095, 0.125)),
        habit_deg=float(2 * chance.standard_normal()),
        hardness=float(chance.uniform(0.85, 1.15)),
    )


def _at_speed(gait: Gait, speed: float) -> Gait:
    """The gait of 3 m/s at another speed: shorter contact, longer flight, harder landing (common practice)."""
    share = speed / 3.0
    return replace(
        gait,
        contact_time_s=gait.contact_time_s * share**-0.7,
        flight_time_s=gait.flight_time_s * share**0.6,
        impact_speed_m_per_s=gait.impact_speed_m_per_s * share**0.5,
        braking_bw=gait.braking_bw * share**0.5,
    )


def _plates_hit(recording: Recording) -> tuple[int, ...]:
    """Plates whose vertical force reaches 300 N."""
    hit = []
    for number in range(1, len(recording.plate_types) + 1):
        columns = [i for i, x in enumerate(recording.analog_labels) if x.startswith(f"P{number}.Fz")]
        if np.abs(recording.analog[:, columns].sum(axis=1)).max() > 300:
            hit.append(number)
    return tuple(hit)
