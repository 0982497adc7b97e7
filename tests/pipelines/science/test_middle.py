import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipelines.science.signals.middle import known_median, median, of_columns, percentiles

numbers = arrays(float, st.integers(1, 40), elements=st.floats(-1e6, 1e6))


@given(numbers)
def test_the_median_is_numpys(values):
    assert median(values) == np.median(values)


@given(arrays(float, st.integers(1, 40), elements=st.floats(-1e6, 1e6) | st.just(np.nan)))
def test_the_median_of_what_is_known_is_numpys(values):
    expected = np.median(values[~np.isnan(values)]) if not np.isnan(values).all() else np.nan
    assert known_median(values) == pytest.approx(expected, rel=0, abs=0, nan_ok=True)


@given(numbers, st.floats(0, 100), st.floats(0, 100))
def test_percentiles_are_numpys(values, one, other):
    assert percentiles(values, one, other) == pytest.approx(np.percentile(values, [one, other]), rel=1e-12, abs=1e-9)


def test_nothing_has_no_middle():
    assert np.isnan(median(np.empty(0)))
    assert np.isnan(percentiles(np.empty(0), 5, 95)).all()


@given(
    arrays(float, st.tuples(st.integers(1, 12), st.integers(1, 4)), elements=st.floats(-1e6, 1e6) | st.just(np.nan)),
    st.floats(0, 100),
)
def test_percentiles_of_columns_are_numpys_of_what_is_finite(values, percent):
    expected = [np.percentile(c[np.isfinite(c)], percent) if np.isfinite(c).any() else np.nan for c in values.T]
    assert of_columns(values, percent)[0] == pytest.approx(expected, rel=1e-12, abs=1e-9, nan_ok=True)
