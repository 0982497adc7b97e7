"""Energy equations against hand-worked values.

Coefficients: Peronnet & Massicotte 1991, Can J Sport Sci 16:23; Brockway 1987, Hum Nutr Clin Nutr 41C:463; Weir 1949,
J Physiol 109:1 (all read second-hand in published code). The worked numbers follow from them by hand and are those of
the project's reference notes, sections H5 to H8.
"""

from __future__ import annotations

import pandas as pd
import pytest

from pipelines.science.energy.bouts import compute_energy
from pipelines.science.energy.equations import EQUATIONS, metabolic_power_w
from schemas.processing import EnergyEquation, EnergyProcessing, Processing

# kJ per litre of oxygen at a respiratory exchange ratio: Peronnet & Massicotte, Brockway, Weir
PER_LITRE = [
    (0.7036, 20.295, 19.753, 19.745),
    (0.75, 20.520, 19.962, 19.960),
    (0.80, 20.762, 20.188, 20.191),
    (0.85, 21.004, 20.413, 20.423),
    (0.90, 21.246, 20.639, 20.654),
    (0.95, 21.488, 20.864, 20.885),
    (0.9961, 21.711, 21.072, 21.099),
    (1.0, 21.730, 21.090, 21.117),
]
NAMES: tuple[EnergyEquation, ...] = ("peronnet_massicotte_1991", "brockway_1987", "weir_1949")


@pytest.mark.parametrize("row", PER_LITRE, ids=lambda row: f"ratio {row[0]}")
def test_energy_per_litre_of_oxygen_is_the_tables(row: tuple[float, ...]) -> None:
    ratio, *expected = row
    # a litre a minute for a minute: W x 60 s = J
    found = [metabolic_power_w(1000, 1000 * ratio, name) * 60 / 1000 for name in NAMES]
    assert found == pytest.approx(expected, abs=6e-4)


# 2.80 L/min oxygen, 2.52 L/min carbon dioxide, 70 kg, 12 km/h
@pytest.mark.parametrize(
    ("equation", "watts"),
    [("peronnet_massicotte_1991", 991.48), ("brockway_1987", 963.15), ("weir_1949", 963.85)],
)
def test_the_worked_example_comes_out_of_samples(equation: EnergyEquation, watts: float) -> None:
    breaths = pd.DataFrame(
        {
            "session_id": "S1",
            "condition": "unshod",
            "bout": 1,
            "elapsed_s": [15.0 * i for i in range(1, 25)],
            "oxygen_uptake_ml_per_min": 2800.0,
            "carbon_dioxide_output_ml_per_min": 2520.0,
        }
    )
    sessions = pd.DataFrame({"session_id": ["S1"], "mass_kg": [70.0], "set_speed_m_per_s": [12 / 3.6]})
    row = compute_energy(breaths, sessions, Processing(energy=EnergyProcessing(equation=equation))).iloc[0]
    assert row["respiratory_exchange_ratio"] == pytest.approx(0.900)
    assert row["metabolic_power_w_per_kg"] * 70 == pytest.approx(watts, rel=1e-4)
    assert row["oxygen_cost_ml_per_kg_km"] == pytest.approx(200.0, rel=1e-4)
    assert row["equation"] == equation
    if equation == "peronnet_massicotte_1991":
        assert row["metabolic_power_w_per_kg"] == pytest.approx(14.164, rel=1e-4)
        assert row["energy_cost_j_per_kg_m"] == pytest.approx(4.2492, rel=1e-4)
        # the same in kcal/(kg.km), the unit in which 1.0 to 1.1 is usual (Fletcher et al. 2009)
        assert row["energy_cost_j_per_kg_m"] / 4.184 == pytest.approx(1.0156, rel=1e-4)


def test_the_default_equation_gives_almost_three_percent_more_than_the_others() -> None:
    first, brockway, weir = (metabolic_power_w(2800, 2520, name) for name in NAMES)
    assert first / brockway == pytest.approx(1.029, abs=5e-4)
    assert first / weir == pytest.approx(1.029, abs=5e-4)


def test_weirs_daily_form_agrees_once_its_units_are_minded() -> None:
    # 1.440 (3.9 VO2 + 1.1 VCO2) takes mL/min and gives kcal/day; its coefficients are rounded
    daily_kcal = 1.440 * (3.9 * 2800 + 1.1 * 2520)
    assert daily_kcal * 4184 / 86_400 == pytest.approx(metabolic_power_w(2800, 2520, "weir_1949"), rel=0.011)


def test_every_equation_names_its_source() -> None:
    assert set(EQUATIONS) == set(NAMES)
    assert all(
        c.source.split()[0] in n for n, c in zip(("Peronnet", "Brockway", "Weir"), EQUATIONS.values(), strict=True)
    )
