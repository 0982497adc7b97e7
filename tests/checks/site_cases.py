"""Whole-site contexts for tests: an invented pool of three sites, its faults, and how often checks see something."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from checks.context import Context
from checks.registry import Subject, catalogue
from demo_site_uploads.simulator import pool as simulated
from tests.builders import a_study

LABS = ("fell", "mill", "way")
Pool = dict[str, pd.DataFrame]
SITE_CHECKS = [name for name, spec in catalogue().items() if spec.about is Subject.SITE]


def a_pool(seed: int = 3, runners: int = 16, **more: object) -> Pool:
    """Three sites, two visits, two conditions, no fault."""
    return simulated.a_pool(seed, runners, LABS, ("first", "last"), ("shod", "unshod"), **more)  # type: ignore[arg-type]


def of_pool(pool: Pool, site: str = "mill") -> Context:
    return Context(a_study(), f"site.{site}", site, outcomes=pool)


def clean() -> Context:
    return of_pool(a_pool())


def with_fault(fault: Callable[..., Pool], *arguments: object) -> Callable[[], Context]:
    """A context at mill with the fault; a fault takes the pool first."""
    return lambda: of_pool(fault(a_pool(), *arguments))
