"""Labels to roles: right with labels, honestly less sure without, and never sure of what is wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from pipelines.lab.profile.axes import axes_of
from pipelines.lab.profile.files import Recorded
from pipelines.lab.profile.roles import Guesses, guess_roles, shares
from tests.pipelines.lab.profile.labs import (
    REAL,
    REAL_COMPUTED,
    REAL_ROLES,
    SITES,
    one_of_each,
    profile,
    recordings,
    study,
    without_meaning,
)

ROLES, REQUIRED = study().roles_with_side(), study().roles_with_side(required_only=True)
needs_real = pytest.mark.skipif(not REAL.is_dir(), reason=f"{REAL} is not on this machine")


def guesses(given: Sequence[Recorded]) -> Guesses:
    return guess_roles(given, axes_of(given), ROLES, REQUIRED)


def given_wrong(found: Guesses, truth: Mapping[str, str]) -> list[tuple[str, str | None]]:
    """Guesses that would stand in the profile as values and are wrong."""
    return [(g.role, g.label) for g in found.roles if g.sureness != "not sure" and truth.get(g.role) != g.label]


@pytest.mark.parametrize("site", SITES)
def test_with_labels_every_role_of_a_demo_laboratory_is_given_and_right(site: str) -> None:
    found = guesses(recordings(site))
    assert shares(found, profile(site).markers) == (1.0, 1.0)
    assert given_wrong(found, profile(site).markers) == []
    assert found.notes == ()


@pytest.mark.parametrize(("site", "given"), [("brack", 1.0), ("corrie", 0.8), ("tarn", 1.0)])
def test_without_a_word_in_the_labels_geometry_alone_finds_the_roles_of_the_demo(site: str, given: float) -> None:
    shuffled, new = without_meaning(recordings(site))
    truth = {role: new[label] for role, label in profile(site).markers.items()}
    found = guesses(shuffled)
    right, sure_and_right = shares(found, truth)
    assert right == 1.0
    assert sure_and_right >= given
    assert given_wrong(found, truth) == []


@needs_real
def test_with_labels_the_roles_of_the_real_runner_are_right_among_58_markers() -> None:
    found = guesses(recordings("real"))
    right, given = shares(found, REAL_ROLES)
    assert right == 1.0
    assert given >= 0.9
    assert given_wrong(found, REAL_ROLES | REAL_COMPUTED) == []


@needs_real
def test_without_labels_the_real_runner_is_guessed_right_but_seldom_surely() -> None:
    """58 markers, among them clusters and computed points a finger's breadth from landmarks: geometry alone is right
    and knows that it cannot be sure of most."""
    shuffled, new = without_meaning(recordings("real"))
    found = guesses(shuffled)
    right, given = shares(found, {role: new[label] for role, label in REAL_ROLES.items()})
    assert right >= 0.9
    assert 0.3 <= given < 0.9
    assert given_wrong(found, {role: new[label] for role, label in (REAL_ROLES | REAL_COMPUTED).items()}) == []


@pytest.mark.parametrize("site", SITES)
def test_exchanged_sides_are_warned_of_and_never_given_as_they_lie(site: str) -> None:
    truth = profile(site).markers
    exchange = {"left": "right", "right": "left"}
    other = {
        label: truth[f"{base}_{exchange[side]}"]
        for role, label in truth.items()
        for base, _, side in [role.rpartition("_")]
        if side in exchange
    }
    given = [replace(r, labels=tuple(other.get(label, label) for label in r.labels)) for r in one_of_each(site)]
    found = guesses(given)
    assert any("other side than their labels say" in note for note in found.notes)
    assert [g.role for g in found.roles if g.sureness != "not sure" and g.role != "sacrum"] == []


@pytest.mark.parametrize("site", SITES)
def test_without_a_standing_trial_labels_alone_are_never_sure(site: str) -> None:
    found = guesses([r for r in recordings(site) if not r.standing])
    assert {g.sureness for g in found.roles} <= {"likely", "not sure"}
    assert given_wrong(found, profile(site).markers) == []
    assert any("No standing trial" in note for note in found.notes)


def test_a_person_who_stood_the_other_way_round_is_noticed() -> None:
    standing, running = one_of_each("brack")
    turned = replace(standing, points=standing.points @ np.diag([-1.0, -1.0, 1.0]))
    found = guesses([turned, running])
    assert shares(found, profile("brack").markers)[0] == 1.0
    assert any("faced backward" in note for note in found.notes)


@pytest.mark.parametrize("site", SITES)
def test_markers_put_on_carelessly_lose_sureness_before_they_mislead(site: str) -> None:
    shuffled, new = without_meaning(one_of_each(site))
    truth = {role: new[label] for role, label in profile(site).markers.items()}
    draw = np.random.default_rng(2)
    careless = [
        replace(r, points=r.points + draw.normal(0, 0.015, (1, r.points.shape[1], 3))) if r.standing else r
        for r in shuffled
    ]
    assert given_wrong(guesses(careless), truth) == []


def test_markers_that_are_none_of_the_roles_are_left_alone() -> None:
    """Five points far above and beside the body."""
    standing, running = one_of_each("brack")
    draw = np.random.default_rng(3)

    def with_others(r: Recorded) -> Recorded:
        others = np.repeat(draw.uniform([-0.3, -0.6, 1.3], [0.3, 0.6, 1.7], (1, 5, 3)), len(r.points), axis=0)
        return replace(r, labels=(*r.labels, *(f"arm{i}" for i in range(5))), points=np.hstack([r.points, others]))

    found = guesses([with_others(standing), with_others(running)])
    assert given_wrong(found, profile("brack").markers) == []
    assert shares(found, profile("brack").markers)[0] == 1.0


def test_a_landmark_worn_only_while_standing_is_found_and_left_to_a_cluster() -> None:
    """Its label stays the right one; but a person must say what carries it, so it is never given as it is."""
    standing, running = one_of_each("brack")
    known = profile("brack").markers
    late = {role: label for role, label in known.items() if "malleolus" in role or "trochanter" in role}
    keep = [i for i, label in enumerate(running.labels) if label not in late.values()]
    bare = replace(running, labels=tuple(running.labels[i] for i in keep), points=running.points[:, keep])
    found = guesses([standing, bare])
    assert {g.role: g.label for g in found.roles if g.only_standing} == late
    assert {g.sureness for g in found.roles if g.only_standing} == {"not sure"}
    assert all("a cluster must carry it" in g.why for g in found.roles if g.only_standing)
    assert given_wrong(found, known) == []
    assert shares(found, known)[0] == 1.0
    (note,) = found.notes
    assert all(role in note for role in late)
    assert not any(g.only_standing for g in guesses([standing, running]).roles)


def test_no_label_in_most_files_is_said() -> None:
    standing, running = one_of_each("brack")
    strange = replace(standing, labels=tuple(f"s{i}" for i in range(len(standing.labels))))
    assert {g.label for g in guesses([strange, running]).roles} == {None}
