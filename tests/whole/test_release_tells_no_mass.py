"""From a release of the demonstration nobody's mass, stature or leg length can be computed, by up to three numbers.

What is told in bands would else be told exactly: a force in newtons beside one in body weights is a mass.
"""

from __future__ import annotations

import re
import warnings
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipelines.release.contents import fill
from pipelines.study.file import load_study
from pipelines.telemetry import DUCKDB_CONFIG
from tests.delivery_builders import STUDY

#: Deviations that are so small a part of the spread among runners, of so many runners, tell mass or length.
_NEAR, _LEAST = 0.04, 8


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
    numbers = "SELECT table_name, column_name FROM duckdb_columns() WHERE schema_name = 'main' AND data_type IN ('DOUBLE', 'FLOAT')"
    found = asked(database, "SELECT trial_id, participant_id FROM trials").set_index("trial_id")
    with_trials = set(
        asked(database, "SELECT table_name FROM duckdb_columns() WHERE column_name = 'trial_id'").iloc[:, 0]
    )
    tables = set(asked(database, "SELECT table_name FROM duckdb_tables()").iloc[:, 0])
    for table, own in asked(database, numbers).groupby("table_name"):
        if table not in with_trials & tables - {"curves"}:  # of each point of a stride, in body weights and per kg
            continue
        frame = asked(database, f"SELECT * FROM {table}")
        parts = [n for n in ("outcome", "quantity", "device", "side", "joint", "plane") if n in frame]
        means = frame.groupby(["trial_id", *parts], dropna=False)[list(own["column_name"])].mean()
        means = means.unstack(parts) if parts else means
        means.columns = [f"{table}.{name}" for name in means.columns]
        found = found.join(means)
    return found


def telling(found: pd.DataFrame, truth: pd.Series) -> list[str]:
    """Pairs of numbers whose ratio or product is, runner by runner, ``truth`` times one number for all."""
    means = found.groupby("participant_id").median(numeric_only=True).abs()
    means = means.loc[:, (means > 0).sum() >= _LEAST]
    logs = np.log(means.where(means > 0).to_numpy())
    wanted = np.log(truth.reindex(means.index).to_numpy())[:, None]
    told = []
    for at, own in enumerate(logs.T):
        others = logs[:, at + 1 :]
        for made in (own[:, None] - others, others - own[:, None], own[:, None] + others):
            left = made - wanted
            known = np.isfinite(left).sum(axis=0) >= _LEAST
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # of columns that no runner has both of
                off = np.nanquantile(np.abs(left - np.nanmedian(left, axis=0)), 0.9, axis=0)
            near = np.flatnonzero(known & (off < _NEAR * np.nanstd(wanted)))
            told += [f"{means.columns[at]} and {means.columns[at + 1 + n]}" for n in near]
    return told


#: At one laboratory, trial by trial: as much of the spread among runners may be left of a formula that tells.
_LEFT = 0.1


def formulas(found: pd.DataFrame, truth: pd.Series, most: int) -> list[str]:
    """Products and ratios of up to ``most`` (3) columns that are, trial by trial, ``truth`` times one number for all.

    First on a trial of each runner and the last one, since so few numbers are quick; then on every trial.
    """
    told = np.log(truth.reindex(found["participant_id"]).to_numpy(dtype=float))
    numbers = found.drop(columns="participant_id").abs()
    numbers = numbers.loc[:, (numbers > 0).mean() > 0.9]
    logs = np.log(numbers.where(numbers > 0).to_numpy(dtype=float))
    spread = float(np.nanstd(told))
    of = [np.flatnonzero((found["participant_id"] == r).to_numpy()) for r in found["participant_id"].unique()]
    rows = np.array([own[at] for own in of for at in (0, -1)])
    whole = np.flatnonzero(np.isfinite(logs[rows]).all(axis=0) & (np.nanstd(logs, axis=0) > 1e-4))
    few, wanted = logs[np.ix_(rows, whole)], told[rows]

    def tells(columns: list[int], signs: list[int]) -> bool:
        left = told - logs[:, whole[columns]] @ np.array(signs)
        left = left[np.isfinite(left)]
        return bool(np.quantile(np.abs(left - np.median(left)), 0.9) < _LEFT * spread)

    names, found_out = [numbers.columns[at] for at in whole], []

    def look(columns: list[int], signs: list[int], left: np.ndarray) -> None:
        start = columns[-1] + 1 if columns else 0
        for sign in (1, -1):
            spans = np.ptp(left[:, None] - sign * few[:, start:], axis=0)
            for at in np.flatnonzero(spans < 2.4 * _LEFT * spread) + start:
                if tells([*columns, at], [*signs, sign]):
                    found_out.append(
                        " ".join(f"{names[c]}^{s}" for c, s in zip([*columns, at], [*signs, sign], strict=True))
                    )
            if len(columns) + 1 < most:
                for at in range(start, few.shape[1]):
                    look([*columns, at], [*signs, sign], left - sign * few[:, at])

    look([], [], wanted)
    return found_out


