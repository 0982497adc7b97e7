from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.statistics.pooling import TauMethod, common_effect, random_effects

METHODS: tuple[TauMethod, ...] = ("dersimonian_laird", "restricted_likelihood")
numbers = st.floats(-10, 10)
studies = st.lists(st.tuples(numbers, st.floats(0.01, 5)), min_size=2, max_size=8)


@pytest.mark.parametrize("method", METHODS)
def test_sites_that_agree_have_no_variance_between_them(method: TauMethod) -> None:
    found = random_effects([1.0, 1.0, 1.0], [0.1, 0.2, 0.3], method)
    assert found.tau2 == 0
    assert found.i2_percent == 0
    assert found.effect.estimate == pytest.approx(1)


def test_close_estimates_do_not_make_the_hartung_knapp_interval_shorter_than_the_normal_variance_allows() -> None:
    y, v = [1.00, 1.01, 0.99], [0.1, 0.1, 0.1]
    kept = random_effects(y, v, interval="hartung_knapp").effect
    shrunk = random_effects(y, v, interval="hartung_knapp", never_shrink=False).effect
    normal = random_effects(y, v, interval="normal").effect
    assert kept.standard_error == pytest.approx(normal.standard_error)
    assert shrunk.standard_error < 0.1 * normal.standard_error
    assert kept.upper - kept.lower > normal.upper - normal.lower


def test_two_sites_have_no_prediction_interval() -> None:
    assert random_effects([1.0, 2.0], [0.1, 0.1]).prediction is None


@pytest.mark.parametrize(
    ("y", "v"), [([1.0], [0.1]), ([1.0, 2.0], [0.1, 0.0]), ([1.0, float("nan")], [0.1, 0.1]), ([1.0, 2.0], [0.1])]
)
def test_what_cannot_be_pooled_is_refused(y: list[float], v: list[float]) -> None:
    with pytest.raises(ValueError, match=r"at least two estimates|must be finite"):
        random_effects(y, v)


@pytest.mark.parametrize("method", METHODS)
@given(rows=studies, shift=numbers, factor=st.floats(1e-3, 1e3))
def test_the_unit_and_the_zero_of_the_outcome_do_not_matter(
    method: TauMethod, rows: list[tuple[float, float]], shift: float, factor: float
) -> None:
    y, v = np.array([r[0] for r in rows]), np.array([r[1] for r in rows])
    plain = random_effects(y.tolist(), v.tolist(), method)
    moved = random_effects((factor * (y + shift)).tolist(), (factor**2 * v).tolist(), method)
    size = max(1.0, float(np.abs(y).max()) + abs(shift))
    # the restricted likelihood is flat at its top, so its place is known to about the root of rounding
    assert moved.tau2 / factor**2 == pytest.approx(plain.tau2, rel=1e-3, abs=1e-5 * size**2)
    assert moved.effect.estimate / factor - shift == pytest.approx(plain.effect.estimate, abs=1e-4 * size)
    assert moved.i2_percent == pytest.approx(plain.i2_percent, abs=0.1)


@pytest.mark.parametrize("method", METHODS)
@given(rows=studies)
def test_the_pooled_estimate_lies_among_the_sites_and_is_never_surer_than_the_common_effect(
    method: TauMethod, rows: list[tuple[float, float]]
) -> None:
    y, v = [r[0] for r in rows], [r[1] for r in rows]
    found = random_effects(y, v, method, "normal")
    assert min(y) - 1e-9 <= found.effect.estimate <= max(y) + 1e-9
    assert found.effect.standard_error >= common_effect(y, v).standard_error * (1 - 1e-12)
    assert 0 <= found.i2_percent < 100
    if found.prediction:
        assert found.prediction[0] <= found.effect.lower
        assert found.prediction[1] >= found.effect.upper
