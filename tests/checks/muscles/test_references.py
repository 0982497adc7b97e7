"""Amplitudes far above the reference that they are divided by: a gain that changed, a reference that was too weak."""

from __future__ import annotations

from dataclasses import replace

import pytest

from checks.context import Context
from pipelines.science.muscles.amplitudes import Reference, references_of
from pipelines.science.workspace import Workspace
from tests.checks.muscle_builders import CALF, a_muscle, changed, four_muscles, with_signals
from tests.checks.running_checks import run

NAME = "muscle_amplitudes_stay_near_their_reference"


def divided(context: Context, kind: str = "dynamic_peak", factor: float = 1.0) -> Context:
    """The trial's amplitudes divided by those of a session in which all muscles showed their peaks of ``SOUND``."""
    sound = SOUND.work
    assert context.work is not None
    assert sound is not None
    settings = sound.processing.muscle.model_copy(
        update={"normalisation": "dynamic_peak", "reference_condition": "shod"}
    )
    peaks = references_of([(sound.trial.signals, sound.footfalls)], settings)
    references = {key: Reference(kind, factor * own.amplitude_uv) for key, own in peaks.items()}
    return replace(context, work=Workspace(context.work.trial, context.work.processing, references=references))


SOUND = with_signals(*four_muscles())


def louder(times: float) -> Context:
    return divided(with_signals(*four_muscles(soleus_left=changed(a_muscle(), lambda x, t: times * x))))


@pytest.mark.parametrize(
    ("times", "expected"), [(1.0, "pass"), (1.5, "pass"), (2.6, "found"), (10.0, "found"), (0.1, "pass")]
)
def test_only_far_above_its_reference_a_muscle_is_told(times: float, expected: str) -> None:
    report = run(NAME, louder(times))
    assert [own.status for own in report.runs] == [expected]
    assert [f.place for f in report.findings] == ([f"{CALF} left"] if expected == "found" else [])


def test_a_weak_contraction_is_told_of_every_muscle_and_named() -> None:
    report = run(NAME, divided(SOUND, "reference_contraction", 0.25))
    assert len(report.findings) == 4
    assert all("the reference contraction of its session" in f.expected for f in report.findings)
    assert all("of the windows" in f.seen for f in report.findings)


def test_without_a_reference_there_is_nothing_to_look_at() -> None:
    (own,) = run(NAME, SOUND).runs
    assert (own.status, own.reason) == ("skipped", "no muscle has a reference that its amplitudes are divided by")
