"""How much of a muscle's signal another muscle's channel shows too."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.science.muscles.sharing import shared_fractions
from pipelines.science.muscles.signal import Conditioned, condition
from schemas.processing_signals import MuscleProcessing
from tests.pipelines.science.muscle_builders import a_recording

A, B, C = ("soleus", "left"), ("tibialis_anterior", "left"), ("vastus_lateralis", "left")


def muscle(seed: int) -> Conditioned:
    """Bursts at the same moments, of an interference signal of its own."""
    return condition(a_recording(seed=seed, strides=8).signal, MuscleProcessing())


def test_two_muscles_that_work_together_share_nothing() -> None:
    found = shared_fractions({A: muscle(1), B: muscle(2)})
    assert found[A] == found[B]
    assert found[A] is not None
    assert found[A] < 0.02


@pytest.mark.parametrize(("part", "expected"), [(0.25, 1 / 17), (0.5, 1 / 5), (1.0, 1 / 2)])
def test_a_part_of_another_muscle_of_the_same_strength_is_shared_as_the_formula_says(
    part: float, expected: float
) -> None:
    """Of independent x and y of equal power, y + p x correlates with x by p / sqrt(1 + p^2)."""
    one, other = muscle(1), muscle(2)
    other = replace(other, samples=other.samples * np.std(one.samples) / np.std(other.samples))
    found = shared_fractions({A: one, B: replace(other, samples=other.samples + part * one.samples), C: muscle(3)})
    assert found[A] == pytest.approx(expected, abs=0.06)
    assert found[A] == found[B]
    assert found[C] is not None
    assert found[C] < 0.02


def test_one_signal_under_two_names_is_shared_wholly_and_gaps_do_not_matter() -> None:
    one = muscle(1)
    gap = np.where(np.arange(len(one.samples)) < 3000, np.nan, -2 * one.samples)
    assert shared_fractions({A: one, B: replace(one, samples=gap)})[A] == pytest.approx(1.0)


def test_without_another_muscle_of_the_same_rate_nothing_is_said() -> None:
    one = muscle(1)
    assert shared_fractions({A: one}) == {A: None}
    others = {B: replace(muscle(2), rate_hz=1000.0), C: replace(muscle(3), problem="flat")}
    assert shared_fractions({A: one} | others) == {A: None, B: None, C: None}
