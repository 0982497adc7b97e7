from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.energy.bouts import compute_energy
from schemas.convert.to_arrow import to_arrow_table
from schemas.outcomes_study import ENERGY_BOUTS
from schemas.processing import EnergyProcessing, Processing

SESSIONS = pd.DataFrame({"session_id": ["S1"], "mass_kg": [70.0], "set_speed_m_per_s": [3.0]})


def bout(oxygen: Any = 2800.0, carbon_dioxide: Any = 2520.0, end_s: float = 360, every_s: float = 15) -> pd.DataFrame:
    elapsed = np.arange(every_s, end_s + every_s / 2, every_s)
    return pd.DataFrame(
        {
            "session_id": "S1",
            "condition": "unshod",
            "bout": 1,
            "elapsed_s": elapsed,
            "oxygen_uptake_ml_per_min": np.broadcast_to(np.asarray(oxygen, float), elapsed.shape).copy(),
            "carbon_dioxide_output_ml_per_min": np.broadcast_to(
                np.asarray(carbon_dioxide, float), elapsed.shape
            ).copy(),
        }
    )


def energy(breaths: pd.DataFrame, sessions: pd.DataFrame = SESSIONS, **settings: Any) -> pd.Series:
    table = compute_energy(breaths, sessions, Processing(energy=EnergyProcessing(**settings)))
    stamped = table.assign(delivery_id="brack-001", code_version="0", study_version="0")
    assert to_arrow_table(ENERGY_BOUTS, stamped).num_rows == 1
    return table.iloc[0]


POWERS = ["metabolic_power_w_per_kg", "energy_cost_j_per_kg_m", "oxygen_cost_ml_per_kg_km"]


def test_a_steady_bout_has_every_value_and_no_reason() -> None:
    row = energy(bout())
    assert row[POWERS].notna().all()
    assert pd.isna(row["reason_null"])
    assert row["energy_cost_j_per_kg_m"] == pytest.approx(row["metabolic_power_w_per_kg"] / 3.0)
    assert row["plateau_change_percent"] == pytest.approx(0, abs=1e-9)


def test_the_warm_up_does_not_count() -> None:
    start = np.where(np.arange(15, 361, 15) <= 240, 800.0, 2800.0)
    assert energy(bout(oxygen=start))["oxygen_uptake_ml_per_min"] == pytest.approx(2800)
    # whatever the analyser said before the plateau, even nonsense
    nonsense = np.where(np.arange(15, 361, 15) <= 180, -50.0, 2800.0)
    assert energy(bout(oxygen=nonsense))["oxygen_uptake_ml_per_min"] == pytest.approx(2800)


@pytest.mark.parametrize(
    ("breaths", "words"),
    [
        (bout(end_s=285), "too short: it lasts 285 s, warm-up and plateau take 300 s"),
        (bout(oxygen=np.linspace(1000, 3000, 24), carbon_dioxide=np.linspace(900, 2700, 24)), "not steady"),
        (bout(carbon_dioxide=2829.0), "respiratory exchange ratio 1.010 is above 1"),
        (bout(carbon_dioxide=1400.0), "respiratory exchange ratio 0.500 is below 0.65"),
        (bout(carbon_dioxide=0.0), "impossible carbon dioxide output of 0 mL/min"),
        (bout(oxygen=-2800.0), "impossible oxygen uptake of -2800 mL/min"),
        (bout(oxygen=float("nan")), "cover only 0 %"),
    ],
    ids=["short", "not steady", "ratio high", "ratio low", "zero gas", "negative gas", "no gas"],
)
def test_a_bout_that_gives_no_power_says_why(breaths: pd.DataFrame, words: str) -> None:
    row = energy(breaths)
    assert row[POWERS].isna().all()
    assert words in row["reason_null"]


def test_a_ratio_of_exactly_one_still_counts() -> None:
    assert energy(bout(carbon_dioxide=2800.0))[POWERS].notna().all()
    uneven = bout(oxygen=2800.1, carbon_dioxide=2800.1, every_s=7)
    assert energy(uneven)[POWERS].notna().all()


@pytest.mark.parametrize(("change", "steady"), [(0.099, True), (0.101, False)])
def test_steady_means_less_change_between_minutes_than_the_limit(change: float, steady: bool) -> None:
    level = 2800 * (1 + change * np.where(np.arange(15, 361, 15) > 300, 0.5, -0.5))
    row = energy(bout(oxygen=level, carbon_dioxide=0.9 * level))
    assert row["plateau_change_percent"] == pytest.approx(100 * change)
    assert row[POWERS].notna().all() == steady
    assert (
        energy(bout(oxygen=level, carbon_dioxide=0.9 * level), plateau_change_limit_fraction=0.2)[POWERS].notna().all()
    )


