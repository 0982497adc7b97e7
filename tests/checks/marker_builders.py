"""Runners for tests of markers: those of ``tests.builders`` with a pelvis, markers on the inner side, and some noise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from checks.context import Context
from schemas.trial import Posture, Trial
from tests.builders import a_standing_trial, a_trial
from tests.checks.running_checks import of_trial, with_marker

NOISE_M = 0.0002  # a good camera system
#: forward, up, right (for the right side) of each marker from the middle of the pelvis
PELVIS = {
    "greater_trochanter": (0.0, -0.1, 0.17),
    "anterior_superior_iliac_spine": (0.1, 0.0, 0.12),
    "posterior_superior_iliac_spine": (-0.1, 0.0, 0.05),
}
#: outer marker and how far to the inner side its counterpart lies
INNER = {
    "fifth_metatarsal_head": ("first_metatarsal_head", 0.07),
    "lateral_malleolus": ("medial_malleolus", 0.07),
    "lateral_femoral_epicondyle": ("medial_femoral_epicondyle", 0.08),
}


def a_runner(**changes: Any) -> Trial:
    """A running trial of a whole lower body, recorded with noise."""
    return _recorded(_whole(a_trial(**changes)))


def a_person(**changes: Any) -> Trial:
    """The same person standing, with the tables' stature and leg length."""
    tables = {"stature_m": 1.7, "leg_length_m": 0.88}
    return _recorded(_whole(a_standing_trial(**{**tables, **changes})))


def _whole(trial: Trial) -> Trial:
    markers = dict(trial.markers)
    middle = markers["sacrum"]
    for side, sign in (("left", -1), ("right", 1)):
        for role, (forward, up, right) in PELVIS.items():
            markers[f"{role}_{side}"] = middle + np.array([forward, up, sign * right])
        for outer, (inner, inwards) in INNER.items():
            markers[f"{inner}_{side}"] = markers[f"{outer}_{side}"] - np.array([0.0, 0.0, sign * inwards])
    markers["sacrum"] = middle + np.array([-0.11, 0.0, 0.0])
    filled = {role: np.zeros(len(path), bool) for role, path in markers.items()}
    return replace(trial, markers=markers, filled=filled)


def _recorded(trial: Trial) -> Trial:
    rng = np.random.default_rng(1)
    noisy = {role: path + rng.normal(0, NOISE_M, path.shape) for role, path in trial.markers.items()}
    return replace(trial, markers=noisy)


def stood(trial: Trial, **moved: tuple[float, float, float]) -> Context:
    """The trial in a context with the posture of ``a_person``; ``moved`` puts markers of the posture elsewhere, in m."""
    markers = {role: path.mean(axis=0) for role, path in a_person().markers.items()}
    markers |= {role: markers[role] + np.array(offset) for role, offset in moved.items()}
    return of_trial(trial, posture=Posture("T0", trial.condition, markers))


def labels_exchanged(trial: Trial, first: str, second: str) -> Trial:
    """The trial with two labels exchanged in every frame."""
    markers = {**trial.markers, first: trial.markers[second], second: trial.markers[first]}
    return replace(trial, markers=markers)


def all_markers(trial: Trial, change: Callable[[np.ndarray], np.ndarray]) -> Trial:
    """The trial with every path passed through ``change``."""
    return replace(trial, markers={role: change(path) for role, path in trial.markers.items()})


def moved(trial: Trial, role: str, offset: tuple[float, float, float]) -> Trial:
    """The trial with one marker moved by an offset in m."""
    return with_marker(trial, role, lambda path: path + np.array(offset))


def emptied(trial: Trial, role: str, frames: np.ndarray) -> Trial:
    """The trial with frames of one marker empty in the file and filled by intake, as ``to_trial`` fills them."""
    from pipelines.intake.gaps import fill_gaps

    path = trial.markers[role].copy()
    path[frames] = np.nan
    path, filled = fill_gaps(path, round(0.1 * trial.marker_rate_hz))
    return replace(trial, markers={**trial.markers, role: path}, filled={**trial.filled, role: filled})
