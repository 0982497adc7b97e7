"""What the equipment is read to show, from signals whose level, lag, scale and vibration are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.workspace import Workspace
from schemas.processing import Processing
from schemas.trial import UP, Trial
from tests.builders import G, a_trial
from tests.tries import tries

SMOOTH = Processing(event_cutoff_hz=50, force_cutoff_hz=50)


def moved_by_its_force(lag_s: float = 0.0, **kind: object) -> Trial:
    """A trial whose pelvis is accelerated by the force itself (Newton's second law), recorded ``lag_s`` too late."""
    trial = a_trial(footfalls=12, marker_rate=200.0, **kind)  # type: ignore[arg-type]
    force, rate = trial.force[:, UP], 1000.0
    start, step = 100, 350  # from the first contact on, whole steps
    pushed = force[start:] / (trial.mass_kg or 70.0) - G
    speed = np.cumsum(pushed) / rate
    whole = step * (len(speed) // step)
    speed = speed - speed[:whole].mean()
    height = 1 + np.concatenate(
        [np.zeros(start + 1), np.cumsum(speed)[:-1] / rate]
    )  # central differences give the force back
    frames = len(trial.markers["sacrum"])
    pelvis = trial.markers["sacrum"].copy()
    pelvis[:, UP] = np.interp(np.arange(frames) / 200.0, np.arange(len(height)) / rate, height)
    markers = trial.markers | {
        "sacrum": pelvis,
        "anterior_superior_iliac_spine_left": pelvis,
        "anterior_superior_iliac_spine_right": pelvis,
    }
    late = round(lag_s * rate)
    plates = tuple(
        replace(p, force=np.roll(p.force, late, axis=0), moment=np.roll(p.moment, late, axis=0)) for p in trial.plates
    )
    return replace(trial, markers=markers, plates=plates)


def whole_row(trial: Trial) -> dict:
    return dict(Workspace(trial, SMOOTH).equipment_readings.records[-1])


@tries(15)
@given(st.integers(-40, 40))
def test_a_lag_comes_back_to_a_millisecond(lag_ms: int) -> None:
    assert whole_row(moved_by_its_force(lag_ms / 1000))["lag_s"] == pytest.approx(lag_ms / 1000, abs=0.001)


@pytest.mark.parametrize("times", [0.7, 1.3])
def test_the_lag_does_not_depend_on_gain_or_mass(times: float) -> None:
    trial = moved_by_its_force(0.012)
    plates = tuple(replace(p, force=p.force * times, moment=p.moment * times) for p in trial.plates)
    assert whole_row(replace(trial, plates=plates, mass_kg=99.0))["lag_s"] == pytest.approx(0.012, abs=0.001)


def test_a_pelvis_that_does_not_move_tells_no_lag_and_one_end_of_it_less_surely() -> None:
    assert np.isnan(whole_row(a_trial(footfalls=12))["lag_s"])
    trial = moved_by_its_force(0.012)
    front_only = {name: path for name, path in trial.markers.items() if name != "sacrum"}
    found = whole_row(replace(trial, markers=front_only))
    assert found["lag_s"] == pytest.approx(0.012, abs=0.001)
    assert found["lag_uncertainty_s"] > whole_row(trial)["lag_uncertainty_s"] > 0


def test_a_marker_hidden_for_some_frames_still_tells_and_one_hidden_for_a_step_does_not() -> None:
    trial = moved_by_its_force(0.012)
    for frames, told in ((30, True), (60, False)):
        sacrum = trial.markers["sacrum"].copy()
        sacrum[300 : 300 + frames] = np.nan
        only = {"sacrum": sacrum} | {n: p for n, p in trial.markers.items() if "iliac" not in n and n != "sacrum"}
        assert np.isfinite(whole_row(replace(trial, markers=only))["lag_s"]) == told


def test_the_scale_is_mean_force_over_body_weight() -> None:
    trial = a_trial(footfalls=9)
    assert whole_row(trial)["scale_ratio"] == pytest.approx(1, abs=0.003)
    assert whole_row(replace(trial, mass_kg=80.0))["scale_ratio"] == pytest.approx(70 / 80, abs=0.003)
    assert np.isnan(whole_row(replace(trial, mass_kg=None))["scale_ratio"])


def test_vibration_is_told_by_size_and_frequency_per_plate() -> None:
    trial = a_trial(surface="runway", footfalls=3)
    shake = np.sqrt(2) * 9.0 * np.sin(2 * np.pi * 130 * np.arange(len(trial.force)) / 1000)
    force = trial.plates[1].force + shake[:, None] * [0, 1, 0]
    shaken = replace(trial, plates=(trial.plates[0], replace(trial.plates[1], force=force), trial.plates[2]))
    first, second, _, _ = Workspace(shaken, SMOOTH).equipment_readings.records
    assert first["vibration_n"] < 3  # what the filter takes off a half-sine
    assert second["vibration_n"] == pytest.approx(9, rel=0.05)
    assert second["vibration_hz"] == pytest.approx(130, abs=8)


def test_what_was_taken_off_is_said() -> None:
    trial = a_trial(footfalls=6)
    for newtons, taken in ((8.0, True), (20.0, False)):
        force = trial.plates[0].force + np.array([0, newtons, 0])
        extra = np.cross(trial.plates[0].corners.mean(axis=0), [0, newtons, 0])
        plate = replace(trial.plates[0], force=force, moment=trial.plates[0].moment + extra)
        row = Workspace(replace(trial, plates=(plate,)), SMOOTH).equipment_readings.records[0]
        assert row["level_n"] == pytest.approx(newtons, abs=1e-6)
        assert row["level_was_taken_off"] is taken


def test_a_trial_without_force_has_no_readings() -> None:
    assert len(Workspace(replace(a_trial(), plates=()), SMOOTH).equipment_readings) == 0
