"""From a release of the demonstration nobody's body mass or leg length can be computed, by one ratio or a known method.

What is told in bands would else be told exactly: a force in newtons beside one in body weights is a mass.
"""

from __future__ import annotations

import math
from itertools import combinations
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from pipelines.release.contents import fill
from pipelines.study.file import load_study
from pipelines.telemetry import DUCKDB_CONFIG
from tests.delivery_builders import STUDY

#: Values of the same runner that agree to so much with mass or length, times one number for all, tell it.
_NEAR = 0.02


@pytest.fixture(scope="module")
def released(demo_depot: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("released") / "warehouse.duckdb"
    fill(target, demo_depot / "warehouse.duckdb", load_study(STUDY), "a test")
    return target


def asked(database: Path, question: str) -> pd.DataFrame:
    with duckdb.connect(str(database), read_only=True, config=dict(DUCKDB_CONFIG)) as connection:
        return connection.execute(question).df()


def of_trials(database: Path) -> pd.DataFrame:
    """Every number that is told of trials, the mean over rows of a trial; outcomes of which each row tells one apart."""
    numbers = "SELECT table_name, column_name FROM duckdb_columns() WHERE data_type IN ('DOUBLE', 'FLOAT')"
    found = asked(database, "SELECT trial_id, participant_id FROM trials").set_index("trial_id")
    with_trials = set(
        asked(database, "SELECT table_name FROM duckdb_columns() WHERE column_name = 'trial_id'").iloc[:, 0]
    )
    tables = set(asked(database, "SELECT table_name FROM duckdb_tables()").iloc[:, 0])
    for table, own in asked(database, numbers).groupby("table_name"):
        if table not in with_trials & tables:
            continue
        frame = asked(database, f"SELECT * FROM {table}")
        parts = [n for n in ("outcome", "quantity", "device", "side", "joint", "plane", "point_number") if n in frame]
        means = frame.groupby(["trial_id", *parts], dropna=False)[list(own["column_name"])].mean()
        means = means.unstack(parts) if parts else means
        means.columns = [f"{table}.{name}" for name in means.columns]
        found = found.join(means)
    return found


def telling(found: pd.DataFrame, truth: pd.Series) -> list[str]:
    """Pairs of numbers whose ratio is, runner by runner, ``truth`` times one number for all."""
    means = found.groupby("participant_id").median(numeric_only=True).abs()
    means = means.loc[:, (means > 0).sum() >= 6]
    told = []
    for a, b in combinations(means.columns, 2):
        for ratio in (means[a] / means[b], means[b] / means[a], means[a] * means[b]):
            factor = (ratio / truth.reindex(ratio.index)).replace([math.inf], math.nan).dropna()
            if len(factor) >= 6 and (factor / factor.median() - 1).abs().median() < _NEAR:
                told.append(f"{a} and {b}")
    return told


@pytest.mark.parametrize("what", ["mass_kg", "leg_length_m"])
def test_no_pair_of_numbers_of_a_release_tells_what_is_told_in_bands(
    released: Path, demo_depot: Path, what: str
) -> None:
    truth = asked(demo_depot / "warehouse.duckdb", f"SELECT participant_id, {what} FROM runners")
    assert telling(of_trials(released), truth.set_index("participant_id")[what]) == []


def test_what_would_tell_is_found_in_the_warehouse(demo_depot: Path) -> None:
    truth = asked(demo_depot / "warehouse.duckdb", "SELECT participant_id, mass_kg FROM runners")
    found = of_trials(demo_depot / "warehouse.duckdb")
    assert telling(found, truth.set_index("participant_id")["mass_kg"])


def test_the_spring_mass_model_gives_nobodys_mass_or_leg_length_from_a_release(released: Path) -> None:
    """Morin et al. 2005, J Appl Biomech 21:167-180, the other way round: mass from stiffness and times, then length."""
    columns = set(asked(released, "SELECT column_name FROM duckdb_columns()").iloc[:, 0])
    assert {"contact_time_s", "flight_time_s", "speed_m_per_s"} <= columns
    assert not [name for name in columns if "stiffness" in name]
    contrasts = asked(released, "SELECT DISTINCT outcome FROM runner_contrasts").iloc[:, 0]
    assert not [name for name in contrasts if "stiffness" in name]
    assert len(contrasts) > 3
    pooled = asked(released, "SELECT DISTINCT outcome FROM pooled_contrasts").iloc[:, 0]
    assert [name for name in pooled if "stiffness" in name]


def test_nothing_of_a_runners_health_is_in_a_release(released: Path) -> None:
    columns = set(asked(released, "SELECT column_name FROM duckdb_columns()").iloc[:, 0])
    assert not [name for name in columns if "problem" in name or "symptom_severity" in name or "question" in name]
