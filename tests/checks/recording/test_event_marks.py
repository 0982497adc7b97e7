"""Whether marks in EVENT can be true: what is no contradiction, and what each one is called."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from benchmarks.detection.plants_marks import marked
from benchmarks.detection.real_long import recorded
from benchmarks.detection.specimens import Case, specimen
from benchmarks.detection.way import seen_in, shown_of
from benchmarks.real_recordings.recordings import there
from pipelines.science.workspace import Workspace
from schemas.trial import Mark
from tests.builders import a_trial
from tests.checks.running_checks import of_trial, run, status

NAME = "event_marks_contradict_nothing"
CASE = Case(0, "brack")
CLEAN = {NAME: lambda: shown_of(marked(specimen(CASE), CASE.chance("marks")), NAME)}


def marks() -> tuple[Mark, ...]:
    """As force shows them."""
    trial = a_trial()
    found = Workspace(trial, of_trial(trial).study.processing).contacts.force
    events = [(side, c) for side, c in found if side is not None]
    return tuple(
        sorted(
            (Mark(s, kind, t) for s, c in events for kind, t in (("contact", c.start_s), ("toe_off", c.end_s))),
            key=lambda mark: mark.time_s,
        )
    )


def told(change: Callable[[Mark], Mark | None]) -> list[str | None]:
    changed = [new for mark in marks() if (new := change(mark)) is not None]
    trial = replace(a_trial(), marks=tuple(sorted(changed, key=lambda mark: mark.time_s)))
    return [finding.place for finding in run(NAME, of_trial(trial)).findings]


def test_marks_that_are_a_frame_or_two_off_or_of_contacts_alone_are_no_contradiction() -> None:
    assert told(lambda mark: replace(mark, time_s=mark.time_s + 0.015)) == []
    assert told(lambda mark: mark if mark.event == "contact" else None) == []
    assert told(lambda mark: mark if mark.side == "left" else None) == []


def test_each_contradiction_is_called_by_its_own_name() -> None:
    first = marks()[0]
    sides = {"left": "right", "right": "left"}
    assert told(lambda mark: replace(mark, side=sides[mark.side])) == ["EVENT, side"]
    assert "EVENT, kind" in told(
        lambda mark: replace(mark, event={"contact": "toe_off", "toe_off": "contact"}[mark.event])
    )
    assert told(lambda mark: replace(mark, time_s=mark.time_s + 0.06)) == ["EVENT, late", "EVENT, late"]
    assert told(lambda mark: replace(mark, time_s=1e9) if mark == first else mark) == ["EVENT, beyond"]


def test_a_trial_without_marks_and_a_standing_one_are_not_judged() -> None:
    assert status(NAME, of_trial(a_trial())) == "skipped"
    assert status(NAME, of_trial(replace(a_trial(kind="standing"), marks=marks()))) == "skipped"


@pytest.mark.skipif(not there(), reason="real recordings are not part of the repository")
def test_the_marks_of_a_real_pass_over_eight_plates_are_believed() -> None:
    (ended,) = seen_in(recorded()["eight plates"], NAME).runs
    assert (ended.status, ended.rows_examined) == ("pass", 12)
