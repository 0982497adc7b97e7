"""The planted fault and the clean case of every check, whose tests in ``test_every_check`` are then the same for all.

Taken are ``PLANTED`` and ``CLEAN`` of the test modules in this folder; where a check has none there, the plant by which
its detection is measured (``benchmarks/detection``) and the clean trial or delivery that it is planted in.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from functools import cache

import pytest

import tests.checks
from benchmarks.detection.plants import Plant, plants
from benchmarks.detection.plants_site import pooled
from benchmarks.detection.sending import clean as clean_delivery
from benchmarks.detection.specimens import specimen
from benchmarks.detection.way import shown_of
from checks.registry import Subject, catalogue
from checks.run import Context
from tests.checks.running_checks import Case

Cases = tuple[dict[str, Case], dict[str, Callable[[], Context]]]


@cache
def every_case() -> Cases:
    """Check name -> its planted fault; check name -> its clean case; as the test modules have them."""
    planted: dict[str, Case] = {}
    clean: dict[str, Callable[[], Context]] = {}
    for found in pkgutil.walk_packages(tests.checks.__path__, "tests.checks."):
        if found.name.rpartition(".")[2].startswith("test_"):
            module = importlib.import_module(found.name)
            planted |= getattr(module, "PLANTED", {})
            clean |= getattr(module, "CLEAN", {})
    return planted, clean


def planted(name: str) -> Case:
    """The planted fault of a check."""
    return every_case()[0].get(name) or Case(lambda: _planted(_plant_of(name)), exact=False)


def clean(name: str) -> Context:
    """The clean case of a check."""
    make = every_case()[1].get(name)
    return make() if make is not None else _unspoilt(_plant_of(name))


def _plant_of(name: str) -> Plant:
    """The first plant of a check; where there is none the test fails and says where it belongs."""
    own = next((plant for plant in plants().values() if plant.check_name == name), None)
    if own is None:
        folder = catalogue()[name].topic.partition(".")[0]
        pytest.fail(
            f"{name} has no planted fault, so nobody knows that it ever finds anything. Add a Plant to a module "
            f"plants_<topic>.py in benchmarks/detection/, or cases to PLANTED and CLEAN in tests/checks/{folder}/."
        )
    return own


def _planted(plant: Plant) -> Context:
    case = plant.case(0)
    chance = case.chance(plant.key)
    if plant.send is not None:
        return plant.send(case, plant.matters, chance).context()
    assert plant.plant is not None
    return shown_of(plant.plant(specimen(case), plant.matters, chance), plant.check_name)


def _unspoilt(plant: Plant) -> Context:
    case, about = plant.case(0), catalogue()[plant.check_name].about
    if about is Subject.DELIVERY:
        return clean_delivery(case).context()
    return pooled(case).context() if about is Subject.SITE else shown_of(specimen(case), plant.check_name)
