"""The register of plants: for every check the fault it is there for, in sizes, and the size that matters.

The plants themselves are in the modules ``plants_<topic>``; a module is found by its name.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from benchmarks.detection.specimens import SITES, Case, Specimen
from checks.findings import Report
from checks.run import Context


class Shown(Protocol):
    """What a plant other than that of a trial makes: something that can be shown to a check."""

    def report(self, check_name: str) -> Report:
        """What the check says of it."""
        ...

    def context(self) -> Context:
        """What the check is shown."""
        ...


#: specimen, size, random numbers -> the specimen with the fault (or, of a delivery, what is to be shown).
Planting = Callable[[Specimen, float, np.random.Generator], Specimen]
Sending = Callable[[Case, float, np.random.Generator], Shown]
PRESENT = (1.0,)


@dataclass(frozen=True)
class Plant:
    """One fault for one check.

    what: the fault, with {size} where its size stands. matters: the size from which it spoils an outcome; why: how one
    knows. plant: makes it in a trial; send: makes a whole delivery, or anything else that a check is shown, with it.
    sizes PRESENT: the fault is there or not. real: it can be planted in the real run too.
    """

    check_name: str
    what: str
    unit: str
    sizes: tuple[float, ...]
    matters: float
    why: str
    plant: Planting | None = None
    send: Sending | None = None
    sites: tuple[str, ...] = SITES
    kind: str = "running"
    muscles: bool = False
    second: bool = False
    real: bool = False
    share_of_trials: float = 1.0  # of the number of trials asked for; less for slow ones

    def __post_init__(self) -> None:
        if (self.plant is None) == (self.send is None):
            raise ValueError(f"{self.check_name}: give plant or send")
        if self.matters not in self.sizes:
            raise ValueError(f"{self.check_name}: the size that matters is not among the sizes")

    @property
    def key(self) -> str:
        """Unique among the plants."""
        return f"{self.check_name}: {self.what}"

    def case(self, number: int) -> Case:
        """The clean trial number ``number`` in which it is planted; the sites take turns."""
        site = self.sites[number % len(self.sites)]
        return Case(number, site, self.kind, self.muscles, self.second)


def plants() -> dict[str, Plant]:
    """All plants by key, in the order of the modules' names."""
    import benchmarks.detection as package

    found: dict[str, Plant] = {}
    for module in pkgutil.iter_modules(package.__path__):
        if module.name.startswith("plants_"):
            own: Any = importlib.import_module(f"benchmarks.detection.{module.name}")
            for plant in own.PLANTS:
                if plant.key in found:
                    raise ValueError(f"two plants are the same: {plant.key}")
                found[plant.key] = plant
    return found
