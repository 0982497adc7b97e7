"""Published formulas for muscle signals: energy operator, co-contraction, and threshold crossings by other software.

The source of each number stands in its test; what follows from a formula was worked out apart from this program.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.muscles.bursts import spells_above, teager_kaiser
from pipelines.science.muscles.co_contraction import falconer_winter, rudolph

A = np.array([0.1, 0.2, 0.4, 0.6, 0.3])
B = np.array([0.3, 0.2, 0.1, 0.2, 0.3])


def test_the_energy_of_a_sampled_sine_is_the_published_constant() -> None:
    # A^2 sin^2(w): Li, Zhou & Aruin 2007, Ann Biomed Eng 35:1532; A = 1.5, 100 Hz at 1000 Hz, any phase
    for phase in (0.0, 0.4, 2.0):
        energy = teager_kaiser(1.5 * np.cos(2 * np.pi * 100 * np.arange(500) / 1000 + phase))
        assert energy == pytest.approx(np.full(500, 1.5**2 * np.sin(2 * np.pi * 0.1) ** 2), abs=1e-9)
        assert energy == pytest.approx(np.full(500, 0.777356), abs=1e-6)


def test_co_contraction_of_the_worked_example() -> None:
    # formulas of Falconer & Winter 1985, Electromyogr Clin Neurophysiol 25:135, and of Rudolph et al. 2000, Knee Surg
    # Sports Traumatol Arthrosc 8:262 (the mean over time), both seen second-hand
    assert falconer_winter(A, B) == pytest.approx(66.6667, abs=1e-4)
    assert rudolph(A, B) == pytest.approx(0.3050, abs=1e-6)
    assert falconer_winter(B, A) == falconer_winter(A, B)
    assert rudolph(B, A) == rudolph(A, B)


def test_two_silent_muscles_have_no_co_contraction_rather_than_none() -> None:
    # 0 / 0 must not become 0
    assert falconer_winter(0 * A, 0 * B) is None
    assert rudolph(0 * A, 0 * B) is None


def test_crossings_beside_a_missing_sample_are_those_of_the_published_notebook() -> None:
    # printed in notebooks/Electromyography.ipynb of demotu/BMC at commit 1f1c1ab4 (CC BY 4.0): threshold 1 (at or
    # above), shortest length 1; pairs of first and last index
    nan = float("nan")
    x = np.array([0, 0, 2, 0, nan, 0, 2, 3, 3, 0, 1, 1, 0])
    assert spells_above(x, 1, shortest=1) == ((2, 2), (6, 8), (10, 11))
