"""Judging one trial: what comes back for good files, bad files and faults of our own."""

from __future__ import annotations

import pickle
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from checks.findings import Stamp
from checks.registry import Subject, catalogue
from pipelines.intake.to_trial import TrialRow
from pipelines.judging.delivery_tables import TRIAL_TABLES
from pipelines.judging.judge import TrialJob, Verdict, judge_trial, workspace_of
from pipelines.study.file import load_study
from pipelines.workers.isolation import Isolated
from schemas.core import TRIALS
from schemas.site_settings import SiteEvents
from schemas.trial import Posture
from tests.delivery_builders import STUDY, planned

PROVENANCE = {"delivery_id", "raw_sha256", "code_version", "study_version"}


def a_job(folder: Path, name: str, content: bytes | None = None, posture: Posture | None = None) -> TrialJob:
    trial, good = planned("FS-01", name)
    path = folder / name
    path.write_bytes(good if content is None else content)
    study = load_study(STUDY).study
    row = TrialRow(
        trial_id=trial.trial_id,
        site="brack",
        kind="standing" if name == "standing" else "running",
        condition="cushioned",
        surface="treadmill",
        session_id=trial.session.session_id,
        mass_kg=trial.session.runner.mass_kg,
        leg_length_m=trial.session.runner.leg_length_m,
        set_speed_m_per_s=3.0,
        file=trial.file,
    )
    return TrialJob(path, row, "brack-001", study.sites["brack"].profile, study, Stamp("1", "1"), posture)


def test_a_standing_trial_gives_a_posture_and_a_running_trial_its_footfalls(tmp_path: Path) -> None:
    standing = judge_trial(a_job(tmp_path, "standing"))
    assert sorted(standing.outcomes) == ["equipment_readings", "trial_shapes"], "what its cameras showed, how it sways"
    assert standing.posture is not None
    running = judge_trial(a_job(tmp_path, "1", posture=standing.posture))
    assert set(running.outcomes) == {table.name for table in TRIAL_TABLES}
    for table in TRIAL_TABLES:
        columns = list(running.outcomes[table.name].frame().columns)
        assert columns == [n for n in table.column_names if n not in PROVENANCE], table.name
    assert np.isfinite(running.outcomes["footfalls"].numbers("foot_strike_angle_deg")).any()
    assert len(running.outcomes["trial_outcomes"]) == 1
    assert set(running.facts) <= set(TRIALS.column_names)
    assert [f for f in running.findings if f.weight == "returns"] == []


def test_every_check_about_a_trial_runs_once_on_it(tmp_path: Path) -> None:
    runs = judge_trial(a_job(tmp_path, "1")).runs
    about_trials = [spec.name for spec in catalogue().values() if spec.about is Subject.TRIAL]
    assert sorted(r.check_name for r in runs) == sorted(about_trials)
    assert not [r for r in runs if r.status == "crashed"]


def test_a_verdict_can_be_sent_between_processes(tmp_path: Path) -> None:
    job = a_job(tmp_path, "1")
    here = judge_trial(job)
    with Isolated(1, 60, 2048) as isolated:
        there = isolated.run(judge_trial, job)
    assert there.problem is None
    assert there.value.outcomes.keys() == here.outcomes.keys()
    assert all(there.value.outcomes[name].frame().equals(rows.frame()) for name, rows in here.outcomes.items())
    assert there.value.findings == here.findings
    assert len(pickle.dumps(here)) < 400_000, "no signals travel, only results"


@pytest.mark.parametrize("length", [0, 100, 5000], ids=["empty", "header only", "cut short"])
def test_a_file_that_cannot_be_read_is_a_verdict_with_a_reason(tmp_path: Path, length: int) -> None:
    verdict = judge_trial(a_job(tmp_path, "1", planned("FS-01", "1")[1][:length]))
    assert verdict.reading.problem == "malformed"
    assert verdict.reading.detail
    assert verdict.outcomes == {}


def test_a_fault_of_our_own_is_a_crashed_run_and_not_blamed_on_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("pipelines.science.workspace.footfall_rows", broken)
    verdict: Verdict = judge_trial(a_job(tmp_path, "1"))
    assert verdict.reading.problem == "crashed"
    assert "manystrides itself failed" in verdict.reading.detail
    assert [(r.status, r.check_name) for r in verdict.runs] == [("crashed", "trial_file_can_be_read")]
    assert "ZeroDivisionError" in verdict.runs[0].reason


def test_contacts_are_found_as_the_laboratory_needs_it(tmp_path: Path) -> None:
    job = a_job(tmp_path, "1")
    events = SiteEvents(contact_threshold_n=100, reason="The plate shakes.", since=date(2026, 3, 2))
    own = job.study.model_copy(
        update={"sites": {name: s.model_copy(update={"events": events}) for name, s in job.study.sites.items()}}
    )
    usual, late = (workspace_of(replace(job, study=study))[0].footfalls for study in (job.study, own))
    assert len(usual) == len(late)
    assert (late.numbers("contact_s") > usual.numbers("contact_s") + 0.0005).all()
    assert (late.numbers("toe_off_s") < usual.numbers("toe_off_s") - 0.0005).all()
