from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.muscles.outcomes import Muscles
from pipelines.science.muscles.signal import band_pass, condition, conditioned_muscles, notch
from schemas.processing_signals import MuscleProcessing
from schemas.trial import Signal
from tests.pipelines.science.muscle_builders import a_signal, band_noise
from tests.tries import tries

SETTINGS = MuscleProcessing()
NOISE = 30 * band_noise(6000, 2000, 4)


def envelope(signal: Signal, settings: MuscleProcessing) -> np.ndarray:
    (found,) = Muscles([signal], settings).envelopes.values()
    return found


def gains(response: np.ndarray, rate_hz: float, at_hz: list[float]) -> np.ndarray:
    """Gain at each frequency of a filter whose response to an impulse in the middle is given."""
    when = (np.arange(len(response)) - len(response) // 2) / rate_hz
    return np.array([np.sum(response * np.exp(-2j * np.pi * f * when)) for f in at_hz])


def an_impulse(count: int = 40001) -> np.ndarray:
    impulse = np.zeros(count)
    impulse[count // 2] = 1
    return impulse


@pytest.mark.parametrize(("rate_hz", "order"), [(2000, 2), (1000, 2), (2000, 4), (1000, 1)])
def test_the_band_passes_half_its_power_at_the_two_edges_and_is_not_shifted(rate_hz: int, order: int) -> None:
    gain = gains(band_pass(an_impulse(), rate_hz, 20, 450, order), rate_hz, [20, 450, 95])
    assert np.abs(gain[:2]) == pytest.approx(2**-0.5, abs=1e-6)
    assert np.abs(gain[2]) == pytest.approx(1, abs=0.03)
    assert np.abs(gain.imag).max() < 1e-9


def test_the_band_pass_equals_scipys_other_filter_form_with_edges_found_by_search() -> None:
    from scipy.optimize import fsolve
    from scipy.signal import butter, filtfilt, freqz

    def beside_half(edges: np.ndarray) -> np.ndarray:
        b, a = butter(2, edges, "bandpass", fs=2000)
        return np.abs(freqz(b, a, worN=[20, 450], fs=2000)[1]) ** 2 - 2**-0.5

    b, a = butter(2, fsolve(beside_half, [18, 500]), "bandpass", fs=2000)
    other = filtfilt(b, a, NOISE, padtype="even", padlen=500)
    assert band_pass(NOISE, 2000, 20, 450, 2)[500:-500] == pytest.approx(other[500:-500], abs=1e-4)


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_the_notch_takes_the_mains_out_and_is_as_wide_as_it_says(mains_hz: int) -> None:
    gain = np.abs(gains(notch(an_impulse(), 2000, mains_hz, 2.0), 2000, [mains_hz, mains_hz - 1, mains_hz + 1, 100]))
    assert gain[0] < 1e-6
    assert gain[1:3] == pytest.approx(2**-0.5, abs=0.01)
    assert gain[3] == pytest.approx(1, abs=0.01)


def test_hum_is_taken_out_only_where_the_study_asks_for_it_and_the_flag_says_so() -> None:
    hum = 200 * np.sin(2 * np.pi * 50 * np.arange(6000) / 2000)
    plain = condition(a_signal(NOISE + hum), SETTINGS)
    without = condition(a_signal(NOISE + hum), MuscleProcessing(mains_notch_hz=50))
    middle = slice(2000, 4000)
    assert np.std(plain.samples[middle]) > 140
    assert np.std(without.samples[middle]) == pytest.approx(30, rel=0.1)
    assert (plain.notch_used, without.notch_used) == (False, True)


def test_the_envelope_of_a_steady_sine_is_its_root_mean_square() -> None:
    sine = 300 * np.sin(2 * np.pi * 110 * np.arange(6000) / 2000)
    assert envelope(a_signal(sine), SETTINGS)[1000:-1000] == pytest.approx(np.full(4000, 300 / np.sqrt(2)), rel=0.01)


def test_the_envelope_does_not_fall_to_the_last_sample_where_a_record_is_cut_within_a_burst() -> None:
    # cut where the sine itself is zero: the muscle is as active there as before
    sine = 300 * np.sin(2 * np.pi * 100 * np.arange(6001) / 2000)
    curve = envelope(a_signal(sine), SETTINGS)
    assert curve[[0, -1]] == pytest.approx(np.full(2, 300 / np.sqrt(2)), rel=0.1)


def test_the_envelope_is_never_below_zero() -> None:
    burst = NOISE * (np.arange(6000) // 1000 == 2)
    assert envelope(a_signal(burst + 1e-3 * NOISE), SETTINGS).min() >= 0


@pytest.mark.parametrize(
    ("unit", "gain", "factor"),
    [("uV", None, 1), ("mV", "", 1e3), ("V", None, 1e6), ("nV", None, 1e-3), ("V", "1000", 1e6), ("V", "60 dB", 1e3)],
    ids=lambda value: str(value),
)
def test_units_become_microvolts(unit: str, gain: str | None, factor: float) -> None:
    # a plain number was divided out when the file was read (see Signal); decibels are divided out here
    expected = condition(a_signal(NOISE), SETTINGS).samples
    found = condition(a_signal(NOISE / factor, unit=unit, amplifier_gain=gain), SETTINGS)
    assert found.problem is None
    assert found.samples == pytest.approx(expected, rel=1e-9, abs=1e-9)


CLIPPED = np.clip(NOISE, -45, 45)
HOLES = np.where(np.arange(6000) % 200 < 120, NOISE, np.nan)


@pytest.mark.parametrize(
    ("samples", "changes", "problem"),
    [
        (NOISE, {"unit": "m/s2"}, "unit_not_a_voltage"),
        (NOISE, {"unit": "MV"}, "unit_not_a_voltage"),
        (NOISE, {"amplifier_gain": "high"}, "gain_not_understood"),
        (NOISE, {"amplifier_gain": "0"}, "gain_not_understood"),
        (NOISE, {"amplifier_gain": "nan"}, "gain_not_understood"),
        (np.full(6000, np.nan), {}, "missing"),
        (np.full(6000, np.inf), {}, "missing"),
        (np.empty(0), {}, "missing"),
        (np.full(6000, 3.3), {}, "flat"),
        (np.repeat([1.0, 2.0, 1.0], 2000), {}, "flat"),
        (CLIPPED, {}, "saturated"),
        (np.maximum(NOISE, 0), {}, "saturated"),
        (NOISE, {"rate_hz": 900.0}, "rate_too_low"),
        (NOISE, {"rate_hz": 0.0}, "rate_too_low"),
        (NOISE, {"rate_hz": float("nan")}, "rate_too_low"),
        (NOISE[:299], {}, "too_short"),
        (NOISE[:1], {}, "flat"),
        (HOLES, {}, "too_short"),
    ],
    ids=lambda value: str(value) if isinstance(value, (str, dict)) else "",
)
def test_a_signal_of_no_use_is_all_missing_and_says_why(samples: np.ndarray, changes: dict, problem: str) -> None:
    found = condition(a_signal(samples, **changes), SETTINGS)
    assert found.problem == problem
    assert len(found.samples) == len(samples)
    assert np.isnan(found.samples).all()
    assert not found.notch_used


def test_a_signal_at_its_shortest_and_slowest_is_still_used() -> None:
    assert condition(a_signal(NOISE[:300]), SETTINGS).problem is None
    assert condition(a_signal(NOISE, 901), SETTINGS).problem is None


def test_the_part_stuck_at_the_ends_of_the_range_is_counted() -> None:
    peaked = NOISE.copy()
    peaked[[100, 101, 102, 3000, 3001]] = 200.0  # three in a row are stuck, two are not
    found = condition(a_signal(peaked), SETTINGS)
    assert found.saturated_fraction == pytest.approx(3 / 6000)
    assert found.problem is None
    assert condition(a_signal(peaked), MuscleProcessing(saturated_fraction_max=0)).problem == "saturated"


def test_a_dropout_is_missing_and_does_not_reach_the_samples_beside_it() -> None:
    dropped = NOISE.copy()
    dropped[2000:3000] = 7.0
    found = condition(a_signal(dropped), SETTINGS)
    assert found.missing_fraction == pytest.approx(1000 / 6000)
    assert np.isnan(found.samples[2000:3000]).all()
    assert np.isfinite(found.samples[np.r_[0:2000, 3000:6000]]).all()
    alone = condition(a_signal(dropped[3000:]), SETTINGS)
    assert found.samples[3000:] == pytest.approx(alone.samples, abs=1e-3)


def test_a_muscle_on_two_channels_is_of_no_use_and_other_channels_are_no_muscles() -> None:
    found = conditioned_muscles(
        [
            a_signal(NOISE),
            a_signal(2 * NOISE),
            a_signal(NOISE, side="right"),
            a_signal(NOISE, role="foot_sensor", muscle=None),
            a_signal(NOISE, side=None),
        ],
        SETTINGS,
    )
    assert {key: muscle.problem for key, muscle in found.items()} == {
        ("soleus", "left"): "recorded_twice",
        ("soleus", "right"): None,
    }


@tries(40)
@given(st.floats(0.01, 1000), st.floats(-1000, 1000))
def test_scaling_scales_and_an_offset_changes_nothing(scale: float, offset: float) -> None:
    found = condition(a_signal(scale * NOISE + offset), SETTINGS).samples
    expected = scale * condition(a_signal(NOISE), SETTINGS).samples
    assert found == pytest.approx(expected, rel=1e-6, abs=1e-6 * (scale + abs(offset)))
