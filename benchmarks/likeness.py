"""How near a release lets bodies be guessed by likeness: ``python -m benchmarks.likeness --depot DEPOT``.

Stature and mass leave in bands, but tall runners take longer steps. Who knows the true stature of all other runners can
draw a line through them (ridge regression over every number that the release tells of each runner; its strength
chosen within the others) and read off the one who is left. Printed is how far off that is, beside how far off the
mean of the others is, which needs no release at all. Nothing is written.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipelines.release.contents import fill
from pipelines.study.file import load_study
from pipelines.telemetry import DUCKDB_CONFIG

STUDY = Path(__file__).parents[1] / "demo_site_uploads" / "study.yaml"
_STRENGTHS = np.logspace(-2, 4, 25)
_LEAST = 8  # runners who have a number


def numbers_of_runners(database: Path) -> pd.DataFrame:
    """Every number of a release's tables by trial or footfall, of each runner (index) the median over trials."""
    with duckdb.connect(str(database), read_only=True, config=dict(DUCKDB_CONFIG)) as connection:
        columns = connection.execute(
            "SELECT table_name, column_name FROM duckdb_columns() JOIN duckdb_tables() USING (table_name) "
            "WHERE data_type = 'DOUBLE' AND table_name IN "
            "(SELECT table_name FROM duckdb_columns() WHERE column_name = 'trial_id')"
        ).df()
        found = connection.execute("SELECT trial_id, participant_id FROM trials").df().set_index("trial_id")
        for table, own in columns.groupby("table_name"):
            frame = connection.execute(f"SELECT * FROM {table}").df()
            parts = [n for n in ("outcome", "quantity", "side", "joint", "plane", "condition") if n in frame]
            means = frame.groupby(["trial_id", *parts], dropna=False)[list(own["column_name"])].mean()
            means = means.unstack(parts) if parts else means
            means.columns = [f"{table}.{name}" for name in means.columns]
            found = found.join(means)
    of = found.groupby("participant_id").median(numeric_only=True)
    return of.loc[:, (of.notna().sum() >= _LEAST) & (of.std() > 1e-9)]


def _guess(x: NDArray[np.float64], y: NDArray[np.float64], of: NDArray[np.float64], strength: float) -> float:
    mean, spread = x.mean(axis=0), x.std(axis=0)
    spread[spread == 0] = 1.0
    own, kernel = (of - mean) / spread, (x - mean) / spread
    weights = np.linalg.solve(kernel @ kernel.T + strength * np.eye(len(x)), y - y.mean())
    return float(y.mean() + own @ kernel.T @ weights)


def _errors(x: NDArray[np.float64], y: NDArray[np.float64], strength: float) -> NDArray[np.float64]:
    kept = [np.arange(len(y)) != i for i in range(len(y))]
    return np.array([_guess(x[k], y[k], x[i], strength) - y[i] for i, k in enumerate(kept)])


def left_out(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Of each runner the guess from all others less the truth; the strength is chosen within these others."""
    errors = []
    for i in range(len(y)):
        others = np.arange(len(y)) != i
        best = min(_STRENGTHS, key=lambda s: float((_errors(x[others], y[others], s) ** 2).sum()))
        errors.append(_guess(x[others], y[others], x[i], best) - y[i])
    return np.array(errors)


def main() -> None:
    """Print it for stature and mass."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--depot", type=Path, required=True)
    depot = parser.parse_args().depot
    with tempfile.TemporaryDirectory() as folder:
        released = Path(folder) / "warehouse.duckdb"
        fill(released, depot / "warehouse.duckdb", load_study(STUDY), "likeness")
        numbers = numbers_of_runners(released)
    with duckdb.connect(str(depot / "warehouse.duckdb"), read_only=True, config=dict(DUCKDB_CONFIG)) as connection:
        truth = connection.execute("SELECT participant_id, stature_m, mass_kg, sex FROM runners").df()
    truth = truth.set_index("participant_id").reindex(numbers.index)
    force = numbers.filter(like="bw").notna().any(axis=1)
    numbers, truth = numbers[force].dropna(axis=1), truth[force]
    print(f"{len(numbers)} runners with force, {len(numbers.columns)} numbers each; each guessed from the others:")
    for what, unit, times in (("stature_m", "cm", 100.0), ("mass_kg", "kg", 1.0)):
        y = truth[what].to_numpy(dtype=float) * times
        off = float(np.sqrt((left_out(numbers.to_numpy(dtype=float), y) ** 2).mean()))
        blind = float(np.sqrt((((y.sum() - y) / (len(y) - 1) - y) ** 2).mean()))
        print(f"  {what}: off by {off:.1f} {unit} (root mean square); by the mean of the others {blind:.1f} {unit}")
    women = (truth["sex"] == truth["sex"].iloc[0]).to_numpy(dtype=float)
    x = numbers.to_numpy(dtype=float)
    right = int(((left_out(x, women) + women > 0.5) == (women > 0.5)).sum())
    print(f"  sex: {right} of {len(women)} right; the more frequent one is {int(max(women.sum(), (1 - women).sum()))}")


if __name__ == "__main__":
    main()
