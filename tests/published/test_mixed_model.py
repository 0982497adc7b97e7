"""The mixed model against published fits of the sleep-deprivation data.

Belenky et al. 2003, J Sleep Res 12:1; fits as in Bates et al. 2015, J Stat Softw 67(1). The data are read from
../shared/reference/sleepstudy.csv beside the repository and are not copied into it.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipelines.science.statistics.contrasts import pooled_contrasts, runner_contrasts, site_contrasts
from pipelines.science.statistics.mixed_model import MixedFit, fit_mixed
from schemas.processing import Processing
from tests.pipelines.science.measured import measured
from tests.published.test_meta_analysis import FIRST, SECOND

FILE = Path(__file__).resolve().parents[2].parent / "shared" / "reference" / "sleepstudy.csv"


@pytest.fixture(scope="module")
def sleep() -> dict[str, Any]:
    if not FILE.exists():
        pytest.skip(f"{FILE} is not there: the data are kept outside the repository")
    lines = [line for line in FILE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    days = np.array([float(row["Days"]) for row in rows])
    assert len(rows) == 180
    return {
        "values": np.array([float(row["Reaction_ms"]) for row in rows]),
        "fixed": np.column_stack([np.ones_like(days), days]),
        "groups": np.array([row["Subject"] for row in rows]),
    }


def fitted(sleep: dict[str, Any], **kind: Any) -> MixedFit:
    fit = fit_mixed(**sleep, **kind)
    assert fit is not None
    return fit


def test_restricted_likelihood_with_slopes_is_the_published_fit(sleep: dict[str, Any]) -> None:
    fit = fitted(sleep, random=sleep["fixed"])
    assert fit.estimates == pytest.approx([251.4051, 10.4673], abs=1e-4)
    assert fit.errors == pytest.approx([6.8246, 1.5458], abs=1e-3)
    intercept, slope = np.diag(fit.group_covariance)
    assert (intercept, slope) == pytest.approx((612.09, 35.07), abs=0.1)
    assert fit.group_covariance[0, 1] / np.sqrt(intercept * slope) == pytest.approx(0.066, abs=1e-3)
    assert fit.residual_variance == pytest.approx(654.94, abs=0.1)
    assert fit.minus_two_log_likelihood == pytest.approx(1743.63, abs=0.01)


def test_full_likelihood_with_slopes_is_the_published_fit(sleep: dict[str, Any]) -> None:
    fit = fitted(sleep, random=sleep["fixed"], restricted=False)
    assert fit.estimates == pytest.approx([251.405, 10.4673], abs=1e-3)
    assert fit.errors == pytest.approx([6.63226, 1.50224], abs=1e-3)
    assert np.diag(fit.group_covariance) == pytest.approx([565.511, 32.682], abs=0.02)
    assert fit.residual_variance == pytest.approx(654.941, abs=0.01)
    assert fit.minus_two_log_likelihood == pytest.approx(1751.9393, abs=1e-3)


def test_intercepts_only_are_the_published_fits(sleep: dict[str, Any]) -> None:
    full = fitted(sleep, restricted=False)
    assert np.sqrt(full.residual_variance) == pytest.approx(30.8954, abs=1e-3)
    assert full.minus_two_log_likelihood == pytest.approx(1794.0786, abs=1e-3)
    restricted = fitted(sleep)
    assert restricted.errors == pytest.approx([9.7467, 0.8042], abs=1e-3)
    assert restricted.minus_two_log_likelihood == pytest.approx(1786.4651, abs=1e-3)
    assert restricted.group_covariance[0, 0] == pytest.approx(1378.2, abs=0.1)
    assert restricted.residual_variance == pytest.approx(960.45, abs=0.02)


@pytest.mark.parametrize("factor", [1e-3, 1e3])
def test_the_unit_of_the_values_does_not_change_the_fit(sleep: dict[str, Any], factor: float) -> None:
    plain = fitted(sleep, random=sleep["fixed"])
    scaled = fitted(sleep | {"values": factor * sleep["values"]}, random=sleep["fixed"])
    assert scaled.estimates / factor == pytest.approx(plain.estimates, rel=1e-6)
    assert scaled.errors / factor == pytest.approx(plain.errors, rel=1e-6)


def test_with_every_runner_in_both_conditions_the_mixed_model_is_students_paired_t() -> None:
    # Student 1908, Biometrika 6:1: mean -1.58 h, t -4.0621 on 9 degrees of freedom, interval -2.4599 to -0.7001
    rows = [(f"R{i}", "brack", "cushioned", b) for i, b in enumerate(SECOND)]
    rows += [(f"R{i}", "brack", "unshod", a) for i, a in enumerate(FIRST)]
    runners = runner_contrasts(measured(rows), Processing())
    pooled = pooled_contrasts(runners, site_contrasts(runners, Processing()), Processing())
    row = pooled[pooled["pooling_method"] == "mixed_model"].iloc[0]
    assert row["estimate_value"] == pytest.approx(-1.58, abs=1e-6)
    assert row["estimate_value"] / row["standard_error_value"] == pytest.approx(-4.0621, rel=1e-4)
    assert (row["lower_limit_value"], row["upper_limit_value"]) == pytest.approx((-2.4599, -0.7001), abs=1e-3)
