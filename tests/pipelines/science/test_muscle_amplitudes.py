from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.muscles.amplitudes import Reference, above_reference
from schemas.processing_signals import MuscleProcessing
from tests.as_frames import compute_muscles, reference_amplitude, references_of
from tests.pipelines.science.muscle_builders import (
    CONTACT_S,
    FIRST_S,
    STRIDE_S,
    a_recording,
    a_signal,
    band_noise,
    some_footfalls,
)
from tests.tries import tries

SETTINGS = MuscleProcessing()
RATE = 2000
TIMES = np.arange(round(3.2 * RATE)) / RATE
SINE = np.sin(2 * np.pi * 100 * TIMES)
FOOTFALLS = some_footfalls(4)
SHORT = a_recording(seed=9, strides=5)


def amplitudes(samples: np.ndarray, processing: MuscleProcessing = SETTINGS, references: dict | None = None, **changes):
    found = compute_muscles("T1", [a_signal(samples, RATE, **changes)], FOOTFALLS, processing, references or {})
    return found.amplitudes


def test_a_steady_sine_has_its_effective_value_in_every_window() -> None:
    rows = amplitudes(400 * SINE)
    assert len(rows) == 15  # four footfalls with four windows each, but the last has no swing
    assert rows["amplitude_uv"].to_numpy() == pytest.approx(400 / np.sqrt(2), rel=0.02)


def test_each_window_sees_its_own_part_of_the_stride_and_no_other() -> None:
    phase = (TIMES - FIRST_S + 0.10) % STRIDE_S  # from the start of the pre-contact window
    edges = [0.10, 0.10 + CONTACT_S / 2, 0.10 + CONTACT_S]
    strength = np.array([100.0, 200.0, 400.0, 50.0])[np.searchsorted(edges, phase, side="right")]
    rows = amplitudes(strength * SINE)
    means = rows.groupby("analysis_window")["amplitude_uv"].mean() * np.sqrt(2)
    expected = {"pre_contact": 100, "loading": 200, "push_off": 400, "swing": 50}
    for window, value in expected.items():  # the filter spreads each edge over a few milliseconds
        assert means[window] == pytest.approx(value, rel=0.1)


def test_the_windows_of_a_stride_fill_it_once() -> None:
    rows = amplitudes(SINE)
    lengths = rows[rows["footfall_number"] < 4].groupby("footfall_number")["window_s"].sum()
    assert lengths.to_numpy() == pytest.approx(STRIDE_S)
    assert rows.loc[rows["analysis_window"] == "pre_contact", "window_s"].to_numpy() == pytest.approx(0.10)


def test_the_length_before_contact_is_the_studys_and_is_stored() -> None:
    rows = amplitudes(SINE, MuscleProcessing(pre_contact_s=0.05))
    assert rows.loc[rows["analysis_window"] == "pre_contact", "window_s"].to_numpy() == pytest.approx(0.05)


def test_known_noise_is_recovered_on_average() -> None:
    known = a_recording(seed=5, strides=60, above_noise_db=20)
    rows = compute_muscles("T1", [known.signal], known.footfalls, SETTINGS, {}).amplitudes
    before = rows.loc[rows["analysis_window"] == "pre_contact", "amplitude_uv"]
    within = np.sqrt(50.0**2 + 5.0**2)  # the burst is on during the whole window; both parts lie inside the band
    assert np.sqrt(np.mean(before**2)) == pytest.approx(within, rel=0.05)


def test_a_window_that_starts_before_the_record_has_no_row_and_the_others_have() -> None:
    rows = amplitudes(SINE[: len(SINE) - 1100], start_s=0.55)
    first = rows[rows["footfall_number"] == 1]
    assert list(first["analysis_window"]) == ["loading", "push_off", "swing"]
    assert list(rows.loc[rows["footfall_number"] == 4, "analysis_window"]) == ["pre_contact", "loading", "push_off"]


