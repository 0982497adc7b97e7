"""Displaced and overwritten samples, and what must not be taken for them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import Trial
from tests.checks.marker_builders import a_person, a_runner
from tests.checks.running_checks import of_trial, run, status

DAMAGE = "samples_stand_in_their_places"


def displaced(trial: Trial, words: int, since: float = 0.0) -> Trial:
    """As a reader sees points of four words that stand so many words late, from a share of the frames on."""
    roles = list(trial.markers)
    points = np.stack([trial.markers[role] for role in roles], axis=1)
    words_of = np.concatenate([points, np.zeros((*points.shape[:2], 1))], axis=2)
    late = np.roll(words_of.reshape(-1), words).reshape(words_of.shape)[:, :, :3]
    first = int(since * len(points))
    late[:first] = points[:first]
    return replace(trial, markers={role: late[:, i] for i, role in enumerate(roles)})


def garbage(trial: Trial, seed: int = 0) -> Trial:
    """Positions made of any four bytes."""
    rng = np.random.default_rng(seed)

    def any_floats(path: np.ndarray) -> np.ndarray:
        return np.frombuffer(rng.bytes(path.size * 4), "<f4").astype(float).reshape(path.shape)

    return replace(trial, markers={role: any_floats(path) for role, path in trial.markers.items()})


@pytest.mark.parametrize("words", [1, 2, 3])
@pytest.mark.parametrize("make", [a_runner, a_person])
def test_positions_a_word_beside_their_places_are_none(make, words: int) -> None:
    (finding,) = run(DAMAGE, of_trial(displaced(make(), words))).findings
    assert "one plane" in finding.seen
    assert "Change no label, axis or unit" in finding.remedy


def test_damage_from_a_place_on_is_told_from_there() -> None:
    trial = a_runner(footfalls=8)
    (finding,) = run(DAMAGE, of_trial(displaced(trial, 1, since=0.7))).findings
    frames = len(next(iter(trial.markers.values())))
    said = int(finding.seen.split()[3])
    assert abs(said - 0.7 * frames) <= 0.11 * frames


@pytest.mark.parametrize("make", [a_runner, a_person])
def test_any_bytes_are_no_positions(make) -> None:
    assert status(DAMAGE, of_trial(garbage(make()))) == "found"


@pytest.mark.parametrize("factor", [0.001, 0.1, 1.0, 25.4, 1000.0])
@pytest.mark.parametrize("order", [(0, 1, 2), (1, 2, 0), (2, 0, 1)])
def test_a_wrong_unit_or_axis_is_no_damage(factor: float, order: tuple[int, int, int]) -> None:
    """They have checks of their own, whose remedy is another."""
    trial = a_runner()
    wrong = {role: factor * path[:, list(order)] for role, path in trial.markers.items()}
    assert status(DAMAGE, of_trial(replace(trial, markers=wrong))) == "pass"


def test_a_wrong_unit_that_leaves_a_few_steps_of_numbers_is_no_damage() -> None:
    """Metres called millimetres, in tenths of these."""
    trial = a_runner()
    markers = {role: np.round(path / 1000, 4) for role, path in trial.markers.items()}
    assert status(DAMAGE, of_trial(replace(trial, markers=markers))) == "pass"


def test_noise_gaps_and_one_bad_marker_are_no_damage() -> None:
    trial, rng = a_runner(), np.random.default_rng(2)
    markers = {role: path + rng.normal(0, 0.003, path.shape) for role, path in trial.markers.items()}
    first = next(iter(markers))
    markers[first] = rng.normal(0, 5.0, markers[first].shape)
    for path in markers.values():
        path[30:60] = np.nan
    assert status(DAMAGE, of_trial(replace(trial, markers=markers))) == "pass"
