"""Faults of a whole laboratory, planted in an invented pool of runners: what ``faults_pool`` makes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from benchmarks.detection.plants import PRESENT, Plant, Sending
from benchmarks.detection.specimens import STUDY, Case
from benchmarks.detection.way import STAMP
from checks.context import Context
from checks.findings import Report
from checks.registry import Subject, catalogue
from checks.run import run_checks, run_one
from demo_site_uploads.simulator import faults_pool as faults
from demo_site_uploads.simulator.pool import OUTCOMES, a_pool

RUNNERS = 12
Pool = Mapping[str, pd.DataFrame]


@dataclass(frozen=True)
class Pooled:
    """One laboratory among the others, as its checks see it."""

    pool: Pool
    site: str

    def context(self) -> Context:
        """What they are shown."""
        return Context(STUDY, f"site.{self.site}", self.site, outcomes=dict(self.pool))

    def report(self, check_name: str) -> Report:
        """What one check says of it."""
        return run_one(catalogue()[check_name], self.context(), STAMP)

    def everything(self) -> Report:
        """What all checks of whole sites say of it."""
        return run_checks(Subject.SITE, self.context(), STAMP)


def pooled(case: Case) -> Pooled:
    """The pool of a case, without a fault; the laboratory without plates has no force."""
    return Pooled(a_pool(case.number, RUNNERS, without_force=("tarn",)), case.site)


def _pool(fault: Callable[[Pool, str, float, np.random.Generator], Pool]) -> Sending:
    def send(case: Case, size: float, chance: np.random.Generator) -> Pooled:
        return Pooled(fault(pooled(case).pool, case.site, size, chance), case.site)

    return send


def _outcome(chance: np.random.Generator) -> str:
    return str(chance.choice(["contact_time_s", "cadence_step_per_min", "step_length_m", "foot_strike_angle_deg"]))


def _shifted(pool: Pool, site: str, size: float, chance: np.random.Generator) -> Pool:
    column = _outcome(chance)
    return faults.shifted(pool, site, column, size * OUTCOMES[column][1] * float(chance.choice([-1, 1])))


def _spread(pool: Pool, site: str, size: float, chance: np.random.Generator) -> Pool:
    return faults.alike(pool, "runner_means", site, _outcome(chance), size)


def _missing(pool: Pool, site: str, size: float, chance: np.random.Generator) -> Pool:
    return faults.left_out(pool, "runner_means", site, "foot_strike_angle_deg", size / 100)


def _drifting(quantity: str) -> Sending:
    return _pool(
        lambda pool, site, size, chance: faults.drifting(pool, site, quantity, size * float(chance.choice([-1, 1])), 12)
    )


def _plant(
    check_name: str, what: str, unit: str, sizes: tuple[float, ...], matters: float, why: str, send: Sending,
    sites: tuple[str, ...] = ("brack", "corrie", "tarn"),
) -> Plant:  # fmt: skip
    return Plant(check_name, what, unit, sizes, matters, why, send=send, sites=sites, share_of_trials=0.5)


PLANTS = (
    _plant(
        "outcomes_centre_among_the_other_sites", "one outcome of a laboratory is off by {size} spreads between runners",
        "1", (1.0, 2.0, 3.0, 4.0, 5.0), 4.0, "an angle without its standing trial is off by four spreads, a speed in "
        "another unit by more; with twelve runners smaller shifts may be chance", _pool(_shifted),
    ),
    _plant(
        "values_spread_as_at_the_other_sites", "a laboratory's values lie {size} times as far from their mean", "1",
        (0.5, 0.25, 0.1, 0.0), 0.1, "values that are all alike are copied or made up", _pool(_spread),
    ),
    _plant(
        "values_are_missing_no_more_often_than_elsewhere", "the foot strike angle is missing in {size} of a laboratory's runners",
        "%", (10.0, 25.0, 50.0, 75.0), 75.0, "what is missing is not missing by chance", _pool(_missing),
    ),
    _plant(
        "force_keeps_its_scale_over_sessions", "force drifts by {size} of itself from the twelfth session on", "1",
        (0.01, 0.02, 0.04, 0.06), 0.04, "it is what active peaks differ by between shoes", _drifting("force_scale_ratio"),
        ("brack", "corrie"),
    ),
    _plant(
        "markers_keep_their_scale_over_sessions", "lengths drift by {size} of themselves from the twelfth session on", "1",
        (0.01, 0.02, 0.04, 0.06), 0.04, "it is what step lengths differ by between shoes", _drifting("marker_scale_ratio"),
    ),
    _plant(
        "second_clock_keeps_its_rate_over_sessions", "the second clock drifts by {size} millionths more over the sessions",
        "1", (100.0, 200.0, 400.0, 800.0), 400.0, "two quartz clocks differ by 200 at most",
        _drifting("second_clock_drift_ppm"),
    ),
    _plant(
        "last_digits_show_no_preference", "masses are written to {size}", "kg", (0.5, 1.0), 1.0,
        "force per body weight is up to 1 % off", _pool(lambda pool, site, size, chance: faults.rounded(pool, site, "mass_kg", size)),
    ),
    _plant(
        "masses_are_weighed_anew_at_each_visit", "the first visit's mass stands at all visits", "", PRESENT, 1.0,
        "force outcomes of later visits are off by a per cent", _pool(lambda pool, site, size, chance: faults.copied_masses(pool, site)),
    ),
)  # fmt: skip
