"""From a release of the demonstration nobody's mass, stature or leg length can be computed.

What is told in bands would else be told exactly: a force in newtons beside one in body weights is a mass. Which numbers
would tell, on paper, stands in ``schemas.leaving``; here each of these formulas is tried, and all products of three.
"""

from __future__ import annotations

import re
import shutil
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
        if table not in with_trials & tables - {"curves"}:  # what these tell is tried by its formulas below
            continue
        frame = asked(database, f"SELECT * FROM {table}")
        parts = [n for n in ("outcome", "quantity", "device", "side", "joint", "plane") if n in frame]
        means = frame.groupby(["trial_id", *parts], dropna=False)[list(own["column_name"])].mean()
        means = means.unstack(parts) if parts else means
        means.columns = [f"{table}.{name}" for name in means.columns]
        found = found.join(means)
    return found


@pytest.fixture(scope="module")
def numbers(released: Path) -> pd.DataFrame:
    """Every number that a release tells of trials."""
    return of_trials(released)


@pytest.fixture(scope="module")
def numbers_of_depot(demo_depot: Path) -> pd.DataFrame:
    """Every number that the warehouse of the depot tells of trials, but for curves."""
    return of_trials(demo_depot / "warehouse.duckdb")


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


def running_at(database: Path, found: pd.DataFrame, site: str) -> pd.DataFrame:
    own = asked(database, f"SELECT trial_id FROM trials WHERE site = '{site}' AND kind = 'running'").iloc[:, 0]
    return found.loc[found.index.isin(own)]


@pytest.mark.parametrize("what", ["mass_kg", "stature_m", "leg_length_m"])
@pytest.mark.parametrize(("site", "most"), _TRIED)
def test_no_product_or_ratio_of_three_numbers_of_a_release_tells_what_is_told_in_bands(
    released: Path, numbers: pd.DataFrame, demo_depot: Path, what: str, site: str, most: int
) -> None:
    truth = asked(demo_depot / "warehouse.duckdb", f"SELECT participant_id, {what} FROM runners")
    assert formulas(running_at(released, numbers, site), truth.set_index("participant_id")[what], most) == []


def test_a_formula_of_three_numbers_is_found_where_there_is_one(
    released: Path, numbers: pd.DataFrame, demo_depot: Path
) -> None:
    found = running_at(released, numbers, "corrie").iloc[:, :12]
    truth = asked(demo_depot / "warehouse.duckdb", "SELECT participant_id, mass_kg FROM runners")
    mass = truth.set_index("participant_id")["mass_kg"]
    one, other = (pd.Series(np.random.default_rng(n).uniform(1, 9, len(found)), found.index) for n in (1, 2))
    made = mass.reindex(found["participant_id"]).to_numpy() * one / other
    assert formulas(found.assign(one=one, other=other, made=made), mass, 3) == ["one^-1 other^1 made^1"]


@pytest.mark.parametrize("what", ["mass_kg", "leg_length_m"])
def test_no_pair_of_numbers_of_a_release_tells_what_is_told_in_bands(
    numbers: pd.DataFrame, demo_depot: Path, what: str
) -> None:
    truth = asked(demo_depot / "warehouse.duckdb", f"SELECT participant_id, {what} FROM runners")
    assert telling(numbers, truth.set_index("participant_id")[what]) == []


def test_what_would_tell_is_found_in_the_warehouse(demo_depot: Path, numbers_of_depot: pd.DataFrame) -> None:
    truth = asked(demo_depot / "warehouse.duckdb", "SELECT participant_id, mass_kg FROM runners")
    assert telling(numbers_of_depot, truth.set_index("participant_id")["mass_kg"])


