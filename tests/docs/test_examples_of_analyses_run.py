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
    assert (covariates, between) == ("none", 0), "which is what the page says of the demonstration"
    assert names["estimate"] == pytest.approx(estimate, rel=1e-4)


def test_polars_sorts_the_planned_answers(folder: Path, warehouse: duckdb.DuckDBPyConnection) -> None:
    names: dict[str, Any] = {}
    exec(block("polars", "python"), names)
    answered = "SELECT count(*) FROM planned_contrasts WHERE variant = 'main' AND estimate_value IS NOT NULL"
    assert names["answers"].height == one(warehouse, answered)[0]
    assert names["answers"]["width_in_estimates"].is_sorted(descending=True)


needs_r = pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed here: it was not asked")


def by_r(script: str, folder: Path, warehouse: duckdb.DuckDBPyConnection) -> list[str]:
    """What R prints, asked beside differences.csv."""
    packages = "quit(status = !all(sapply(c('lmerTest', 'pbkrtest'), requireNamespace, quietly = TRUE)))"
    if subprocess.run(["Rscript", "-e", packages], check=False).returncode:
        pytest.skip("lmerTest or pbkrtest is not installed in R: it was not asked")
    warehouse.execute("SELECT * FROM planned_differences").df().to_csv(folder / "differences.csv", index=False)
    (folder / "example.R").write_text(script, encoding="utf-8")
    done = subprocess.run(["Rscript", "example.R"], cwd=folder, capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


@needs_r
def test_r_meets_the_planned_answer(folder: Path, warehouse: duckdb.DuckDBPyConnection) -> None:
    estimate = one(warehouse, f"SELECT estimate_value {MAIN}")[0]
    assert float(by_r(block("R", "r"), folder, warehouse)[-1]) == pytest.approx(estimate, rel=1e-4)


EACH_BY_R = """
suppressPackageStartupMessages(library(lmerTest))
d <- subset(read.csv("differences.csv"), contrast == "condition")
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10), check.conv.singular = "ignore")
for (name in unique(d$outcome)) for (other in unique(d$condition)) {
  own <- subset(d, outcome == name & condition == other)
  if (!nrow(own)) next
  own$y <- own$difference_value / sd(own$difference_value)
  stopifnot(is.na(own$speed_difference_m_per_s) | abs(own$speed_difference_m_per_s) < 0.01)
  model <- y ~ 1 + (1 | site) + (1 | participant_id)
  fit <- lmer(model, own, REML = TRUE, control = control)
  parts <- as.data.frame(VarCorr(fit))
  told <- c(coef(summary(fit, ddf = "Kenward-Roger"))[1, 1:3], parts$sdcor[match(c("site", "participant_id"), parts$grp)])
  cat(name, other, format(told * c(1, 1, 0, 1, 1) * sd(own$difference_value) + c(0, 0, told[3], 0, 0), digits = 12), "\n")
}
"""


@needs_r
def test_r_meets_every_planned_difference_between_conditions(
    folder: Path, warehouse: duckdb.DuckDBPyConnection
) -> None:
    numbers = "estimate_value, standard_error_value, degrees_of_freedom, between_site_sd_value, runner_sd_value"
    rows = warehouse.execute(
        f"SELECT outcome, condition, {numbers}, interval FROM planned_contrasts "
        "WHERE variant = 'main' AND contrast = 'condition' AND fitted_components = 'site_and_runner'"
    ).fetchall()
    told = {
        tuple(words[:2]): [float(word) for word in words[2:]]
        for words in map(str.split, by_r(EACH_BY_R, folder, warehouse))
    }
    assert len(rows) >= 5
    for outcome, condition, estimate, error, freedom, site_sd, runner_sd, interval in rows:
        r = told[outcome, condition]
        assert estimate == pytest.approx(r[0], rel=1e-4), outcome
        assert (site_sd, runner_sd) == pytest.approx(r[3:], abs=1e-4 * abs(estimate)), outcome
        if interval.startswith("kenward_roger"):
            assert error == pytest.approx(r[1], rel=1e-3), outcome
            assert freedom == pytest.approx(r[2], rel=1e-3) or (interval, r[2] < freedom) == (
                "kenward_roger_sites",
                True,
            )
    assert sum(row[-1].startswith("kenward_roger") for row in rows) >= 4
