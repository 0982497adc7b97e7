"""Checks of samples that were lost or repeated on their way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import Signal
from tests.checks.muscle_builders import a_muscle, a_switch, changed, four_muscles, with_signals
from tests.checks.running_checks import Case, run, status

LOST, TWICE = "channels_lose_no_packets", "no_block_of_samples_stands_twice"
PLACE = "channel EMG sol l"


def held(length: int, *, value: float | None = None) -> Signal:
    def change(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        for start in (600, 1500):
            x[start : start + length] = x[start] if value is None else value
        return x

    return changed(a_muscle(), change)


def repeated(length: int) -> Signal:
    def change(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        x[1200 : 1200 + length] = x[1000 : 1000 + length]
        return x

    return changed(a_muscle(), change)


PLANTED = {
    LOST: Case(lambda: with_signals(held(24)), PLACE),
    TWICE: Case(lambda: with_signals(repeated(100)), PLACE),
}
CLEAN = dict.fromkeys(PLANTED, lambda: with_signals(*four_muscles(), a_switch()))


@pytest.mark.parametrize(("length", "ended"), [(5, "pass"), (24, "found")])
def test_a_few_equal_samples_are_no_lost_packet(length: int, ended: str) -> None:
    assert status(LOST, with_signals(held(length))) == ended


def test_a_packet_that_was_filled_with_zeros_is_found() -> None:
    (finding,) = run(LOST, with_signals(held(30, value=0.0))).findings
    assert "2 times, 60 ms together and 30 ms" in finding.seen


def test_a_coarse_channel_and_a_switch_without_noise_are_not_judged() -> None:
    coarse = changed(a_muscle(), lambda x, t: np.round(x / 25) * 25)
    steps = changed(a_switch(), lambda x, t: np.round(x))
    for name in PLANTED:
        assert status(name, with_signals(coarse, steps)) == "skipped"


def test_samples_at_the_end_of_the_range_are_a_matter_of_the_amplifier() -> None:
    cut_off = held(24, value=5000.0)
    assert status(LOST, with_signals(cut_off)) == "skipped"  # the outcomes refuse a muscle, which is told of elsewhere
    assert status(LOST, with_signals(replace(cut_off, role="other"))) == "pass"


def test_a_file_that_is_filled_up_at_its_start_or_end_lost_nothing() -> None:
    def filled(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        x[:30], x[-30:] = x[30], x[-31]
        return x

    assert status(LOST, with_signals(changed(a_muscle(), filled))) == "pass"


@pytest.mark.parametrize(("length", "ended"), [(20, "pass"), (100, "found")])
def test_a_block_must_be_long_enough_to_be_no_accident(length: int, ended: str) -> None:
    report = run(TWICE, with_signals(repeated(length)))
    assert report.runs[0].status == ended
    if report.findings:
        assert "100 ms from 1.20 s" in report.findings[0].seen
        assert "200 ms apart" in report.findings[0].seen


def test_all_channels_with_a_block_are_one_finding() -> None:
    both = [changed(s, lambda x, t: np.concatenate([x[:500], x[400:500], x[600:]])) for s in four_muscles()]
    (finding,) = run(TWICE, with_signals(*both)).findings
    assert "3 other channels do the like" in finding.seen


@pytest.mark.parametrize(("start", "weight"), [(0.35, "returns"), (0.10, "notes")])
def test_a_foot_sensor_that_was_held_over_an_edge_sends_the_trial_back(start: float, weight: str) -> None:
    """It closes or opens at an unknown moment; held where it stands still anyhow it tells the same."""
    switch = a_switch()
    edges = np.flatnonzero(np.abs(np.diff((switch.samples > switch.samples.mean()).astype(int))))
    first = int(edges[edges > 200][0]) + round((start - 0.40) * switch.rate_hz)

    def change(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        x[first : first + 100] = x[first]
        return x

    own = replace(changed(switch, change), source="sidecar")
    found = [
        f for f in run(LOST, with_signals(*four_muscles(), own)).findings if "sensor" in f.seen or own.label in f.seen
    ]
    assert [str(finding.weight) for finding in found] == [weight]
    assert ("where an edge was hidden" in found[0].seen) == (weight == "returns")
