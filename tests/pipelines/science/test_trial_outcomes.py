from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.trial_outcomes import filled_fraction, mass_from_force
from schemas import fields as f
from schemas.outcomes_of_trials import TRIAL_OUTCOMES
from schemas.processing import Processing
from schemas.trial import Posture, Trial
from tests.as_frames import compute_trial_outcomes
from tests.builders import a_posture, a_trial, with_force

PLAIN = Processing()


def row_of(trial: Trial, posture: Posture | None = None) -> dict:
    return compute_trial_outcomes(trial, PLAIN, posture)


def test_the_row_has_the_columns_of_the_definition_in_order() -> None:
    expected = [n for n in TRIAL_OUTCOMES.column_names if n not in {p.name for p in f.PROVENANCE}]
    assert list(row_of(a_trial(), a_posture())) == expected


@pytest.mark.parametrize("surface", ["treadmill", "runway"])
@pytest.mark.parametrize("footfalls", [2, 3, 4, 7, 8])
def test_mass_from_force_is_the_mass_that_the_force_carries(surface: str, footfalls: int) -> None:
    row = row_of(a_trial(surface=surface, footfalls=footfalls, mass_kg=63.0))
    assert row["mass_from_force_kg"] == pytest.approx(63.0, rel=0.002)
    assert (row["mass_used_kg"], row["mass_source"], row["footfall_count"]) == (63.0, "session", footfalls)
    assert row["speed_m_per_s"] == pytest.approx(3.0)


@given(st.floats(0.5, 1.5), st.integers(1, 9).map(lambda k: 2 * k + 1), st.floats(0.2, 0.5))
def test_a_runner_heavier_on_one_foot_weighs_the_same_over_whole_strides(skew: float, count: int, step: float) -> None:
    # two unlike steps that carry 70 kg together over each stride, in contacts and steps of unlike length
    impulses = [70 * 9.80665 * 0.7 * share for _ in range(count) for share in (skew / 2, 1 - skew / 2)]
    starts = [0.7 * i + extra for i in range(count) for extra in (0.0, step)]
    for k in range(3, len(starts) + 1):
        assert mass_from_force(starts[:k], impulses[:k]) == pytest.approx(70)


def test_mass_from_force_needs_two_contacts_in_a_row() -> None:
    assert mass_from_force([], []) is None
    assert mass_from_force([0.1], [240.0]) is None
    assert mass_from_force([0.1, 0.45], [float("nan"), 240.0]) is None
    assert row_of(a_trial(footfalls=1))["mass_from_force_kg"] is None


def test_mass_from_force_keeps_to_the_longest_run_without_a_missing_contact() -> None:
    def lose(force: np.ndarray) -> np.ndarray:
        force[700:1200] = np.nan  # the third and the fourth contact, 0.80 to 1.40 s
        return force

    def lose_and_double(force: np.ndarray) -> np.ndarray:
        force[:750] *= 2  # the two contacts before the gap, which are fewer
        return lose(force)

    assert row_of(with_force(a_trial(), lose))["mass_from_force_kg"] == pytest.approx(70, rel=0.002)
    assert row_of(with_force(a_trial(), lose_and_double))["mass_from_force_kg"] == pytest.approx(70, rel=0.002)


@pytest.mark.parametrize("mass", [None, 0.0, float("nan")])
def test_without_a_weighed_mass_the_estimate_stands_but_is_not_used(mass: float | None) -> None:
    row = row_of(replace(a_trial(), mass_kg=mass))
    assert row["mass_used_kg"] is row["mass_source"] is None
    assert row["mass_from_force_kg"] == pytest.approx(70, rel=0.002)


def test_a_trial_in_which_nothing_is_found_still_has_its_row() -> None:
    row = row_of(replace(a_trial(), plates=(), analog_rate_hz=None, markers={}, filled={}))
    assert row["footfall_count"] == 0
    assert row["mass_from_force_kg"] is row["filled_fraction"] is None
    assert row["has_standing_posture"] is False


def test_whether_a_posture_was_there_is_kept() -> None:
    assert row_of(a_trial(), a_posture())["has_standing_posture"] is True


def test_the_filled_share_counts_every_sample_of_every_marker() -> None:
    trial = a_trial(footfalls=1)
    filled = {role: flags.copy() for role, flags in trial.filled.items()}
    filled["sacrum"][:] = True
    assert filled_fraction(replace(trial, filled=filled)) == pytest.approx(1 / len(filled))
    assert filled_fraction(trial) == 0.0
