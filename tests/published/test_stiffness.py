"""Spring-mass stiffness against a worked example of the formulas of Morin et al. (2005), J Appl Biomech 21:167."""

from __future__ import annotations

import math

import pytest

from pipelines.science.gait import stiffness

# m 70 kg, contact 0.240 s, flight 0.120 s, leg 0.90 m, 4.0 m/s, g 9.81 m/s2: worked by hand from the formulas
MODEL = (70.0, 0.240, 0.120, 9.81)


def test_the_worked_example_comes_out() -> None:
    fall = stiffness.fall(*MODEL)
    assert stiffness.peak_force(*MODEL) == pytest.approx(1617.999, rel=1e-4)
    assert stiffness.peak_force(*MODEL) / (70 * 9.81) == pytest.approx(2.35619, rel=1e-4)
    assert fall == pytest.approx(0.064265, rel=1e-4)
    assert stiffness.leg_compression(fall, 0.90, 4.0, 0.240) == pytest.approx(0.202951, rel=1e-4)
    assert stiffness.vertical_stiffness(*MODEL) == pytest.approx(25.1769, rel=1e-4)
    assert stiffness.leg_stiffness(70, 0.240, 0.120, 0.90, 4.0, 9.81) == pytest.approx(7.9724, rel=1e-4)


def test_the_fall_is_what_integrating_the_half_sine_twice_gives_and_not_the_copied_plus_sign() -> None:
    # z'' = F/m sin(pi t / tc) - g from rest-free flight: numerically, downward speed at contact g tf_eq / 2
    peak, n = stiffness.peak_force(*MODEL), 20_000
    dt = MODEL[1] / n
    speed = -(9.81 * MODEL[2] / 2)
    height, lowest = 0.0, 0.0
    for i in range(n):
        speed += (peak / 70 * math.sin(math.pi * (i + 0.5) / n) - 9.81) * dt
        height += speed * dt
        lowest = min(lowest, height)
    assert stiffness.fall(*MODEL) == pytest.approx(-lowest, rel=1e-3)
    assert stiffness.fall(*MODEL) < 0.33 * 0.205529  # the same with + g tc^2 / 8


def test_mcmahon_and_chengs_angle_form_gives_the_same_compression() -> None:
    # McMahon & Cheng 1990: dL = dy + L (1 - cos theta), theta = asin(v tc / 2 L) = 32.231 deg; k L / m g = 10.45
    theta = math.asin(4.0 * 0.240 / (2 * 0.90))
    fall = stiffness.fall(*MODEL)
    assert math.degrees(theta) == pytest.approx(32.231, abs=1e-3)
    assert stiffness.leg_compression(fall, 0.90, 4.0, 0.240) == pytest.approx(fall + 0.90 * (1 - math.cos(theta)))
    leg = stiffness.leg_stiffness(70, 0.240, 0.120, 0.90, 4.0, 9.81)
    assert leg is not None
    assert leg * 1000 * 0.90 / (70 * 9.81) == pytest.approx(10.45, abs=0.005)