def test_one_mean_over_a_sudden_change_is_not_steady_even_if_the_ratio_is() -> None:
    late = np.where(np.arange(15, 361, 15) > 300, 3200.0, 2400.0)
    row = energy(bout(oxygen=late, carbon_dioxide=0.9 * late))
    assert row["respiratory_exchange_ratio"] == pytest.approx(0.9)
    assert "not steady" in row["reason_null"]


@pytest.mark.parametrize("name", ["mass_kg", "set_speed_m_per_s"])
@pytest.mark.parametrize("value", [float("nan"), 0.0, -1.0])
def test_without_mass_or_speed_what_needs_it_is_null(name: str, value: float) -> None:
    row = energy(bout(), SESSIONS.assign(**{name: value}))
    assert pd.isna(row["energy_cost_j_per_kg_m"])
    assert pd.isna(row["oxygen_cost_ml_per_kg_km"])
    assert pd.isna(row["metabolic_power_w_per_kg"]) == (name == "mass_kg")
    assert ("mass" if name == "mass_kg" else "speed") in row["reason_null"]
    assert row["respiratory_exchange_ratio"] == pytest.approx(0.9)


def test_a_bout_has_the_speed_its_rows_tell_and_without_one_that_of_its_session() -> None:
    told = energy(bout().assign(set_speed_m_per_s=4.0))
    assert told["set_speed_m_per_s"] == 4.0
    assert told["energy_cost_j_per_kg_m"] == pytest.approx(told["metabolic_power_w_per_kg"] / 4.0)
    assert energy(bout().assign(set_speed_m_per_s=np.nan))["set_speed_m_per_s"] == 3.0
    mixed = energy(bout().assign(set_speed_m_per_s=np.where(np.arange(24) < 12, 3.0, 4.0)))
    assert pd.isna(mixed["energy_cost_j_per_kg_m"])
    assert "several" in mixed["reason_null"]


def test_a_session_that_is_not_there_has_no_mass() -> None:
    assert "no body mass" in energy(bout(), SESSIONS.iloc[:0])["reason_null"]


def test_a_mask_taken_off_in_the_plateau_is_a_gap_and_not_one_long_breath() -> None:
    breaths = bout(every_s=3)
    gap = breaths["elapsed_s"].between(270, 290)
    row = energy(breaths[~gap])
    assert "cover only" in row["reason_null"]
    assert "minute 1" in row["reason_null"]


def test_a_breath_counts_by_the_time_it_takes() -> None:
    # one in two breaths takes 2 s at 2000, the other 4 s at 3200: 2800 over time, 2600 over breaths
    ends = np.cumsum(np.tile([2.0, 4.0], 60))
    breaths = pd.DataFrame(
        {
            "session_id": "S1",
            "condition": "unshod",
            "bout": 1,
            "elapsed_s": ends,
            "oxygen_uptake_ml_per_min": np.tile([2000.0, 3200.0], 60),
            "carbon_dioxide_output_ml_per_min": np.tile([1800.0, 2880.0], 60),
        }
    )
    assert energy(breaths)["oxygen_uptake_ml_per_min"] == pytest.approx(2800)


@given(
    every=st.sampled_from([3.0, 10.0, 15.0, 30.0, 60.0]),
    factor=st.floats(0.3, 2.0),
    seed=st.integers(0, 2**32 - 1),
)
def test_power_grows_with_gas_falls_with_mass_and_rows_may_come_in_any_order(
    every: float, factor: float, seed: int
) -> None:
    plain = energy(bout(every_s=every))
    more = bout(2800 * factor, 2520 * factor, every_s=every).sample(frac=1, random_state=seed)
    heavier = SESSIONS.assign(mass_kg=70.0 * factor)
    assert energy(more)[POWERS].to_list() == pytest.approx((plain[POWERS] * factor).to_list())
    assert energy(more, heavier)[POWERS].to_list() == pytest.approx(plain[POWERS].to_list())
    assert plain[POWERS].to_list() == pytest.approx(energy(bout())[POWERS].to_list())


def test_bouts_are_kept_apart_and_none_give_none() -> None:
    two = pd.concat([bout(), bout(end_s=120).assign(bout=2), bout(2000, 1800).assign(condition="cushioned")])
    table = compute_energy(two, SESSIONS, Processing())
    assert list(zip(table["condition"], table["bout"], strict=True)) == [("cushioned", 1), ("unshod", 1), ("unshod", 2)]
    assert table["metabolic_power_w_per_kg"].notna().tolist() == [True, True, False]
    assert compute_energy(bout().iloc[:0], SESSIONS, Processing()).empty
