from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.signals.sampling import integral, stretch, value_at

LINE = np.stack([np.arange(5.0), 10 - np.arange(5.0)], axis=1)  # at 10 Hz


@given(st.floats(0, 0.4))
def test_a_straight_line_is_read_exactly_between_its_samples(time_s: float) -> None:
    assert value_at(LINE, 10, time_s) == pytest.approx([10 * time_s, 10 - 10 * time_s], abs=1e-4)


@pytest.mark.parametrize("time_s", [-0.01, 0.41, float("nan"), float("inf")])
def test_nothing_is_known_outside_the_record(time_s: float) -> None:
    assert np.isnan(value_at(LINE, 10, time_s)).all()


def test_a_missing_neighbour_is_not_guessed_but_a_sample_itself_is_read() -> None:
    signal = np.array([0.0, 1.0, np.nan, 3.0])
    assert value_at(signal, 10, 0.1) == 1.0
    assert np.isnan(value_at(signal, 10, 0.15))
    assert np.isnan(value_at(np.empty(0), 10, 0.0))


def test_a_stretch_has_its_two_ends_and_the_samples_strictly_between() -> None:
    times, values = stretch(LINE[:, 0], 10, 0.05, 0.30)
    assert times == pytest.approx([0.05, 0.1, 0.2, 0.3])
    assert values == pytest.approx([0.5, 1, 2, 3])


def test_a_stretch_within_one_sample_has_only_its_ends() -> None:
    times, values = stretch(LINE[:, 0], 10, 0.12, 0.18)
    assert times == pytest.approx([0.12, 0.18])
    assert integral(times, values) == pytest.approx(1.5 * 0.06)
