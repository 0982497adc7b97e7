"""Stated uncertainties against what first principles say of a half-sine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.science.equipment.uncertainty import UNSEEN_SCALE
from pipelines.science.workspace import Workspace
from schemas.processing import Processing
from schemas.trial import Trial
from tests.builders import G, a_posture, a_trial

PLAIN = Processing()
CONTACT_S, PEAK_N = 0.25, np.pi / 2 * 70.0 * G * 0.35 / 0.25


def stated(trial: Trial, processing: Processing = PLAIN) -> dict[str, dict]:
    rows = Workspace(trial, processing, a_posture()).outcome_uncertainties.records
    return {row["outcome"]: dict(row) for row in rows}


def with_dead_band(newtons: float) -> Trial:
    """Every force below so much is exactly zero."""
    trial = a_trial(footfalls=8)
    plate = trial.plates[0]
    gone = np.abs(plate.force[:, [1]]) < newtons
    return replace(
        trial, plates=(replace(plate, force=np.where(gone, 0, plate.force), moment=np.where(gone, 0, plate.moment)),)
    )


def test_the_gain_is_worth_its_part_of_every_force_and_no_part_of_the_centre_of_pressure() -> None:
    found = stated(a_trial(footfalls=8))
    part = UNSEEN_SCALE / 3**0.5
    assert found["active_peak_bw"]["from_scale_value"] == pytest.approx(part * PEAK_N / (70 * G), rel=1e-3)
    assert found["vertical_impulse_bw_s"]["from_scale_value"] == pytest.approx(part * 0.35, rel=2e-3)
    assert found["strike_index_percent"]["from_scale_value"] < 0.1  # 200 N come a little sooner


def test_a_level_that_was_cut_away_is_worth_its_part_of_contact_time_and_impulse() -> None:
    found = stated(with_dead_band(12.0))
    level = np.min(np.abs(with_dead_band(12.0).force[with_dead_band(12.0).force[:, 1] != 0, 1])) / 3**0.5
    # a half-sine of this height passes 20 N at this slope, on both sides
    slope = PEAK_N * np.pi / CONTACT_S * np.sqrt(1 - (20 / PEAK_N) ** 2)
    assert found["contact_time_s"]["from_level_value"] == pytest.approx(2 * level / slope, rel=0.25)
    assert found["vertical_impulse_bw_s"]["from_level_value"] == pytest.approx(level * 0.25 / (70 * G), rel=0.05)
    assert found["contact_time_s"]["standard_uncertainty_value"] >= found["contact_time_s"]["from_level_value"]


def test_parts_add_as_squares_and_times_do_not_depend_on_lag_or_markers() -> None:
    for name, row in stated(with_dead_band(12.0)).items():
        parts = [row[f"from_{part}_value"] for part in ("level", "noise", "scale", "lag", "markers")]
        known = [part for part in parts if np.isfinite(part)]
        assert row["standard_uncertainty_value"] == pytest.approx(np.sqrt(np.sum(np.square(known)))), name
    row = stated(with_dead_band(12.0))["contact_time_s"]
    assert row["from_lag_value"] == pytest.approx(0, abs=1e-12)
    assert row["from_markers_value"] == pytest.approx(0, abs=1e-12)


def test_more_noise_makes_every_time_less_certain() -> None:
    def noisy(newtons: float) -> Trial:
        trial, chance = a_trial(footfalls=8), np.random.default_rng(3)
        plate = trial.plates[0]
        return replace(
            trial, plates=(replace(plate, force=plate.force + chance.normal(0, newtons, plate.force.shape)),)
        )

    quiet, loud = (stated(noisy(size), Processing(event_cutoff_hz=50, force_cutoff_hz=50)) for size in (1, 5))
    for name in ("contact_time_s", "flight_time_s", "strike_index_percent"):
        assert loud[name]["from_noise_value"] > 2 * quiet[name]["from_noise_value"] > 0, name


def test_what_no_force_plate_measured_has_no_uncertainty_here() -> None:
    assert stated(replace(a_trial(), plates=())) == {}
    assert "speed_m_per_s" not in stated(a_trial())  # the belt's own speed is nothing that the plates tell
