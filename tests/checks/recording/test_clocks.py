"""Checks of a matched second clock: drift, what the match leaves, and the time that the second file covers."""

from __future__ import annotations

import numpy as np
import pytest

from tests.checks.muscle_builders import SECOND, TRIAL, a_muscle, changed, with_clock, with_signals
from tests.checks.running_checks import Case, run, status

DRIFT, MATCH, COVERS = "clock_drift_is_that_of_quartz", "clock_match_leaves_little", "second_file_covers_the_trial"


def covering(begins_s: float, lacks_s: float = 0.0):
    count = round((TRIAL.duration_s - begins_s - lacks_s) * 1000)
    return with_signals(changed(a_muscle(source="sidecar", start_s=begins_s), lambda x, t: x[:count]))


PLANTED = {
    DRIFT: Case(lambda: with_clock(clock_drift_ppm=450.0), "clock"),
    MATCH: Case(lambda: with_clock(residual_s=0.004), "clock"),
    COVERS: Case(lambda: covering(0.0, 0.4), "clock"),
}
CLEAN = {DRIFT: with_clock, MATCH: with_clock, COVERS: lambda: covering(0.0)}


@pytest.mark.parametrize("name", PLANTED)
def test_without_a_second_file_there_is_nothing_to_look_at(name: str) -> None:
    assert status(name, with_signals(a_muscle())) == "skipped"


@pytest.mark.parametrize("name", [DRIFT, MATCH])
def test_a_clock_that_was_not_matched_is_told_of_elsewhere(name: str) -> None:
    assert status(name, with_clock(is_matched=False, clock_drift_ppm=450.0, residual_s=0.009)) == "skipped"


@pytest.mark.parametrize(
    ("drift_ppm", "error_ppm", "ended"), [(190, 5, "pass"), (-260, 20, "found"), (450, 150, "pass")]
)
def test_a_drift_counts_only_beyond_its_own_error(drift_ppm: float, error_ppm: float, ended: str) -> None:
    report = run(DRIFT, with_clock(clock_drift_ppm=drift_ppm, clock_drift_error_ppm=error_ppm))
    assert report.runs[0].status == ended
    if report.findings:
        assert "260 parts per million faster" in report.findings[0].seen
        assert report.findings[0].file == SECOND


def test_a_match_of_two_methods_may_leave_what_they_differ_by() -> None:
    assert status(MATCH, with_clock(residual_s=0.008, clock_basis="sensor_against_force")) == "skipped"


@pytest.mark.parametrize(("residual_s", "ended"), [(0.0019, "pass"), (0.0021, "found"), (np.nan, "skipped")])
def test_what_a_shared_signal_leaves_is_small(residual_s: float, ended: str) -> None:
    assert status(MATCH, with_clock(residual_s=residual_s)) == ended


@pytest.mark.parametrize(
    ("begins_s", "lacks_s", "words"), [(0.3, 0.0, "begins 0.30 s late"), (0.0, 0.4, "ends 0.40 s")]
)
def test_what_is_missing_is_told_by_its_end(begins_s: float, lacks_s: float, words: str) -> None:
    (finding,) = run(COVERS, covering(begins_s, lacks_s)).findings
    assert words in finding.seen
    assert status(COVERS, covering(0.05, 0.05)) == "pass"
