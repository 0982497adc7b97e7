"""Checks of single muscle channels: planted faults, and sizes just inside and outside the limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import Signal
from tests.checks.muscle_builders import CALF, RATE, a_muscle, band_noise, changed, four_muscles, with_signals
from tests.checks.running_checks import Case, run, shown_in, status

RAW, SIZE, ACTIVE = "muscle_signals_are_raw", "muscle_amplitudes_are_those_of_skin", "muscles_are_active_in_running"
BAND, SPEED = "muscle_signals_fill_their_band", "muscle_rates_leave_room_for_the_band"
FINE, SPIKES = "muscle_channels_are_fine_enough", "muscle_signals_have_no_spikes"
NAMES = (RAW, SIZE, ACTIVE, BAND, SPEED, FINE, SPIKES)
PLACE = "soleus left"


def rectified() -> Signal:
    return changed(a_muscle(), lambda x, t: np.abs(x))


def smoothed() -> Signal:
    kernel = np.ones(150) / 150
    return changed(a_muscle(), lambda x, t: np.convolve(np.abs(x), kernel, "same"))


def sized(factor: float) -> Signal:
    return changed(a_muscle(), lambda x, t: factor * x)


def low_passed(cutoff_hz: float) -> Signal:
    def change(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        f = np.fft.rfftfreq(len(x), 1 / RATE)
        return np.fft.irfft(np.fft.rfft(x) / np.sqrt(1 + (f / cutoff_hz) ** 16), len(x))

    return changed(a_muscle(), change)


def in_steps(step_uv: float) -> Signal:
    return changed(a_muscle(), lambda x, t: np.round(x / step_uv) * step_uv)


def spiked(size_uv: float) -> Signal:
    def change(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        x[[900, 1700]] += size_uv
        return x

    return changed(a_muscle(), change)


def disconnected() -> Signal:
    return changed(a_muscle(), lambda x, t: 2.5 * band_noise(len(x), 9))


PLANTED = {
    RAW: Case(lambda: with_signals(rectified()), PLACE),
    SIZE: Case(lambda: with_signals(sized(1000)), PLACE),
    ACTIVE: Case(lambda: with_signals(disconnected()), PLACE),
    BAND: Case(lambda: with_signals(low_passed(150)), PLACE),
    SPEED: Case(lambda: with_signals(a_muscle(rate_hz=960.0)), PLACE),
    FINE: Case(lambda: with_signals(in_steps(25.0)), PLACE),
    SPIKES: Case(lambda: with_signals(spiked(2500.0)), PLACE),
}
CLEAN = dict.fromkeys(PLANTED, lambda: with_signals(*four_muscles()))


@pytest.mark.parametrize("name", NAMES)
def test_without_a_muscle_there_is_nothing_to_look_at(name: str) -> None:
    assert status(name, with_signals()) == "skipped"


@pytest.mark.parametrize("name", NAMES)
def test_a_finding_names_channel_and_file_and_can_be_drawn(name: str) -> None:
    (own,) = PLANTED[name].context().trial.signals  # type: ignore[union-attr]
    (finding,) = run(name, with_signals(replace(own, source="sidecar", label="EMG 7"))).findings
    assert "'EMG 7'" in finding.seen
    assert finding.file == "trials/T1.edf"
    assert finding.signal == "channel:EMG 7" or any("soleus left" in words for words in shown_in(finding))


def test_an_envelope_is_told_from_a_rectified_signal() -> None:
    assert "envelope" in run(RAW, with_signals(smoothed())).findings[0].seen
    assert "full-wave" in run(RAW, with_signals(rectified())).findings[0].seen


def test_an_offset_or_a_turned_sign_does_not_make_a_signal_rectified() -> None:
    assert status(RAW, with_signals(changed(a_muscle(), lambda x, t: 2500 - x))) == "pass"


@pytest.mark.parametrize(("factor", "ended"), [(0.001, "found"), (0.1, "pass"), (10, "pass"), (1000, "found")])
def test_only_a_size_that_no_muscle_has_is_a_wrong_unit(factor: float, ended: str) -> None:
    assert status(SIZE, with_signals(sized(factor))) == ended


def test_the_size_of_noise_and_of_a_known_unit_conflict_is_not_judged() -> None:
    assert status(SIZE, with_signals(disconnected())) == "skipped"
    conflict = ((sized(1000).label, "mV", "uV"),)
    assert status(SIZE, with_signals(sized(1000), unit_conflicts=conflict)) == "skipped"


def test_a_gain_in_decibels_is_taken_off() -> None:
    assert status(SIZE, with_signals(replace(sized(1000), amplifier_gain="60 dB"))) == "pass"


@pytest.mark.parametrize(("cutoff_hz", "ended"), [(150, "found"), (400, "pass")])
def test_a_low_pass_within_the_band_is_seen_and_one_at_its_edge_is_not(cutoff_hz: float, ended: str) -> None:
    assert status(BAND, with_signals(low_passed(cutoff_hz))) == ended


@pytest.mark.parametrize(("rate_hz", "ended"), [(990.0, "found"), (999.9, "pass"), (2000.0, "pass")])
def test_a_rate_a_little_off_by_a_clock_is_no_low_rate(rate_hz: float, ended: str) -> None:
    assert status(SPEED, with_signals(a_muscle(rate_hz=rate_hz))) == ended


@pytest.mark.parametrize(("step_uv", "ended"), [(5.0, "pass"), (25.0, "found")])
def test_steps_count_against_the_bursts(step_uv: float, ended: str) -> None:
    assert status(FINE, with_signals(in_steps(step_uv))) == ended


@pytest.mark.parametrize(("size_uv", "ended"), [(300.0, "pass"), (2500.0, "found")])
def test_a_sample_as_large_as_a_burst_is_no_spike(size_uv: float, ended: str) -> None:
    report = run(SPIKES, with_signals(spiked(size_uv)))
    assert report.runs[0].status == ended
    if report.findings:
        assert "2 single samples" in report.findings[0].seen
        assert report.findings[0].moment_s == pytest.approx(0.9)


def test_a_signal_that_the_outcomes_refuse_is_told_of_once_only() -> None:
    for name in NAMES:
        assert (
            status(name, with_signals(rectified(), replace(rectified(), label="EMG again"))) == "skipped"
        )  # recorded twice
    stuck = changed(rectified(), lambda samples, t: np.maximum(samples - 2.0, 0.0))
    context = with_signals(stuck)
    assert context.work is not None
    assert context.work.muscles.conditioned[CALF, "left"].problem == "saturated"  # at rest it is stuck at zero
    assert status(RAW, context) == "found"
