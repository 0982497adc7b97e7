"""Checks of what disturbs a muscle's channel: planted disturbances of a size that matters, and smaller ones."""

from __future__ import annotations

import numpy as np
import pytest

from schemas.trial import Signal
from tests.checks.muscle_builders import CALF, CONTACTS, SHIN, a_muscle, changed, four_muscles, with_signals
from tests.checks.running_checks import Case, run, status

QUIET, HUM, MOVED = "muscle_baselines_are_quiet", "muscles_are_free_of_mains_hum", "muscles_are_free_of_movement"
HEART, OWN = "muscles_are_free_of_heartbeats", "every_muscle_has_its_own_signal"
PLACE = "soleus left"


def humming(size_uv: float, mains_hz: float = 50.0) -> Signal:
    return changed(a_muscle(), lambda x, t: x + size_uv * 2**0.5 * np.sin(2 * np.pi * mains_hz * t))


def moved(size_uv: float) -> Signal:
    def change(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        for contact, _ in CONTACTS["left"]:
            since = np.clip(t - contact, 0, None)
            x += size_uv * np.sin(2 * np.pi * 8 * since) * np.exp(-since / 0.1)
        return x

    return changed(a_muscle(), change)


def beating(size_uv: float, every_s: float) -> Signal:
    def change(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        for beat in np.arange(0.1, t[-1], every_s):
            x += size_uv * (
                np.exp(-0.5 * ((t - beat) / 0.012) ** 2) - 0.3 * np.exp(-0.5 * ((t - beat - 0.03) / 0.012) ** 2)
            )
        return x

    return changed(a_muscle(), change)


def copied(share: float = 1.0) -> tuple[Signal, Signal]:
    """The shin's channel holds the calf's signal, turned over, and less than all of it where ``share`` is below 1."""
    calf = a_muscle()
    other = a_muscle(SHIN, "left", acts_as=(CALF, "left"))
    return calf, changed(other, lambda x, t: -0.5 * (share * calf.samples + (1 - share**2) ** 0.5 * x))


PLANTED = {
    QUIET: Case(lambda: with_signals(a_muscle(rest_uv=45.0)), PLACE),
    HUM: Case(lambda: with_signals(humming(9.0)), PLACE),
    MOVED: Case(lambda: with_signals(moved(600.0)), PLACE),
    HEART: Case(lambda: with_signals(beating(60.0, 0.45)), PLACE),
    OWN: Case(lambda: with_signals(*copied()), "soleus left, tibialis_anterior left"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: with_signals(*four_muscles()))


@pytest.mark.parametrize("name", PLANTED)
def test_without_a_muscle_there_is_nothing_to_look_at(name: str) -> None:
    assert status(name, with_signals()) == "skipped"


@pytest.mark.parametrize(("rest_uv", "ended"), [(20.0, "pass"), (45.0, "found")])
def test_noise_counts_against_the_bursts(rest_uv: float, ended: str) -> None:
    assert status(QUIET, with_signals(a_muscle(rest_uv=rest_uv))) == ended


@pytest.mark.parametrize("mains_hz", [49.9, 50.0, 60.1])
def test_both_mains_frequencies_are_found_and_named(mains_hz: float) -> None:
    assert f"{mains_hz:.0f} Hz mains" in run(HUM, with_signals(humming(9.0, mains_hz))).findings[0].seen


def test_a_little_hum_and_a_line_between_the_mains_frequencies_are_no_fault() -> None:
    assert status(HUM, with_signals(humming(2.0))) == "pass"
    assert status(HUM, with_signals(humming(9.0, 55.0))) == "pass"


def test_a_noisy_baseline_of_hum_is_told_once_as_hum() -> None:
    context = with_signals(humming(45.0))
    assert (status(HUM, context), status(QUIET, context)) == ("found", "pass")


@pytest.mark.parametrize(("size_uv", "ended"), [(100.0, "pass"), (600.0, "found")])
def test_a_swing_smaller_than_the_bursts_is_borne(size_uv: float, ended: str) -> None:
    assert status(MOVED, with_signals(moved(size_uv))) == ended


def test_the_heart_rate_is_told() -> None:
    assert "133 times a minute" in run(HEART, with_signals(beating(60.0, 0.45))).findings[0].seen


def test_what_repeats_with_the_steps_is_movement_and_no_heart() -> None:
    starts = sorted(start for own in CONTACTS.values() for start, _ in own)
    assert status(HEART, with_signals(beating(60.0, float(np.median(np.diff(starts)))))) == "pass"


@pytest.mark.parametrize(("share", "ended"), [(0.6, "pass"), (0.99, "found")])
def test_crosstalk_is_no_copy(share: float, ended: str) -> None:
    assert status(OWN, with_signals(*copied(share))) == ended


def test_a_copy_that_is_turned_over_is_said_to_be() -> None:
    assert "upside down" in run(OWN, with_signals(*copied())).findings[0].seen


def test_two_muscles_that_share_only_the_mains_are_no_copies() -> None:
    def hum(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        return x + 900 * np.sin(2 * np.pi * 50 * t)

    pair = (changed(a_muscle(), hum), changed(a_muscle(SHIN, "left"), hum))
    assert np.corrcoef(pair[0].samples, pair[1].samples)[0, 1] > 0.95
    assert status(OWN, with_signals(*pair)) == "pass"
