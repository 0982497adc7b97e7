"""A planned delivery: sessions, trials and faults on paper, and what packs them."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from demo_site_uploads.simulator.bags import bag_info, descriptor, make_bag, zip_bag
from demo_site_uploads.simulator.breathing import Bout
from demo_site_uploads.simulator.c3d_writer import c3d_bytes
from demo_site_uploads.simulator.channels import channel_rows
from demo_site_uploads.simulator.faults import BytesFault, Fault
from demo_site_uploads.simulator.labs import lab, record
from demo_site_uploads.simulator.measure import SPEED_M_PER_S, Asked, simulate_trial
from demo_site_uploads.simulator.runner import RUNNERS, Runner
from demo_site_uploads.simulator.sidecar import edf_bytes
from demo_site_uploads.simulator.tables import Row, Rows, consent_rows, left_out, participant_row
from demo_site_uploads.simulator.trial import SimulatedTrial
from demo_site_uploads.simulator.weeks import symptom_rows, week_rows

STUDY_DAYS = {"week_0": 0, "week_5": 35, "week_10": 70}
SHORT = {"week_0": "w0", "week_5": "w5", "week_10": "w10"}


@dataclass(frozen=True)
class Session:
    """One visit of one runner. mass_kg: on the day, if not the runner's at enrolment."""

    participant_id: str
    visit: str
    site: str
    speed_m_per_s: float = SPEED_M_PER_S
    mass_kg: float | None = None

    @property
    def session_id(self) -> str:
        """For example FS-01-w0-brack."""
        return f"{self.participant_id}-{SHORT[self.visit]}-{self.site}"

    @property
    def runner(self) -> Runner:
        """The runner as on the day."""
        runner = RUNNERS[self.participant_id]
        return runner if self.mass_kg is None else replace(runner, mass_kg=self.mass_kg)

    def row(self) -> Row:
        """The line of sessions.csv. Each laboratory measures two days after the one before."""
        later = {"brack": 0, "corrie": 2, "tarn": 4}[self.site]
        return {
            "session_id": self.session_id,
            "participant_id": self.participant_id,
            "visit": self.visit,
            "study_day": STUDY_DAYS[self.visit] + later,
            "mass_kg": self.runner.mass_kg,
            "surface": lab(self.site).profile.surface,
            "set_speed_m_per_s": self.speed_m_per_s,
        }

    def bout(self, condition: str, fault: str | None = None) -> Bout:
        """The metabolic bout of this session in one condition."""
        runner = self.runner
        own = self.session_id, runner.participant_id, self.visit, self.site
        return Bout(*own, condition, self.speed_m_per_s, runner.mass_kg, fault=fault)


@dataclass(frozen=True)
class PlannedTrial:
    """One recording. ``name`` ends its id; ``fault`` and ``bytes_fault`` are what goes wrong with it.

    sidecar_of: name of the other trial of the session and condition whose second file was attached by mistake.
    channels_fault: changes the trial's lines of channels.csv.
    """

    session: Session
    condition: str
    name: str
    asked: Asked = field(default_factory=Asked)
    fault: Fault | None = None
    bytes_fault: BytesFault | None = None
    sidecar_of: str | None = None
    channels_fault: Callable[[list[Row]], list[Row]] | None = None

    @property
    def trial_id(self) -> str:
        """For example FS-01-w0-brack-cushioned-1."""
        return f"{self.session.session_id}-{self.condition}-{self.name}"

    @property
    def file(self) -> str:
        """Path in the payload."""
        return f"trials/{self.trial_id}.c3d"

    @property
    def sidecar(self) -> str | None:
        """Path of the second file in the payload; None where the laboratory has none."""
        has_one = self.session.site == "tarn" and self.asked.kind == "running"
        return f"trials/{self.trial_id}.edf" if has_one else None

    def simulated(self) -> SimulatedTrial:
        """What happened, with the truth."""
        session = self.session
        asked = replace(self.asked, speed_m_per_s=self.asked.speed_m_per_s * session.speed_m_per_s / SPEED_M_PER_S)
        return simulate_trial(self.trial_id, session.site, session.runner, self.condition, session.visit, asked)

    def content(self) -> bytes:
        """The C3D file."""
        trial = self.simulated()
        recording = record(trial, lab(self.session.site), muscles=self.asked.muscles)
        content = c3d_bytes(self.fault(recording, trial) if self.fault else recording)
        return self.bytes_fault(content) if self.bytes_fault else content

    def files(self) -> dict[str, bytes]:
        """Path in the payload -> content: the C3D file and, where there is one, the second file."""
        files = {self.file: self.content()}
        if self.sidecar:
            recorded = replace(self, name=self.sidecar_of) if self.sidecar_of else self
            files[self.sidecar] = edf_bytes(recorded.simulated())
        return files

    def channel_rows(self) -> list[Row]:
        """The lines of channels.csv."""
        second = self.sidecar is not None
        rows = channel_rows(
            self.session.site, self.asked.kind, self.trial_id, muscles=self.asked.muscles, second_file=second
        )
        return self.channels_fault(rows) if self.channels_fault else rows

    def row(self, order: int) -> Row:
        """The line of trials.csv."""
        return {
            "trial_id": self.trial_id,
            "session_id": self.session.session_id,
            "condition": self.condition,
            "kind": self.asked.kind,
            "file": self.file,
            "sidecar": self.sidecar,
            "trial_order": order,
            "comment": None,
        }