def test_the_spring_mass_model_gives_nobodys_mass_or_leg_length_from_a_release(released: Path) -> None:
    """Morin et al. 2005, J Appl Biomech 21:167-180, the other way round: mass from stiffness and times, then length."""
    columns = set(asked(released, "SELECT column_name FROM duckdb_columns()").iloc[:, 0])
    assert {"contact_time_s", "flight_time_s", "speed_m_per_s"} <= columns
    assert not [name for name in columns if "stiffness" in name]
    contrasts = asked(released, "SELECT DISTINCT outcome FROM runner_contrasts").iloc[:, 0]
    assert not [name for name in contrasts if "stiffness" in name]
    assert len(contrasts) > 3


def of_runners(database: Path, question: str, truth: str) -> pd.DataFrame:
    """What a question tells of each runner (tells, by participant_id), beside the truth."""
    known = asked(database, f"SELECT participant_id, {truth} AS truth FROM runners").set_index("participant_id")
    return asked(database, question).groupby("participant_id").median().join(known, how="inner")


def left_over(tells: np.ndarray, truth: np.ndarray) -> float:
    """The part of the truth's variance that a straight line through all other runners does not tell of one."""
    x, y = tells - tells.mean(), truth - truth.mean()
    off = (y - x * (x @ y) / (x @ x)) / (1 - 1 / len(x) - x**2 / (x @ x))
    return float((off**2).sum() / (y**2).sum())


_MOVED = "(SELECT trial_id, avg(speed_m_per_s * contact_time_s) AS moved FROM footfalls GROUP BY trial_id)"
#: Formulas by which numbers of one runner tell mass or leg length, as SQL over the warehouse of the depot: what they
#: tell, from what it is computed and what of it no release has.
_FORMULAS = {
    "force where a contact begins, at a threshold in newtons": (
        "mass_kg",
        "SELECT participant_id, 1 / mean_value AS tells FROM curves JOIN trials USING (trial_id) "
        "WHERE quantity = 'vertical_force_bw' AND point_number = 0",
        "curves",
    ),
    "what the level of a plate is worth in body weights": (
        "mass_kg",
        "SELECT participant_id, 1 / from_level_value AS tells FROM outcome_uncertainties JOIN trials USING (trial_id) "
        "WHERE outcome = 'active_peak_bw' AND site = 'corrie'",
        "outcome_uncertainties",
    ),
    "how far the hip travels over the flat foot": (
        "leg_length_m",
        "SELECT participant_id, 0.3 * moved / (sin(radians(b.knee - b.ankle)) - sin(radians(a.knee - a.ankle)) "
        "+ sin(radians(a.ankle)) - sin(radians(b.ankle))) AS tells FROM "
        f"{_MOVED} JOIN trials USING (trial_id) "
        + " ".join(
            "JOIN (SELECT trial_id, avg(mean_value) FILTER (quantity = 'knee_sagittal_angle_deg') AS knee, "
            "avg(mean_value) FILTER (quantity = 'ankle_sagittal_angle_deg') AS ankle FROM curves "
            f"WHERE point_number = {point} GROUP BY trial_id) {name} USING (trial_id)"
            for name, point in (("a", 20), ("b", 50))
        ),
        "curves",
    ),
    "the lever arm of the force about the ankle": (
        "leg_length_m",
        "SELECT participant_id, moment_peak_nm_per_kg / active_peak_bw AS tells FROM footfall_joints "
        "JOIN footfalls USING (trial_id, footfall_number) JOIN trials USING (trial_id) "
        "WHERE joint = 'ankle' AND plane = 'sagittal'",
        "moment_peak_nm_per_kg",
    ),
}


@pytest.mark.parametrize("formula", _FORMULAS)
def test_a_formula_that_tells_mass_or_leg_length_in_the_depot_finds_nothing_to_work_on_in_a_release(
    released: Path, demo_depot: Path, formula: str
) -> None:
    truth, question, gone = _FORMULAS[formula]
    found = of_runners(demo_depot / "warehouse.duckdb", question, truth).dropna()
    assert len(found) >= _LEAST
    assert left_over(found["tells"].to_numpy(), found["truth"].to_numpy()) < 0.05
    if gone == "curves":  # the table is there, without the quantities of which rows of one trial stay
        assert asked(released, question)["tells"].dropna().empty
        left = set(asked(released, "SELECT DISTINCT quantity FROM curves").iloc[:, 0])
        assert left
        assert not {name for name in left if name in question}
        return
    with pytest.raises((duckdb.CatalogException, duckdb.BinderException), match=gone):  # for want of nothing else
        asked(released, question)


