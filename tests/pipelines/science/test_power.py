"""Power of the next study: by statsmodels for one site, by simulated studies for several, and what is never so."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.power import TTestPower

from benchmarks.coverage.measure import measure
from benchmarks.coverage.studies import EFFECT, Cell
from pipelines.science.statistics.power import Components, power, runners_needed
from tests.tries import tries

ALIKE = Components(between_sites=0.0, of_runner=1.0)


@pytest.mark.parametrize("runners", [3, 12, 40])
@pytest.mark.parametrize("effect", [-0.3, 0.8])
def test_at_one_site_power_is_that_of_the_paired_t_test(runners: int, effect: float) -> None:
    assert power(effect, ALIKE, 1, runners) == pytest.approx(TTestPower().power(effect, runners, 0.05), abs=1e-6)


@pytest.mark.parametrize(("sites", "runners", "between"), [(3, 5, 0.7), (5, 12, 0.35), (3, 10, 0.0)])
def test_at_several_sites_the_mixed_model_finds_as_much_in_simulated_studies(
    sites: int, runners: int, between: float
) -> None:
    cell = Cell(f"{sites} x {runners}, {between}", (runners,) * sites, between)
    found = measure(cell, 400)["one_stage_mixed_model"].power
    expected = power(EFFECT, Components(between, 1.0), sites, runners)
    assert found == pytest.approx(expected, abs=3 * (0.25 / 200) ** 0.5)


def test_where_sites_differ_no_number_of_runners_stands_for_more_sites() -> None:
    differing = Components(between_sites=0.7, of_runner=1.0)
    assert runners_needed(0.8, differing, 3, 0.8) is None
    needed = runners_needed(0.8, differing, 12, 0.8)
    assert needed is not None
    assert power(0.8, differing, 12, needed) >= 0.8 > power(0.8, differing, 12, needed - 1)


def test_what_does_not_vary_or_has_no_degrees_of_freedom_is_refused() -> None:
    for components, sites, runners in ((ALIKE, 1, 1), (Components(0.0, 0.0), 3, 5)):
        with pytest.raises(ValueError, match="power needs"):
            power(0.5, components, sites, runners)


@tries(30)
@given(st.floats(0.05, 3), st.floats(0, 2), st.integers(2, 12), st.integers(2, 60), st.sampled_from([1e-3, 1.0, 1e3]))
def test_power_grows_with_sites_runners_and_the_difference_and_knows_no_unit(
    effect: float, between: float, sites: int, runners: int, unit: float
) -> None:
    parts = Components(between, 1.0)
    own = power(effect, parts, sites, runners)
    assert 0 <= own <= 1
    assert power(effect, parts, sites + 1, runners) >= own - 1e-9
    # surer of how much runners vary, an interval whose error is theirs can only say more seldom that there is something
    assert power(effect, parts, sites, runners + 1) >= own - 1e-9 or own < 0.1
    assert power(1.5 * effect, parts, sites, runners) >= own - 1e-9
    assert power(effect * unit, Components(between * unit, unit), sites, runners) == pytest.approx(own, abs=1e-9)
    assert power(-effect, parts, sites, runners) == own
