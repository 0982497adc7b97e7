"""Trials for the tests of force: with an amplifier's noise, and with force or its place changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from schemas.trial import UP, Plate, Trial
from tests.builders import a_trial
from tests.checks.running_checks import lifted, with_plates

RUNWAY = {"surface": "runway", "footfalls": 2}


def noisy(trial: Trial | None = None, newtons: float = 1.0) -> Trial:
    """The trial (default: on a runway) with white noise on every plate's force, and in its channels."""
    rng = np.random.default_rng(4)

    def through(plate: Plate) -> Plate:
        force = plate.force + rng.normal(0, newtons, plate.force.shape)
        return replace(plate, force=force, raw=np.hstack([force, plate.moment]))

    return with_plates(trial or a_trial(**RUNWAY), through)


def on_plate(trial: Trial, number: int, change: Callable[[Plate], Plate]) -> Trial:
    """The trial with one plate changed."""
    return with_plates(trial, lambda plate: change(plate) if plate.number == number else plate)


def with_components(change: Callable[[np.ndarray], np.ndarray]) -> Callable[[Plate], Plate]:
    """A change of a plate's force (n, 3) that leaves its centre of pressure where it is."""
    return lambda plate: replace(plate, force=change(plate.force.copy()))


def pushed_to(plate: Plate, forward_m: float = 0.0, right_m: float = 0.0) -> Plate:
    """The plate with the same force, acting somewhere else."""
    return replace(plate, moment=plate.moment + np.cross([forward_m, 0.0, right_m], plate.force))


def first_load(plate: Plate) -> tuple[int, int]:
    """First and last sample of the plate's first contact."""
    loaded = np.flatnonzero(plate.force[:, UP] > 50.0)
    gaps = np.flatnonzero(np.diff(loaded) > 1)
    return int(loaded[0]), int(loaded[gaps[0]] if len(gaps) else loaded[-1])


def humming(newtons: float, hertz: float = 50.0) -> Trial:
    """A noisy trial whose second plate hums, root mean square ``newtons``."""

    def hum(plate: Plate) -> Plate:
        return lifted(plate, newtons * np.sqrt(2) * np.sin(2 * np.pi * hertz * np.arange(len(plate.force)) / 1000))

    return on_plate(noisy(), 2, hum)