def with_tables_of_the_depot(released: Path, demo_depot: Path, target: Path, *tables: str) -> Path:
    """A release into which whole tables of the depot came by mistake."""
    shutil.copy(released, target)
    with duckdb.connect(str(target), config=dict(DUCKDB_CONFIG)) as connection:
        connection.execute(f"ATTACH '{demo_depot / 'warehouse.duckdb'}' AS depot (READ_ONLY)")
        for table in tables:
            connection.execute(f"CREATE OR REPLACE TABLE {table} AS SELECT * FROM depot.main.{table}")
    return target


@pytest.mark.parametrize("formula", _FORMULAS)
def test_with_what_a_formula_needs_in_a_release_it_would_work_there(
    released: Path, demo_depot: Path, tmp_path: Path, formula: str
) -> None:
    _, question, gone = _FORMULAS[formula]
    table = gone if "_" not in gone or gone == "outcome_uncertainties" else "footfall_joints"
    leaky = with_tables_of_the_depot(released, demo_depot, tmp_path / "leaky.duckdb", table)
    assert len(asked(leaky, question)["tells"].dropna()) >= _LEAST


@pytest.mark.parametrize("leak", ["mass_kg", "mass_kg * active_peak_bw", "mass_kg / contact_time_s"])
def test_a_column_by_which_mass_leaves_is_seen_by_what_looks_at_a_release(
    released: Path, demo_depot: Path, tmp_path: Path, leak: str
) -> None:
    leaky = tmp_path / "leaky.duckdb"
    shutil.copy(released, leaky)
    with duckdb.connect(str(leaky), config=dict(DUCKDB_CONFIG)) as connection:
        connection.execute(f"ATTACH '{demo_depot / 'warehouse.duckdb'}' AS depot (READ_ONLY)")
        connection.execute("ALTER TABLE footfalls ADD COLUMN leaked DOUBLE")
        connection.execute(
            f"UPDATE footfalls SET leaked = made.leak FROM (SELECT trial_id, footfall_number, {leak} AS leak "
            "FROM depot.main.footfalls JOIN depot.main.trials USING (trial_id) JOIN depot.main.runners USING "
            "(participant_id)) AS made WHERE made.trial_id = footfalls.trial_id "
            "AND made.footfall_number = footfalls.footfall_number"
        )
    known, numbers = sizes(demo_depot), of_trials(leaky)
    mass = known["mass_kg"]
    assert [name for name in telling(numbers, mass) if "leaked" in name]
    assert [name for name in formulas(running_at(leaky, numbers, "brack"), mass, 2) if "leaked" in name]
    if leak == "mass_kg":
        assert "leaked" in most_telling(numbers.groupby("participant_id").median(numeric_only=True), known)[2]


def of_runners_by_words(database: Path) -> pd.DataFrame:
    """Every number of tables by runner, the mean over rows of the same words."""
    columns = asked(
        database,
        "SELECT table_name, column_name, data_type FROM duckdb_columns() JOIN duckdb_tables() USING (table_name) "
        "WHERE table_name IN (SELECT table_name FROM duckdb_columns() WHERE column_name = 'participant_id')",
    )
    found = asked(database, "SELECT participant_id FROM runners").set_index("participant_id")
    for table, own in columns.groupby("table_name"):
        names = own.set_index("column_name")["data_type"]
        numbers = [name for name in names.index if names[name] in ("DOUBLE", "BIGINT")]
        words = [name for name in names.index if names[name] == "VARCHAR" and not name.endswith(("_id", "_version"))]
        words = [name for name in words if name not in ("raw_sha256", "site")]
        means = asked(database, f"SELECT * FROM {table}").groupby(["participant_id", *words], dropna=False)[numbers]
        means = means.mean().unstack(words) if words else means.mean()
        means.columns = [f"{table}.{name}" for name in means.columns]
        found = found.join(means)
    return found