#: With the laboratory of most runners three numbers are tried, with the others two: what three tell is told there, too.
_TRIED = [("corrie", 3), ("brack", 2), ("tarn", 2)]


def running_at(database: Path, site: str) -> pd.DataFrame:
    own = asked(database, f"SELECT trial_id FROM trials WHERE site = '{site}' AND kind = 'running'").iloc[:, 0]
    found = of_trials(database)
    return found.loc[found.index.isin(own)]


@pytest.mark.parametrize("what", ["mass_kg", "stature_m", "leg_length_m"])
@pytest.mark.parametrize(("site", "most"), _TRIED)
def test_no_product_or_ratio_of_three_numbers_of_a_release_tells_what_is_told_in_bands(
    released: Path, demo_depot: Path, what: str, site: str, most: int
) -> None:
    truth = asked(demo_depot / "warehouse.duckdb", f"SELECT participant_id, {what} FROM runners")
    assert formulas(running_at(released, site), truth.set_index("participant_id")[what], most) == []


def test_a_formula_of_three_numbers_is_found_where_there_is_one(released: Path, demo_depot: Path) -> None:
    found = running_at(released, "corrie").iloc[:, :12]
    truth = asked(demo_depot / "warehouse.duckdb", "SELECT participant_id, mass_kg FROM runners")
    mass = truth.set_index("participant_id")["mass_kg"]
    one, other = (pd.Series(np.random.default_rng(n).uniform(1, 9, len(found)), found.index) for n in (1, 2))
    made = mass.reindex(found["participant_id"]).to_numpy() * one / other
    assert formulas(found.assign(one=one, other=other, made=made), mass, 3) == ["one^-1 other^1 made^1"]


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


def test_no_table_of_a_release_holds_anything_in_newtons_from_which_masses_could_be_solved(
    released: Path, demo_depot: Path
) -> None:
    """Many means over few runners, each in what is told of a runner times the mass, are equations for the masses."""
    there = asked(demo_depot / "warehouse.duckdb", "SELECT DISTINCT outcome FROM pooled_contrasts").iloc[:, 0]
    assert [name for name in there if "stiffness" in name], "there is something to keep"
    texts = "SELECT table_name, column_name FROM duckdb_columns() WHERE NOT internal AND data_type = 'VARCHAR'"
    looked_at, telling = set(), []
    for table, column in asked(released, texts).itertuples(index=False):
        cells = asked(released, f'SELECT DISTINCT "{column}" AS cell FROM "{table}"')["cell"].dropna()
        looked_at |= {table} if len(cells) else set()
        telling += [f"{table}.{column}: {cell}" for cell in cells if re.search(r"stiffness|(?i:_|\b)kN?\b|_kn_", cell)]
    assert telling == []
    assert {"site_contrasts", "pooled_contrasts", "reliability", "site_agreement", "site_expectations"} <= looked_at


def test_how_much_runners_run_leaves_neither_as_a_distance_nor_in_minutes(released: Path) -> None:
    columns = set(asked(released, "SELECT column_name FROM duckdb_columns()").iloc[:, 0])
    assert "new_footwear_fraction" in columns
    assert not [name for name in columns if name.endswith("_min") and "per_min" not in name]


def test_nothing_of_a_runners_health_is_in_a_release(released: Path) -> None:
    columns = set(asked(released, "SELECT column_name FROM duckdb_columns()").iloc[:, 0])
    assert not [
        name
        for name in columns
        if "symptom_sev" in name or "question" in name or name.endswith(("health_problem", "substantial_problem"))
    ]
