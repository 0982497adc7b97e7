"""Muscles whose name or leg nobody told: never without a word, and with the leg that their signal tells."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.checks.muscle_builders import CALF, SHIN, a_muscle, four_muscles, with_signals
from tests.checks.running_checks import Case, run, status

NAME = "muscle_channels_say_muscle_and_side"


def without_side(muscle: str = CALF, side: str = "left"):  # type: ignore[no-untyped-def]
    return replace(a_muscle(muscle, side), side=None)


PLANTED = {NAME: Case(lambda: with_signals(without_side()), "EMG sol l")}
CLEAN = {NAME: lambda: with_signals(*four_muscles())}


@pytest.mark.parametrize("muscle", [CALF, SHIN])
@pytest.mark.parametrize("side", ["left", "right"])
def test_the_side_is_proposed_from_the_contacts_that_the_bursts_go_with(muscle: str, side: str) -> None:
    (finding,) = run(NAME, with_signals(without_side(muscle, side))).findings
    assert finding.remedy.startswith(f"Write {side}, if that is right, as side")


def test_noise_and_muscles_of_no_known_phase_get_no_proposal() -> None:
    noise = replace(a_muscle(burst_uv=0.0), side=None)
    unknown = replace(without_side(), muscle="adductor_magnus")
    nameless = replace(a_muscle(), muscle=None)
    found = run(NAME, with_signals(noise, unknown, nameless)).findings
    assert len(found) == 3
    assert all(finding.remedy.startswith("Write what is blank") for finding in found)
    assert [("side is blank" in f.seen, "muscle is blank" in f.seen) for f in found] == [
        (True, False), (True, False), (False, True),
    ]  # fmt: skip


def test_a_reference_contraction_without_a_side_is_told_too() -> None:
    from tests.builders import a_trial

    trial = a_trial(kind="reference_contraction")
    assert status(NAME, with_signals(without_side(), trial=trial)) == "found"
