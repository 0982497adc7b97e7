"""Checks of a site's equipment over its sessions: planted drift, steps, single odd sessions, and false alarms."""

from __future__ import annotations

import numpy as np
import pytest

from checks.site.drift import widened
from demo_site_uploads.simulator.faults_pool import drifting
from demo_site_uploads.simulator.pool import QUANTITIES
from pipelines.science.statistics.control_chart import BASELINE_SESSIONS, control_chart, lasting
from tests.checks.running_checks import Case, run, status
from tests.checks.site_cases import a_pool, clean, of_pool, with_fault

FORCE = "force_keeps_its_scale_over_sessions"
MARKERS = "markers_keep_their_scale_over_sessions"
CLOCK = "second_clock_keeps_its_rate_over_sessions"
QUANTITY = {FORCE: "force_scale_ratio", MARKERS: "marker_scale_ratio", CLOCK: "second_clock_drift_ppm"}
#: A drift that matters: 6 % of force, 6 % of length, 600 ppm of time over all sessions after the first ten.
DRIFT = {FORCE: 0.06, MARKERS: 0.06, CLOCK: 600.0}
PLANTED = {name: Case(with_fault(drifting, "mill", QUANTITY[name], DRIFT[name], 10), QUANTITY[name]) for name in DRIFT}
CLEAN = dict.fromkeys(PLANTED, clean)
#: Smallest deviation each check lets pass, whatever the limits.
TOLERANCE = {FORCE: 0.02, MARKERS: 0.02, CLOCK: 200.0}


def with_values(values: list[float]):
    """A context whose force scale at mill takes these values, session by session."""
    pool = a_pool()
    rows = pool["device_sessions"]
    own = rows[(rows["site"] == "mill") & (rows["quantity"] == "force_scale_ratio")].head(len(values))
    return of_pool({**pool, "device_sessions": own.assign(measured_value=values)})


QUIET = [1.000, 1.002, 0.999, 1.001, 1.000, 0.998, 1.001, 1.000, 0.999, 1.001]


@pytest.mark.parametrize("name", DRIFT)
@pytest.mark.parametrize("sign", [1, -1])
def test_drift_is_found_either_way_and_half_the_tolerance_is_not(name: str, sign: int) -> None:
    assert status(name, of_pool(drifting(a_pool(), "mill", QUANTITY[name], sign * DRIFT[name], 10))) == "found"
    small = sign * TOLERANCE[name] / 4
    assert status(name, of_pool(drifting(a_pool(), "mill", QUANTITY[name], small, 10))) == "pass"


def test_limits_are_mean_and_2_66_mean_moving_ranges_of_the_first_sessions() -> None:
    """1, 3, 2, 4 ...: the moving ranges of ten values alternate 2 and 1, mean 14 / 9; the later 90 changes nothing."""
    chart = control_chart(np.array([1, 3, 2, 4, 3, 5, 4, 6, 5, 7, 90.0]))
    assert chart is not None
    assert chart.centre == pytest.approx(4.0)
    assert chart.upper - chart.centre == pytest.approx(2.66 * 14 / 9)
    assert chart.centre - chart.lower == pytest.approx(2.66 * 14 / 9)
    assert chart.baseline == BASELINE_SESSIONS


@pytest.mark.parametrize(
    ("later", "found"),
    [
        ([1.019, 1.019], "pass"),  # just inside the tolerance of 2 %
        ([1.021, 1.021], "found"),  # just outside, twice
        ([1.10, 1.00, 1.10, 1.00], "pass"),  # odd sessions, but never two in a row
        ([1.10, 0.90], "pass"),  # beyond both limits: noise, no drift
        ([1.00, 0.97, 0.97, 1.00], "found"),  # mended since; still worth a note
    ],
)
def test_two_sessions_in_a_row_beyond_one_limit_make_a_note(later: list[float], found: str) -> None:
    assert status(FORCE, with_values(QUIET + later)) == found


def test_wide_noise_widens_the_limits() -> None:
    noisy = [1 + 10 * (v - 1) for v in QUIET]  # moving ranges of 2 %: limits of 5 %
    assert status(FORCE, with_values([*noisy, 1.03, 1.03])) == "pass"


def test_the_finding_names_the_session_in_which_it_was_sure() -> None:
    context = with_values([*QUIET, 1.0, 1.03, 1.04])
    (finding,) = run(FORCE, context).findings
    assert context.outcomes is not None
    assert context.outcomes["device_sessions"]["session_id"].iloc[12] in finding.seen
    assert "2 of 3 sessions" in finding.seen


@pytest.mark.parametrize("count", [0, 1, 9, 10, 11])
def test_a_site_with_too_few_sessions_is_not_judged(count: int) -> None:
    assert status(FORCE, with_values((QUIET + [1.1] * 2)[:count])) == "skipped"


def test_a_run_beyond_a_limit_ends_where_the_side_changes() -> None:
    assert lasting(np.array([0, 1, 0, 1, -1, 0])) is None
    assert lasting(np.array([0, 0, -1, -1, -1])) == 3
    assert lasting(np.array([])) is None


@pytest.mark.parametrize("name", DRIFT)
def test_of_a_thousand_steady_sites_hardly_any_gets_a_note(name: str) -> None:
    """Normal noise as in the invented pool, 40 sessions: at most 5 in 1000."""
    mean, spread = QUANTITIES[QUANTITY[name]]
    rng = np.random.default_rng(11)
    assert sum(noted(rng.normal(mean, spread, 40), TOLERANCE[name]) for _ in range(1000)) <= 5


def test_without_a_tolerance_the_limits_alone_would_note_some_steady_sites() -> None:
    """Limits from ten sessions are uncertain: why the tolerance is there, and how much of the rate is left without."""
    rng = np.random.default_rng(12)
    rate = sum(noted(rng.normal(0, 1, 40), 0.0) for _ in range(1000)) / 1000
    assert 0.0 < rate <= 0.05


def noted(values: np.ndarray, tolerance: float) -> bool:
    chart = control_chart(values)
    assert chart is not None
    low, high = widened(chart, tolerance)
    later = values[BASELINE_SESSIONS:]
    return lasting((later > high).astype(int) - (later < low).astype(int)) is not None