def test_a_window_with_a_missing_sample_has_a_row_without_a_value() -> None:
    holed = 400 * SINE
    holed[round((FIRST_S + STRIDE_S - 0.05) * RATE)] = np.nan
    rows = amplitudes(holed)
    assert len(rows) == 15
    missing = rows[rows["amplitude_uv"].isna()]
    assert list(missing[["footfall_number", "analysis_window"]].itertuples(index=False, name=None)) == [
        (2, "pre_contact")
    ]


def test_amplitudes_are_divided_by_the_reference_which_is_stored_beside_them() -> None:
    reference = Reference("reference_contraction", 250.0)
    rows = amplitudes(400 * SINE, references={("soleus", "left"): reference, ("soleus", "right"): reference})
    assert rows["amplitude_fraction"].to_numpy() == pytest.approx(rows["amplitude_uv"].to_numpy() / 250)
    assert set(rows["normalisation"]) == {"reference_contraction"}
    assert set(rows["reference_uv"]) == {250.0}


@pytest.mark.parametrize("amplitude_uv", [None, 0.0, -1.0, float("nan"), float("inf")])
def test_without_a_usable_reference_nothing_is_divided_and_the_row_says_so(amplitude_uv: float | None) -> None:
    given_ = {} if amplitude_uv is None else {("soleus", "left"): Reference("dynamic_peak", amplitude_uv)}
    rows = amplitudes(400 * SINE, references=given_)
    assert rows["amplitude_fraction"].isna().all()
    assert rows["reference_uv"].isna().all()
    assert set(rows["normalisation"]) == {"none"}
    assert rows["amplitude_uv"].notna().all()


def test_a_reference_contraction_is_its_strongest_half_second() -> None:
    strength = np.where((TIMES >= 1.0) & (TIMES < 1.5), 800.0, 100.0)
    found = reference_amplitude(a_signal(strength * SINE), SETTINGS, "reference_contraction")
    assert found == pytest.approx(800 / np.sqrt(2), rel=0.02)


def test_a_stretch_with_a_missing_sample_is_no_reference() -> None:
    samples = np.where((TIMES >= 1.0) & (TIMES < 1.5), 800.0, 100.0) * SINE
    samples[round(1.25 * RATE)] = np.nan
    found = reference_amplitude(a_signal(samples), SETTINGS, "reference_contraction")
    # either half of the strong part with as much of the weak one
    assert found == pytest.approx(np.sqrt((800**2 + 100**2) / 2) / np.sqrt(2), rel=0.02)


def test_a_contraction_shorter_than_the_reference_window_is_no_reference() -> None:
    assert reference_amplitude(a_signal(SINE[:900]), SETTINGS, "reference_contraction") is None
    assert reference_amplitude(a_signal(np.full(5000, 1.0)), SETTINGS, "reference_contraction") is None


def test_a_dynamic_peak_is_the_mean_over_strides_of_each_strides_strongest_tenth_of_a_second() -> None:
    # plateaus of 0.3 s within strides, of 300, 600 and 900 uV; the root mean square of a sine is its height over root 2
    start = FIRST_S + 0.2 + STRIDE_S * np.arange(3)
    strength = sum(
        a * ((s <= TIMES) & (s + 0.3 > TIMES)).astype(float) for a, s in zip([300, 600, 900], start, strict=True)
    )
    signal = a_signal((strength + 1) * SINE)
    found = reference_amplitude(signal, SETTINGS, "dynamic_peak", FOOTFALLS)
    assert found == pytest.approx(600 / np.sqrt(2), rel=0.02)


