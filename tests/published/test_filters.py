"""The zero-lag filter against what Winter (2009, ch. 3) and first principles say its gain must be."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, filtfilt, freqz

from pipelines.science.signals.filters import corrected_cutoff_hz, low_pass


def gain_at(frequency_hz: float, rate_hz: float, cutoff_hz: float, order: int) -> float:
    """Amplitude that is left of a sine, from the middle of a long record, by projection on the same sine."""
    time = np.arange(4000) / rate_hz
    wave = np.sin(2 * np.pi * frequency_hz * time)
    middle = slice(1000, 3000)
    left = low_pass(wave, rate_hz, cutoff_hz, order)
    return float((left[middle] @ wave[middle]) / (wave[middle] @ wave[middle]))


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize(("rate_hz", "cutoff_hz"), [(200, 10), (1000, 50), (100, 20)])
def test_both_passes_together_leave_0_7071_at_the_cutoff(rate_hz: float, cutoff_hz: float, order: int) -> None:
    assert gain_at(cutoff_hz, rate_hz, cutoff_hz, order) == pytest.approx(0.70711, abs=2e-5)


@pytest.mark.parametrize(("passes", "c"), [(2, 0.802243), (4, 0.659530)])
def test_the_correction_is_winters_when_the_rate_is_so_high_that_warping_vanishes(passes: int, c: float) -> None:
    # C = (2^(1/n) - 1)^(1/4): 0.802243 for two passes, 0.659530 for four (Winter 2009 ch. 3)
    assert 10 / corrected_cutoff_hz(10, 100_000, order=2, passes=passes) == pytest.approx(c, abs=1e-6)


def test_the_design_frequency_at_10_hz_and_200_hz_is_12_4090_hz() -> None:
    assert corrected_cutoff_hz(10, 200) == pytest.approx(12.4090, abs=5e-5)


def test_dividing_the_frequency_itself_would_leave_0_7109_and_no_correction_a_half() -> None:
    # The two usual slips, by an independent library, to show that the test above can tell them from the right thing
    def two_pass_gain(design_hz: float) -> float:
        return float(abs(freqz(*butter(2, design_hz, fs=200), worN=[10], fs=200)[1][0]) ** 2)

    assert two_pass_gain(10 / 0.802243) == pytest.approx(0.7109, abs=5e-5)
    assert two_pass_gain(10) == pytest.approx(0.5, abs=1e-9)
    assert two_pass_gain(corrected_cutoff_hz(10, 200)) == pytest.approx(2**-0.5, abs=1e-9)


def test_it_is_the_forward_backward_filter_of_an_independent_routine() -> None:
    noise = np.random.default_rng(1).normal(size=1500)
    theirs = filtfilt(*butter(2, 12.40898, fs=200), noise)
    assert low_pass(noise, 200, 10)[200:-200] == pytest.approx(theirs[200:-200], abs=1e-5)
