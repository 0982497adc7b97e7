"""The simulator's vertical force against values worked out from the published two-mass model.

Model: Clark KP, Ryan LJ, Weyand PG (2017) J Exp Biol 220:247-258; lower leg 8 % of body mass, active peak at 47 % of
contact. The inputs are illustrative; the outputs were computed independently of this project, with g = 9.81 m/s2.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_site_uploads.simulator.vertical_force import VerticalForce, two_mass_force

MASS = 70.0
INPUTS = {  # contact s, flight s, impact rise s, impact speed m/s
    "two peaks, moderate rise": (0.24, 0.11, 0.022, 1.0),
    "single peak, slow rise": (0.225, 0.12, 0.040, 1.05),
    "two peaks, sharp rise": (0.235, 0.11, 0.012, 0.95),
}


def _force(preset: str) -> VerticalForce:
    return two_mass_force(MASS, *INPUTS[preset], g=9.81)


@pytest.mark.parametrize(
    ("preset", "impulse", "impact_impulse", "impact_height", "rest_height", "rest_centre"),
    [
        ("two peaks, moderate rise", 240.3450, 13.6172, 618.963, 1889.398, 0.11280),
        ("single peak, slow rise", 236.9115, 16.1549, 403.872, 1962.281, 0.10575),
        ("two peaks, sharp rise", 236.9115, 11.9585, 996.539, 1914.494, 0.11045),
    ],
)
def test_the_pulses_have_the_worked_sizes(
    preset: str, impulse: float, impact_impulse: float, impact_height: float, rest_height: float, rest_centre: float
) -> None:
    force = _force(preset)
    assert force.impulse == pytest.approx(impulse, rel=1e-5)
    assert force.impact.impulse == pytest.approx(impact_impulse, rel=1e-5)
    assert force.impact.height == pytest.approx(impact_height, rel=1e-5)
    assert force.rest.height == pytest.approx(rest_height, rel=1e-5)
    assert force.rest.centre == pytest.approx(rest_centre, rel=1e-6)


@pytest.mark.parametrize(
    ("preset", "first_peak", "first_peak_ms", "active_peak"),
    [
        ("two peaks, moderate rise", 811.10, 24.72, 1889.40),
        ("single peak, slow rise", None, None, 1962.29),
        ("two peaks, sharp rise", 1053.00, 12.27, 1914.49),
    ],
)
def test_the_peaks_are_where_the_worked_ones_are(
    preset: str, first_peak: float | None, first_peak_ms: float | None, active_peak: float
) -> None:
    force = _force(preset)
    t = np.linspace(0, force.contact_time_s, 200_001)
    f = force.at(t)
    tops = np.flatnonzero((f[1:-1] > f[:-2]) & (f[1:-1] >= f[2:])) + 1
    assert f.max() == pytest.approx(active_peak, rel=1e-3)
    if first_peak is None:
        assert len(tops) == 1
        return
    assert len(tops) == 2
    assert f[tops[0]] == pytest.approx(first_peak, rel=1e-3)
    assert 1000 * t[tops[0]] == pytest.approx(first_peak_ms, abs=0.01)


@pytest.mark.parametrize(
    ("preset", "t_ms", "newtons"),
    [
        ("two peaks, moderate rise", 5, 84.736),
        ("two peaks, moderate rise", 10, 301.841),
        ("two peaks, moderate rise", 25, 810.887),
        ("two peaks, moderate rise", 50, 777.200),
        ("two peaks, moderate rise", 110, 1886.527),
        ("two peaks, moderate rise", 200, 424.712),
        ("single peak, slow rise", 5, 26.175),
        ("single peak, slow rise", 40, 1018.822),
        ("single peak, slow rise", 105, 1962.038),
        ("single peak, slow rise", 220, 8.500),
        ("two peaks, sharp rise", 10, 968.245),
        ("two peaks, sharp rise", 25, 231.987),
        ("two peaks, sharp rise", 110, 1914.416),
        ("two peaks, sharp rise", 200, 349.422),
    ],
)
def test_the_waveform_passes_through_the_worked_points(preset: str, t_ms: float, newtons: float) -> None:
    assert _force(preset).at(np.array([t_ms / 1000]))[0] == pytest.approx(newtons, rel=1e-3)


@given(
    mass=st.floats(40, 110),
    contact=st.floats(0.18, 0.32),
    flight=st.floats(0.02, 0.16),
    rise=st.floats(0.010, 0.045),
    speed=st.floats(0.3, 2.0),
)
def test_the_impulse_carries_the_body_over_contact_and_flight(
    mass: float, contact: float, flight: float, rise: float, speed: float
) -> None:
    force = two_mass_force(mass, contact, flight, rise, speed, g=9.81)
    t = np.linspace(0, contact, 20_001)
    f = force.at(t)
    assert np.trapezoid(f, t) == pytest.approx(mass * 9.81 * (contact + flight), rel=1e-3)
    assert f.min() >= 0
    assert force.at(np.array([-0.01, contact + 0.01])).tolist() == [0.0, 0.0]
