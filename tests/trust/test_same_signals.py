"""The same recording under two ids is told, in one delivery and across deliveries; a resend is not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from demo_site_uploads.simulator import faults
from demo_site_uploads.simulator.labs import Recording
from tests.delivery_builders import a_delivery, planned, tables, take_in_only, trial_id
from tests.depot_books import ledger_lines


def go(inbox: Path, depot: Path) -> None:
    take_in_only(inbox, depot)


def copies(depot: Path, delivery_id: str) -> dict[str, str]:
    found = tables(depot)[delivery_id]["findings"]
    return {f["trial_id"]: f["seen"] for f in found if "byte for byte" in f["seen"]}


def test_a_recording_sent_again_under_another_runner_is_returned_with_the_other_trials_id(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, names=("1",))
    copy = {planned("FS-02", "1")[0].file: planned("FS-01", "1")[1]}
    a_delivery(inbox, 2, runners=("FS-02",), names=("1",), replace_files=copy)
    go(inbox, depot)
    told = copies(depot, "brack-002")
    assert list(told) == [trial_id("1", "FS-02")]
    assert f"{trial_id('1')}, which came with brack-001" in told[trial_id("1", "FS-02")]
    assert {r["standing"] for r in tables(depot)["brack-002"]["standings"]} == {"returned"}
    assert copies(depot, "brack-001") == {}


def test_two_trials_of_one_delivery_with_one_recording_both_go_back(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, names=("1", "2"), replace_files={planned("FS-01", "2")[0].file: planned("FS-01", "1")[1]})
    a_delivery(inbox, 2, names=("1", "2"))
    go(inbox, depot)
    assert set(copies(depot, "brack-001")) == {trial_id("1"), trial_id("2")}
    assert copies(depot, "brack-002") == {}, "the same trials sent right are no copies"


def shapes_told(depot: Path, delivery_id: str) -> dict[str, str]:
    found = tables(depot)[delivery_id]["findings"]
    return {f["trial_id"]: f["seen"] for f in found if f["check_name"] == "recording_is_of_one_trial_only"}


def cut_and_noisy(start: float, millimetres: float) -> faults.Fault:
    """The first part of the recording is missing, and every marker shakes."""

    def plant(recording: Recording, trial: object) -> Recording:
        chance, frames = np.random.default_rng(5), round(start * len(recording.points))
        samples = frames * (len(recording.analog) // len(recording.points))
        points = recording.points[frames:] + chance.normal(0, millimetres, recording.points[frames:].shape)
        return replace(recording, points=points, analog=recording.analog[samples:])

    return plant


@pytest.mark.parametrize(
    ("name", "changed"),
    [
        ("1", faults.played_at_another_speed(0.96, 1.02)),
        ("1", cut_and_noisy(0.3, 2.0)),
        ("standing", cut_and_noisy(0.1, 0.0)),
    ],
    ids=["resampled and rescaled", "cut, with noise", "standing, cut"],
)
def test_a_changed_copy_of_a_recording_sent_as_another_runners_goes_back(
    tmp_path: Path, name: str, changed: faults.Fault
) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, names=(name,))
    plan = replace(planned("FS-01", name)[0], fault=changed)
    a_delivery(
        inbox, 2, runners=("FS-02",), names=(name,), replace_files={planned("FS-02", name)[0].file: plan.content()}
    )
    a_delivery(inbox, 3, runners=("FS-02",), names=("standing", "2"))
    go(inbox, depot)
    told = shapes_told(depot, "brack-002")
    assert list(told) == [trial_id(name, "FS-02")]
    assert f"{trial_id(name)}, which came with brack-001" in told[trial_id(name, "FS-02")]
    assert shapes_told(depot, "brack-001") == {}
    assert shapes_told(depot, "brack-003") == {}
    assert {r["standing"] for r in tables(depot)["brack-002"]["standings"]} == {"returned"}


def test_the_same_trial_sent_again_with_another_export_is_no_copy(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    plan = planned("FS-01", "1")[0]
    a_delivery(inbox, names=("1",))
    scaled = replace(plan, fault=faults.played_at_another_speed(1.0, 1.001)).content()
    a_delivery(inbox, 2, names=("1",), replace_files={plan.file: scaled})
    go(inbox, depot)
    assert shapes_told(depot, "brack-002") == {}


def test_a_copy_that_came_before_its_original_goes_back_once_that_has_come(tmp_path: Path) -> None:
    inbox, depot, later = tmp_path / "inbox", tmp_path / "depot", tmp_path / "later"
    plan = replace(planned("FS-01", "1")[0], fault=cut_and_noisy(0.005, 0.2))
    a_delivery(inbox, 2, names=("2",), replace_files={planned("FS-01", "2")[0].file: plan.content()})
    a_delivery(inbox, 3, runners=("FS-03",), names=("1",))
    a_delivery(later, names=("1",))
    go(inbox, depot)
    assert {r["standing"] for r in tables(depot)["brack-002"]["standings"]} == {"accepted"}
    (later / "brack" / "brack-001").rename(inbox / "brack" / "brack-001")
    go(inbox, depot)
    assert list(shapes_told(depot, "brack-002")) == [trial_id("2")]
    assert {r["standing"] for r in tables(depot)["brack-002"]["standings"]} == {"returned"}
    assert {r["standing"] for r in tables(depot)["brack-003"]["standings"]} == {"accepted"}
    reasons = [line for line in map(str, ledger_lines(depot)) if "brack-002" in line and "same recordings" in line]
    assert len(reasons) == 1