def most_telling(told: pd.DataFrame, truths: pd.DataFrame) -> tuple[float, str, str]:
    """What is left of a truth's variance by the number that tells most of it, a power of it times one number for all."""
    truths, means = np.log(truths.astype(float)), told.astype(float).abs()
    means = np.log(means.where(means > 0))
    means = means.loc[:, (means.notna().sum() >= _LEAST) & (means.std() > 1e-6)]
    assert len(means.columns) > 50
    best = (1.0, "", "")
    for what in truths:
        truth = truths[what].reindex(means.index).to_numpy()
        for name in means:
            own = means[name].to_numpy()
            known = np.isfinite(own) & np.isfinite(truth)
            if known.sum() >= _LEAST:
                best = min(best, (left_over(own[known], truth[known]), what, str(name)))
    return best


def sizes(demo_depot: Path) -> pd.DataFrame:
    question = (
        "SELECT participant_id, mass_kg, stature_m, leg_length_m, minutes FROM runners LEFT JOIN (SELECT participant_id, "
        "sum(running_min) / count(DISTINCT week) AS minutes FROM reported_weeks GROUP BY ALL) USING (participant_id)"
    )
    return asked(demo_depot / "warehouse.duckdb", question).set_index("participant_id")


def test_no_single_number_of_a_release_tells_a_runners_body_or_minutes(
    released: Path, numbers: pd.DataFrame, demo_depot: Path
) -> None:
    known = sizes(demo_depot)
    assert most_telling(of_runners_by_words(released), known)[0] > 0.05
    for found in (numbers, running_at(released, numbers, "corrie")):
        assert most_telling(found.groupby("participant_id").median(numeric_only=True), known)[0] > 0.15


def test_a_single_number_that_tells_is_found_in_the_warehouse(demo_depot: Path, numbers_of_depot: pd.DataFrame) -> None:
    found = (
        running_at(demo_depot / "warehouse.duckdb", numbers_of_depot, "corrie")
        .groupby("participant_id")
        .median(numeric_only=True)
    )
    assert most_telling(found.filter(like="outcome_uncertainties"), sizes(demo_depot))[0] < 0.01


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
    assert {"site_contrasts", "pooled_contrasts", "reliability", "site_agreement", "planned_contrasts"} <= looked_at


def test_how_much_runners_run_leaves_neither_as_a_distance_nor_in_minutes_nor_as_shares_of_them(released: Path) -> None:
    """A share is a quotient of whole minutes: its continued fraction, week by week, gives them back."""
    names = asked(released, "SELECT table_name, column_name FROM duckdb_columns()")
    columns = set(names["column_name"])
    assert not [name for name in columns if name.endswith("_min") and "per_min" not in name]
    assert not [name for name in columns if name.startswith("new_footwear")]
    assert "weekly_distance_km_per_wk" in columns, "in bands, where enough runners share it"


def test_no_checksum_of_a_delivery_leaves_by_which_its_small_tables_could_be_guessed(released: Path) -> None:
    names = asked(released, "SELECT table_name, column_name FROM duckdb_columns() WHERE schema_name = 'main'")
    sums = {(t, c) for t, c in names.itertuples(index=False) if "sha256" in c}
    assert {c for _, c in sums} == {"raw_sha256", "plan_sha256", "settings_sha256"}
    assert not {c for c in names["column_name"] if c.startswith("payload")}


def test_nothing_of_a_runners_health_is_in_a_release(released: Path) -> None:
    columns = set(asked(released, "SELECT column_name FROM duckdb_columns()").iloc[:, 0])
    assert not [
        name
        for name in columns
        if "symptom_sev" in name or "question" in name or name.endswith(("health_problem", "substantial_problem"))
    ]
