"""Pooled intervals hold the truth as often as they say, in simulated studies that go the way of a real one.

``make coverage`` measures many more studies of many more kinds; here are as many as tell a right method from a wrong one.
"""

from __future__ import annotations

import pytest

from benchmarks.coverage.measure import IGNORING_SITES, measure
from benchmarks.coverage.studies import SIZES, SPREADS, UNEQUAL, Cell

STUDIES = 240
# 0.95 less and more three standard errors of a share of 240
LEAST, MOST = 0.908, 0.992
CELLS = (
    Cell("few and alike", SIZES["3 x 5"], SPREADS["no"]),
    Cell("moderate", SIZES["5 x 12"], SPREADS["moderate"]),
    Cell("unequal", UNEQUAL, SPREADS["no"]),
    Cell("travelling", (2,) * 3, SPREADS["moderate"], travelling=4),
)


@pytest.mark.parametrize("cell", CELLS, ids=lambda cell: cell.name)
def test_the_mixed_model_holds_the_truth_as_often_as_it_says(cell: Cell) -> None:
    found = measure(cell, STUDIES)
    model = found["one_stage_mixed_model"]
    assert LEAST <= model.coverage <= MOST
    assert model.type_1 <= 0.05 + 3 * (0.05 * 0.95 / (STUDIES / 2)) ** 0.5
    assert model.without_answer == 0
    assert abs(model.bias) < 0.15
    assert found["random_effects_restricted_likelihood"].coverage >= LEAST  # never shrunk, so it may hold it more often
    if cell.site_sd > 0:
        assert found[IGNORING_SITES].coverage < LEAST, "what ignores sites must not pass this gate"


def test_a_loss_that_goes_with_the_value_is_not_covered_and_the_gate_sees_it() -> None:
    lossy = measure(Cell("lossy", SIZES["5 x 12"], SPREADS["small"], null_below=0.0), STUDIES)
    assert abs(lossy["one_stage_mixed_model"].bias) > 0.02
