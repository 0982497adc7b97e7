from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.signals.filters import corrected_cutoff_hz, low_pass
from schemas.mechanics import runs

RAMP = np.linspace(-5, 20, 300)


def test_what_is_slower_than_the_cutoff_stays_as_it_was_up_to_the_very_ends() -> None:
    assert low_pass(RAMP, 200, 10) == pytest.approx(RAMP, abs=1e-6)


def test_a_gap_stays_a_gap_and_nothing_leaks_across_it() -> None:
    signal = np.random.default_rng(0).normal(size=(400, 3))
    signal[150:160, 1] = np.nan
    filtered = low_pass(signal, 200, 10)
    assert np.isnan(filtered[150:160, 1]).all()
    assert np.isfinite(filtered[np.r_[0:150, 160:400]]).all()
    assert filtered[160:] == pytest.approx(low_pass(signal[160:], 200, 10))


def test_the_signal_that_is_handed_in_is_not_changed() -> None:
    signal = np.random.default_rng(0).normal(size=100)
    before = signal.copy()
    low_pass(signal, 200, 10)
    assert (signal == before).all()


@pytest.mark.parametrize("cutoff_hz", [None, 100.0, 500.0])
def test_without_a_cutoff_below_half_the_rate_nothing_is_removed(cutoff_hz: float | None) -> None:
    noise = np.random.default_rng(0).normal(size=100)
    assert (low_pass(noise, 200, cutoff_hz) == noise).all()


@pytest.mark.parametrize("cutoff_hz", [0.0, -1.0, 100.0])
def test_a_cutoff_that_no_filter_can_have_is_refused_by_name(cutoff_hz: float) -> None:
    with pytest.raises(ValueError, match="between 0 and half the rate of 200 Hz"):
        corrected_cutoff_hz(cutoff_hz, 200)


@pytest.mark.parametrize("samples", [0, 1, 2, 3, 20])
def test_short_records_are_filtered_as_far_as_they_go(samples: int) -> None:
    assert low_pass(np.full((samples, 3), 7.0), 200, 10) == pytest.approx(np.full((samples, 3), 7.0))


def test_all_missing_stays_all_missing() -> None:
    assert np.isnan(low_pass(np.full(50, np.nan), 200, 10)).all()


@given(st.integers(5, 40), st.integers(0, 2**32 - 1))
def test_filtering_a_signal_turned_round_in_time_turns_the_result_round(cutoff_hz: int, seed: int) -> None:
    # forward and backward filtering has no direction, so no lag; away from the ends, where the two passes start
    noise = np.random.default_rng(seed).normal(size=600)
    forward, backward = low_pass(noise, 200, cutoff_hz), low_pass(noise[::-1], 200, cutoff_hz)[::-1]
    assert forward[150:-150] == pytest.approx(backward[150:-150], abs=1e-6)


def test_runs_of_true_are_given_by_first_index_and_index_after_the_last() -> None:
    assert runs(np.array([1, 1, 0, 1, 0, 0, 1], bool)) == [(0, 2), (3, 4), (6, 7)]
    assert runs(np.zeros(3, bool)) == runs(np.empty(0, bool)) == []