@dataclass(frozen=True)
class Delivery:
    """One delivery. tables_fault: changes rows; payload_fault: changes files by path; tamper: spoils the packed bag.

    number None and site None leave the fields out of bag-info.txt. more: members added to the ZIP file. diaries: runners
    whose weeks of the change-over are sent along.
    """

    inbox: str
    arrives_as: str
    site: str | None
    number: int | None
    trials: tuple[PlannedTrial, ...]
    bouts: tuple[Bout, ...] = ()
    diaries: tuple[str, ...] = ()
    withdrawn: dict[str, int] = field(default_factory=dict)
    tables_fault: Callable[[Rows], None] | None = None
    payload_fault: Callable[[dict[str, bytes]], None] | None = None
    tamper: Callable[[Path], None] | None = None
    more: dict[str, bytes] | None = None

    def rows(self) -> Rows:
        """The tables, before ``tables_fault``."""
        rows = Rows()
        sessions = list(dict.fromkeys(t.session for t in self.trials))
        for runner in dict.fromkeys(RUNNERS[r] for r in [*(s.participant_id for s in sessions), *self.diaries]):
            rows.participants.append(participant_row(runner))
            rows.consents += consent_rows(runner, self.withdrawn.get(runner.participant_id))
        rows.sessions += [s.row() for s in sessions]
        for session in sessions:
            own = [t for t in self.trials if t.session == session]
            rows.trials += [t.row(order) for order, t in enumerate(own, 1)]
            rows.channels += [row for t in own for row in t.channel_rows()]
        rows.breaths += [row for bout in self.bouts for row in bout.rows()]
        rows.weeks += [row for runner in self.diaries for row in week_rows(runner)]
        rows.symptoms += [row for runner in self.diaries for row in symptom_rows(runner)]
        return rows

    def payload(self) -> dict[str, bytes]:
        """Path in the payload -> content."""
        rows = self.rows()
        if self.tables_fault:
            self.tables_fault(rows)
        name = self.arrives_as.removesuffix(".zip")
        files = {path: content for t in self.trials for path, content in t.files().items()}
        tables = rows.by_table()
        without = {table.name: left_out(table, own) for table, own in tables.items()}
        files |= rows.files() | {"datapackage.json": descriptor(name, tuple(tables), without)}
        if self.payload_fault:
            self.payload_fault(files)
        return files

    def pack(self, inbox: Path, work: Path) -> Path:
        """Write the delivery into ``inbox``; returns where it lies."""
        target = inbox / self.inbox / self.arrives_as
        target.parent.mkdir(parents=True, exist_ok=True)
        zipped = self.arrives_as.endswith(".zip")
        folder = work / target.stem if zipped else target
        make_bag(folder, self.payload(), bag_info(self.site, self.number))
        if self.tamper:
            self.tamper(folder)
        if zipped:
            zip_bag(folder, target, self.more)
            shutil.rmtree(folder)
        return target