def test_in_its_own_reference_recording_no_window_as_long_as_the_peaks_lies_far_above_it() -> None:
    """Both are a root mean square, so only strides stronger than the mean one lie above 1."""
    own = a_signal(400 * SINE)
    references = references_of(
        [([own], FOOTFALLS)], MuscleProcessing(normalisation="dynamic_peak", reference_condition="a")
    )
    rows = amplitudes(400 * SINE, references=references)
    assert rows["amplitude_fraction"].max() <= 1.02
    assert above_reference(rows["amplitude_fraction"]) == np.mean(rows["amplitude_fraction"] > 1)
    assert above_reference(np.full(3, np.nan)) is None


def test_without_a_complete_stride_of_its_side_there_is_no_dynamic_peak() -> None:
    for footfalls in (None, FOOTFALLS[:0], some_footfalls(1), some_footfalls(4, side="right")):
        assert reference_amplitude(a_signal(SINE), SETTINGS, "dynamic_peak", footfalls) is None


def test_a_reference_of_an_unknown_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="'mean'"):
        reference_amplitude(a_signal(SINE), SETTINGS, "mean")


def test_the_strongest_of_several_contractions_is_the_sessions_reference() -> None:
    processing = MuscleProcessing(normalisation="reference_contraction")
    weak, strong, other = a_signal(100 * SINE), a_signal(300 * SINE), a_signal(50 * SINE, muscle="tibialis_anterior")
    found = references_of([([weak, other], None), ([strong], None), ([a_signal(0 * SINE)], None)], processing)
    assert set(found) == {("soleus", "left"), ("tibialis_anterior", "left")}
    assert found["soleus", "left"].kind == "reference_contraction"
    assert found["soleus", "left"].amplitude_uv == pytest.approx(300 / np.sqrt(2), rel=0.01)
    assert found["tibialis_anterior", "left"].amplitude_uv == pytest.approx(50 / np.sqrt(2), rel=0.01)


def test_dynamic_peaks_of_several_trials_are_averaged() -> None:
    processing = MuscleProcessing(normalisation="dynamic_peak", reference_condition="shod")
    trials = [([a_signal(a * SINE)], FOOTFALLS) for a in (100, 300)]
    alone = [references_of([trial], processing)["soleus", "left"].amplitude_uv for trial in trials]
    assert references_of(trials, processing)["soleus", "left"].amplitude_uv == pytest.approx(np.mean(alone))


def test_a_study_that_normalises_nothing_has_no_references() -> None:
    assert references_of([([a_signal(SINE)], FOOTFALLS)], SETTINGS) == {}


@tries(20)
@given(st.floats(0.05, 500), st.booleans(), st.floats(-300, 300))
def test_scaling_the_signal_scales_amplitudes_and_sign_and_offset_change_nothing(
    scale: float, turned: bool, offset: float
) -> None:
    def table(samples: np.ndarray) -> pd.DataFrame:
        return compute_muscles("T1", [replace(SHORT.signal, samples=samples)], SHORT.footfalls, SETTINGS, {}).amplitudes

    plain = table(SHORT.signal.samples)["amplitude_uv"].to_numpy()
    changed = table((-scale if turned else scale) * SHORT.signal.samples + offset)["amplitude_uv"].to_numpy()
    assert changed == pytest.approx(scale * plain, rel=1e-6)


@tries(20)
@given(st.integers(0, 2**32 - 1))
def test_dividing_by_a_reference_measured_with_the_same_gain_makes_the_gain_go_away(seed: int) -> None:
    gain = float(np.random.default_rng(seed).uniform(0.01, 100))
    processing = MuscleProcessing(normalisation="reference_contraction")
    contraction = 80 * band_noise(4000, RATE, 7)

    def fractions(gain: float) -> np.ndarray:
        references = references_of([([a_signal(gain * contraction)], None)], processing)
        signal = replace(SHORT.signal, samples=gain * SHORT.signal.samples)
        rows = compute_muscles("T1", [signal], SHORT.footfalls, processing, references).amplitudes
        return rows["amplitude_fraction"].to_numpy(float)

    assert fractions(gain) == pytest.approx(fractions(1.0), rel=1e-6)
