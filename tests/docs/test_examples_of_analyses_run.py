"""What docs/how_to/analyse_with_your_own_program.md shows runs on the demonstration and meets the warehouse's answers."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest

PAGE = Path(__file__).resolve().parents[2] / "docs" / "how_to" / "analyse_with_your_own_program.md"
MAIN = """FROM planned_contrasts WHERE variant = 'main' AND outcome = 'contact_time_s' AND contrast = 'condition'
AND visit = 'week_0' AND condition = 'thin_soled'"""


def block(heading: str, language: str) -> str:
    section = PAGE.read_text(encoding="utf-8").split(f"\n## {heading}\n", 1)[1].split("\n## ", 1)[0]
    (found,) = re.findall(rf"```{language}\n(.*?)```", section, re.DOTALL)
    return str(found)


@pytest.fixture
def folder(tmp_path: Path, demo_depot: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "depot").symlink_to(demo_depot, target_is_directory=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def warehouse(demo_depot: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect(str(demo_depot / "warehouse.duckdb"), read_only=True) as connection:
        yield connection


def one(connection: duckdb.DuckDBPyConnection, sql: str) -> tuple[Any, ...]:
    (row,) = connection.execute(sql).fetchall()
    return tuple(row)


def test_sql_tells_each_site_by_itself(warehouse: duckdb.DuckDBPyConnection) -> None:
    sites = warehouse.execute(block("SQL", "sql")).fetchall()
    assert sum(runners for _, runners, _, _ in sites) == one(warehouse, f"SELECT measured_count {MAIN}")[0]
    own = {
        (site, round(mean, 9), round(error, 9))
        for site, mean, error in warehouse.execute(
            "SELECT site, estimate_value, standard_error_value FROM site_contrasts WHERE outcome = 'contact_time_s' "
            "AND contrast = 'condition' AND visit = 'week_0' AND condition = 'thin_soled'"
        ).fetchall()
    }
    assert {(site, round(mean, 9), round(error, 9)) for site, _, mean, error in sites} <= own


@pytest.mark.filterwarnings("ignore:.*:statsmodels.tools.sm_exceptions.ConvergenceWarning")
def test_pandas_and_statsmodels_meet_the_planned_answer(folder: Path, warehouse: duckdb.DuckDBPyConnection) -> None:
    names: dict[str, Any] = {}
    exec(block("pandas", "python"), names)  # what the page shows, as it stands
    wanted = "estimate_value, runner_count, covariates, between_site_sd_value"
    estimate, runners, covariates, between = one(warehouse, f"SELECT {wanted} {MAIN}")
    assert names["differences"].participant_id.nunique() == runners
    assert (covariates, between) == ("speed", 0), "which is what the page says of the demonstration"
    assert names["estimate"] == pytest.approx(estimate, rel=1e-4)


def test_polars_sorts_the_planned_answers(folder: Path, warehouse: duckdb.DuckDBPyConnection) -> None:
    names: dict[str, Any] = {}
    exec(block("polars", "python"), names)
    answered = "SELECT count(*) FROM planned_contrasts WHERE variant = 'main' AND estimate_value IS NOT NULL"
    assert names["answers"].height == one(warehouse, answered)[0]
    assert names["answers"]["width_in_estimates"].is_sorted(descending=True)


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed here: its example was not run")
def test_r_meets_the_planned_answer(folder: Path, warehouse: duckdb.DuckDBPyConnection) -> None:
    packages = "quit(status = !all(sapply(c('lmerTest', 'pbkrtest'), requireNamespace, quietly = TRUE)))"
    if subprocess.run(["Rscript", "-e", packages], check=False).returncode:
        pytest.skip("lmerTest or pbkrtest is not installed in R: its example was not run")
    warehouse.execute("SELECT * FROM planned_differences").df().to_csv(folder / "differences.csv", index=False)
    (folder / "example.R").write_text(block("R", "r"), encoding="utf-8")
    done = subprocess.run(["Rscript", "example.R"], cwd=folder, capture_output=True, text=True, check=True)
    estimate = one(warehouse, f"SELECT estimate_value {MAIN}")[0]
    assert float(done.stdout.split()[-1]) == pytest.approx(estimate, rel=1e-4)
