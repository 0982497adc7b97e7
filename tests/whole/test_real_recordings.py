"""Two real recordings the whole way: accepted, and with the numbers that their sources give without this program.

A treadmill (Fukuchi et al. 2017) and a runway of eight plates; see ``benchmarks.real_recordings``.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from benchmarks.real_recordings.recordings import Recorded, runway, there, treadmill
from benchmarks.real_recordings.table import compared
from pipelines.judging.judge import judge_trial

pytestmark = pytest.mark.skipif(not there(), reason="the real recordings are not on this machine")
BOTH = {"treadmill": treadmill, "runway": runway}


def recorded(name: str) -> Recorded:
    return BOTH[name]()


@cache
def rows(name: str) -> dict[str, tuple[float, float]]:
    """What is compared -> ours and the truth."""
    return {row.what: (row.ours, row.truth) for row in compared(recorded(name))}


@pytest.mark.parametrize(
    ("name", "notes"),
    [
        ("treadmill", {"mean_vertical_force_is_body_weight", "empty_plates_keep_their_noise"}),
        ("runway", {"empty_plates_keep_their_noise", "file_structure_is_consistent"}),
    ],
)
def test_the_recording_is_accepted_with_the_notes_it_deserves(name: str, notes: set[str]) -> None:
    """The belt reads 3.7 % less than the runner weighs; both laboratories had set small forces to zero."""
    findings = judge_trial(recorded(name).job).findings
    assert {(str(finding.weight), finding.check_name) for finding in findings} == {("notes", note) for note in notes}
    assert len(findings) == len(notes)


@pytest.mark.parametrize("name", BOTH)
@pytest.mark.parametrize("side", ["left", "right"])
def test_contact_times_and_their_spread_are_those_of_the_source(name: str, side: str) -> None:
    """By the same definition: 20 N, force below 50 Hz."""
    found = rows(name)
    for what in (f"contact time, {side}", f"contact time, {side}, SD"):
        ours, truth = found[what]
        assert ours == pytest.approx(truth, abs=0.1), what  # ms


@pytest.mark.parametrize("name", BOTH)
def test_impulses_and_mass_are_those_of_the_source(name: str) -> None:
    found = rows(name)
    for what in ("vertical_impulse_bw_s, mean", "braking_impulse_bw_s, mean", "propulsive_impulse_bw_s, mean"):
        ours, truth = found[what]
        assert ours == pytest.approx(truth, rel=0.004), what
    ours, truth = found["mass by mean force over whole strides"]
    assert ours == pytest.approx(truth, rel=0.003)


@pytest.mark.parametrize("side", ["left", "right"])
def test_strike_index_and_knee_of_the_treadmill_are_steady(side: str) -> None:
    found = rows("treadmill")
    assert found[f"strike_index_percent, {side}, SD"][0] < 6
    assert found[f"knee over contact, {side}, correlation"][0] > 0.99
    ours, truth = found[f"knee over contact, {side}, range"]
    assert ours == pytest.approx(truth, abs=4)


@pytest.mark.parametrize("name", BOTH)
def test_force_and_markers_are_on_one_clock_within_a_frame(name: str) -> None:
    work = recorded(name).work
    assert abs(work.equipment_readings.records[-1]["lag_s"]) < 1 / work.trial.marker_rate_hz


@pytest.mark.parametrize(("name", "count", "spread_ms"), [("treadmill", 74, 3.0), ("runway", 5, 7.0)])
def test_events_by_markers_lie_near_those_in_force(name: str, count: int, spread_ms: float) -> None:
    """Measured: contact 4 and 6 ms late, SD 1; toe-off 1.5 ms early, SD 2 ms on the belt; 1 ms early on the runway."""
    rows = recorded(name).work.footfall_events.records
    found = {}
    for event in ("contact", "toe_off"):
        late = [r[f"{event}_difference_s"] for r in rows if r["event_method"] == "markers"]
        found[event] = 1000 * np.array([value for value in late if value is not None and np.isfinite(value)])
        assert len(found[event]) == count
    assert 2 < found["contact"].mean() < 8
    assert found["contact"].std(ddof=1) < 2
    assert abs(found["toe_off"].mean()) < 3
    assert found["toe_off"].std(ddof=1) < spread_ms


def test_the_laboratorys_own_marks_of_the_runway_are_one_more_method() -> None:
    """They are whole frames of 4 ms; the second-last contact lies where there is no plate."""
    rows = recorded("runway").work.event_agreement.records
    told = [r for r in rows if r["event_method"] == "laboratory" and r["reference_method"] == "force"]
    assert {(r["side"], r["event"]) for r in told} == {
        (s, e) for s in ("left", "right") for e in ("contact", "toe_off")
    }
    for row in told:
        assert row["pair_count"] == row["reference_count"] > 1
        assert abs(row["bias_s"]) < 0.015
