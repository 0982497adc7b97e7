"""Both models of the pool against R on simulated studies: with and without travelling runners, covariates, differences.

What R says, and by which versions, is in values/pool_by_r.csv; values/pool.R is what was run. Where Rscript is there it
is run once more.
"""

from __future__ import annotations

import csv
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from pipelines.science.statistics.one_stage import OneStage, fit_layout, layout, one_stage
from pipelines.science.statistics.pooling import MetaAnalysis, mean_effect, random_effects

HERE = Path(__file__).resolve().parent / "values"
STUDIES, BY_R, SCRIPT = (HERE / name for name in ("simulated_differences.csv", "pool_by_r.csv", "pool.R"))
PACKAGES = ("lme4", "pbkrtest", "lmerTest", "metafor")
EACH = ("stay", "travel", "covariates", "alike", "unequal")


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def told(text: str) -> dict[str, dict[str, float]]:
    found: dict[str, dict[str, float]] = {}
    for row in read(text):
        found.setdefault(row["study"], {})[row["quantity"]] = float(row["value"])
    return found


R = told(BY_R.read_text(encoding="utf-8"))


def arrays(study: str) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray | None]:
    """Differences, runners, sites, covariates."""
    own = [row for row in read(STUDIES.read_text(encoding="utf-8")) if row["study"] == study]
    covariates = np.array([[float(row["speed"]), float(row["order"])] for row in own])
    labels = (np.array([row[name] for row in own], object) for name in ("runner", "site"))
    return (np.array([float(row["difference"]) for row in own]), *labels, covariates if covariates.any() else None)


def model(study: str) -> OneStage:
    return one_stage(*arrays(study))


def two_stages(study: str) -> MetaAnalysis:
    differences, _, sites, _ = arrays(study)
    each = [mean_effect(differences[sites == site].tolist()) for site in sorted(set(sites))]
    return random_effects([e.estimate for e in each], [e.standard_error**2 for e in each], "restricted_likelihood")


@pytest.mark.parametrize("study", ["stay", "travel", "covariates", "unequal"])
def test_the_mixed_model_has_the_estimate_and_kenward_and_rogers_error_and_freedom_of_r(study: str) -> None:
    (found, fits), r = (model(study), fit_layout(arrays(study)[0], layout(*arrays(study)[1:])).fits), R[study]
    assert found.fitted == ("site" if study in ("stay", "unequal") else "site_and_runner")
    assert found.effect.estimate == pytest.approx(r["estimate"], abs=1e-5)
    assert (found.effect.standard_error, fits.errors[0, 0]) == pytest.approx((r["error"], r["error"]), rel=1e-4)
    assert fits.freedom[0, 0] == pytest.approx(r["freedom"], rel=1e-3)


@pytest.mark.parametrize("study", ["travel", "covariates"])
def test_where_r_has_as_many_degrees_of_freedom_as_the_sites_the_interval_is_that_of_r(study: str) -> None:
    found, r = model(study), R[study]
    assert found.interval == "kenward_roger"
    assert (found.effect.lower, found.effect.upper) == pytest.approx((r["lower"], r["upper"]), abs=1e-3)
    assert found.p_value == pytest.approx(r["p_value"], rel=2e-3)


@pytest.mark.parametrize(("study", "sites"), [("stay", 4), ("unequal", 3)])
def test_where_r_has_fewer_the_interval_is_told_as_another_and_is_narrower(study: str, sites: int) -> None:
    found, r = model(study), R[study]
    assert r["freedom"] < sites - 1
    assert (found.interval, found.freedom) == ("kenward_roger_sites", sites - 1)
    assert found.effect.upper - found.effect.lower < r["upper"] - r["lower"]
    assert r["upper"] - r["lower"] > 1e8 or study != "unequal"


@pytest.mark.parametrize("study", EACH)
def test_its_components_of_variance_are_those_of_r(study: str) -> None:
    found, r = model(study), R[study]
    own = {"site_sd": found.between_site_sd, "runner_sd": found.runner_sd, "rest_sd": found.rest_sd}
    assert {name: value for name, value in own.items() if value is not None} == pytest.approx(
        {name: r[name] for name in own if name in r}, abs=2e-5
    )


def test_what_covariates_do_is_what_r_says() -> None:
    differences, runners, sites, covariates = arrays("covariates")
    fits = fit_layout(differences, layout(runners, sites, covariates)).fits
    assert fits.estimates[0, 1:] == pytest.approx([R["covariates"][n] for n in ("per_speed", "per_order")], abs=1e-5)


def test_where_sites_do_not_differ_estimate_and_error_are_those_of_r() -> None:
    found, r = model("alike"), R["alike"]
    assert found.singular
    assert r["site_sd"] < 1e-5
    assert found.effect.estimate == pytest.approx(r["estimate"], abs=1e-5)
    assert found.effect.standard_error == pytest.approx(r["error"], rel=1e-4)
    assert found.interval.startswith("kenward_roger")


@pytest.mark.parametrize("study", EACH)
def test_the_two_stages_are_those_of_metafor(study: str) -> None:
    found, r = two_stages(study), R[study]
    assert found.tau2 == pytest.approx(r["meta_tau2"], abs=1e-5)
    effect = found.effect
    assert (effect.estimate, effect.standard_error) == pytest.approx((r["meta_estimate"], r["meta_error"]), abs=1e-5)
    assert (effect.lower, effect.upper) == pytest.approx((r["meta_lower"], r["meta_upper"]), abs=5e-5)
    assert (found.p_value, found.q) == pytest.approx((r["meta_p_value"], r["meta_q"]), rel=1e-4)
    assert found.i2_percent == pytest.approx(r["meta_i2"], abs=1e-3)
    assert found.prediction == pytest.approx((r["meta_prediction_lower"], r["meta_prediction_upper"]), abs=5e-5)


def test_some_of_them_need_the_safeguard_and_the_others_do_not() -> None:
    shrunk = {}
    for study in EACH:
        differences, _, sites, _ = arrays(study)
        each = [mean_effect(differences[sites == site].tolist()) for site in sorted(set(sites))]
        given = [e.estimate for e in each], [e.standard_error**2 for e in each]
        free = random_effects(*given, "restricted_likelihood", never_shrink=False)
        shrunk[study] = free.effect.standard_error < 0.99 * two_stages(study).effect.standard_error
    assert shrunk == {"stay": True, "travel": False, "covariates": False, "alike": True, "unequal": True}


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed here: its values are those of the file")
def test_r_still_says_so() -> None:
    wanted = f"quit(status = !all(sapply(c{PACKAGES}, requireNamespace, quietly = TRUE)))"
    if subprocess.run(["Rscript", "-e", wanted], check=False).returncode:
        pytest.skip(f"not all of {', '.join(PACKAGES)} are installed in R: its values are those of the file")
    done = subprocess.run(["Rscript", str(SCRIPT), str(STUDIES)], capture_output=True, text=True, check=True)
    for study, values in told(done.stdout).items():
        assert values == pytest.approx(R[study], rel=1e-5, abs=1e-6), study
