"""Whether a trial file could be read."""

from __future__ import annotations

from typing import get_args

import pytest

from schemas.reading import Problem, Reading
from tests.checks.running_checks import Case, of_reading, run, status

NAME = "trial_file_can_be_read"
FILE = "trials/T1.c3d"
COPY = "recording_is_of_one_trial_only"
PLANTED = {
    NAME: Case(lambda: of_reading(Reading("T1", FILE, "malformed", "the parameter section ends too early"))),
    COPY: Case(lambda: of_reading(Reading("T1", FILE, copy_of="trial T0", shaped=True))),
}
CLEAN = {
    NAME: lambda: of_reading(Reading("T1", FILE)),
    COPY: lambda: of_reading(Reading("T1", FILE, shaped=True)),
}


PROBLEMS = [p for p in get_args(Problem) if p != "missing"]


@pytest.mark.parametrize("problem", PROBLEMS)
@pytest.mark.parametrize("detail", ["", "block 7 {of 9} is empty."])
def test_every_way_a_reading_can_end_has_its_own_words(problem: str, detail: str) -> None:
    (finding,) = run(NAME, of_reading(Reading("T1", FILE, problem, detail))).findings  # type: ignore[arg-type]
    assert (finding.file, finding.trial_id) == (FILE, "T1")
    assert detail.rstrip(".") in finding.seen
    assert ".." not in finding.seen


def test_a_file_that_is_not_there_is_told_once_by_the_check_of_the_bag() -> None:
    assert status(NAME, of_reading(Reading("T1", FILE, "missing"))) == "skipped"


@pytest.mark.parametrize("problem", PROBLEMS)
@pytest.mark.parametrize(("file", "own", "other"), [(FILE, "C3D", "EDF"), ("trials/T1.EDF", "EDF+", "force plates")])
def test_a_second_file_is_never_called_a_c3d_file(problem: str, file: str, own: str, other: str) -> None:
    (finding,) = run(NAME, of_reading(Reading("T1", file, problem, "it ends too early"))).findings  # type: ignore[arg-type]
    told = " ".join(getattr(finding, part) for part in ("seen", "expected", "remedy"))
    assert own in finding.expected
    assert other not in told
    assert own == "C3D" or "C3D" not in finding.seen + finding.expected
    assert finding.file == file


def test_a_broken_second_file_is_sent_together_with_its_trial() -> None:
    reading = Reading("T1", "trials/T1.edf", "unsupported", "it is an interrupted recording (EDF+D)")
    (finding,) = run(NAME, of_reading(reading)).findings
    assert "EDF+C" in finding.remedy
    assert "together with the trial's C3D file" in finding.remedy


def test_a_trial_without_a_shape_is_not_said_to_be_no_copy() -> None:
    assert status(COPY, of_reading(Reading("T1", FILE))) == "skipped"
