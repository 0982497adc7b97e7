"""What checks say of muscles whose amplifier's gain nobody knows."""

from __future__ import annotations

from dataclasses import replace

import pytest

from schemas.trial import Signal
from tests.checks.muscle_builders import SHIN, a_muscle, changed, with_signals
from tests.checks.running_checks import run, status

SIZE, HUM, HEART = (
    "muscle_amplitudes_are_those_of_skin",
    "muscles_are_free_of_mains_hum",
    "muscles_are_free_of_heartbeats",
)


def unknown(signal: Signal) -> Signal:
    return replace(signal, amplifier_gain="unknown")


@pytest.mark.parametrize("name", [SIZE, HUM, HEART])
@pytest.mark.parametrize("factor", [1.0, 1e5])
def test_what_needs_microvolts_is_told_as_not_looked_at(name: str, factor: float) -> None:
    (own,) = run(name, with_signals(unknown(changed(a_muscle(), lambda x, t: factor * x)))).runs
    assert own.status == "skipped"
    assert "the gain of soleus left is not known" in str(own.reason)


@pytest.mark.parametrize("name", [SIZE, HUM, HEART])
def test_one_muscle_of_known_gain_does_not_make_the_check_pass(name: str) -> None:
    (own,) = run(name, with_signals(a_muscle(SHIN, "right"), unknown(a_muscle()))).runs
    assert own.status == "skipped"
    assert "the other muscles show nothing" in str(own.reason)


def test_a_fault_of_another_muscle_is_found_beside_it() -> None:
    heavy = changed(a_muscle(SHIN, "right"), lambda x, t: 1000 * x)
    report = run(SIZE, with_signals(heavy, unknown(a_muscle())))
    assert [f.place for f in report.findings] == ["tibialis_anterior right"]


def test_a_size_that_is_told_says_that_it_is_not_one_of_skin() -> None:
    coarse = unknown(changed(a_muscle(), lambda x, t: (x / 25).round() * 25))
    (finding,) = run("muscle_channels_are_fine_enough", with_signals(coarse)).findings
    assert "behind an amplifier of unknown gain" in finding.seen


@pytest.mark.parametrize("name", ["muscles_are_active_in_running", "muscle_baselines_are_quiet"])
def test_what_needs_no_microvolts_is_looked_at(name: str) -> None:
    assert status(name, with_signals(unknown(a_muscle()))) == "pass"
