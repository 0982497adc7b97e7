"""Pairs in groups: the short way against the whole model as statsmodels fits it, the units nested in the groups."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec  # type: ignore[import-untyped]

from pipelines.science.statistics.mixed_model import fit_mixed, fit_pairs

Pairs = tuple[NDArray[Any], NDArray[Any], NDArray[Any]]


def pairs(seed: int, between_groups: float, between_units: float, sizes: tuple[int, ...] = (3, 5, 4)) -> Pairs:
    rng = np.random.default_rng(seed)
    groups = np.repeat(np.arange(len(sizes)), sizes)
    level = rng.normal(0, between_groups, len(sizes))[groups] + rng.normal(0, between_units, len(groups))
    return level + rng.normal(0, 1, len(groups)), 0.5 + level + rng.normal(0, 1, len(groups)), groups


def by_statsmodels(first: NDArray[Any], second: NDArray[Any], groups: NDArray[Any]) -> tuple[float, float]:
    """Estimate and error of the best of three optimisers, since each alone stops short on some of the cases."""
    n = len(first)
    values, fixed = np.concatenate([first, second]), np.column_stack([np.ones(2 * n), np.repeat([0.0, 1.0], n)])
    twice, units = np.tile(groups, 2), np.tile(np.arange(n), 2)
    names, columns = [], []
    for group in np.unique(groups):
        own = units[twice == group]
        names.append([str(unit) for unit in np.unique(own)])
        columns.append((own[:, None] == np.unique(own)[None, :]).astype(float))
    model = MixedLM(values, fixed, twice, np.ones((2 * n, 1)), exog_vc=VCSpec(["unit"], [names], [columns]))
    found = []
    for method in ("bfgs", "powell", "nm"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                found.append(model.fit(reml=True, method=method))
            except np.linalg.LinAlgError:
                continue
    best = max((f for f in found if np.isfinite(f.llf) and np.isfinite(f.bse_fe).all()), key=lambda f: float(f.llf))
    return float(best.fe_params[1]), float(best.bse_fe[1])


@pytest.mark.parametrize(
    ("seed", "between_groups", "between_units"),
    [(1, 2.0, 1.0), (2, 0.0, 1.0), (3, 2.0, 0.0), (4, 0.0, 0.0), (5, 0.0, 0.0), (6, 0.3, 0.2), (7, 1.0, 0.0)],
)
def test_pairs_give_the_answer_of_the_whole_nested_model(
    seed: int, between_groups: float, between_units: float
) -> None:
    given_pairs = pairs(seed, between_groups, between_units)
    found = fit_pairs(*given_pairs)
    assert found is not None
    assert (found.estimate, found.error) == pytest.approx(by_statsmodels(*given_pairs), rel=1e-3)


@given(st.integers(0, 10_000), st.sampled_from([0.0, 0.5, 3.0]), st.sampled_from([0.0, 0.5, 3.0]))
def test_which_condition_comes_first_only_turns_the_sign(
    seed: int, between_groups: float, between_units: float
) -> None:
    first, second, groups = pairs(seed, between_groups, between_units)
    forth, back = fit_pairs(first, second, groups), fit_pairs(second, first, groups)
    assert forth is not None
    assert back is not None
    assert (back.estimate, back.error) == pytest.approx((-forth.estimate, forth.error), rel=1e-6)


def test_units_that_vary_less_than_their_residuals_leave_the_plain_two_sample_error() -> None:
    # one group, and sums that vary less than the differences: the unit's variance is zero, all values count alike
    first, second = np.array([0.0, 1.0, 2.0, 3.0]), np.array([3.1, 2.0, 1.0, 0.1])
    found = fit_pairs(first, second, np.zeros(4))
    assert found is not None
    pooled = (first.var(ddof=1) + second.var(ddof=1)) / 2
    assert found.error == pytest.approx(np.sqrt(pooled * 2 / 4))


def test_what_does_not_vary_has_no_fit() -> None:
    assert fit_pairs(np.arange(4.0), np.arange(4.0) + 1, np.zeros(4)) is None
    assert fit_pairs(np.ones(1), np.zeros(1), np.zeros(1)) is None
    assert fit_mixed(np.ones(8), np.ones((8, 1)), np.repeat(["a", "b"], 4)) is None
