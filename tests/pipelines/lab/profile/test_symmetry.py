"""A standing person may face any way; real ones from ../shared, and bodies whose plane is known."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.lab.profile.axes import axes_of
from pipelines.lab.profile.files import Recorded, recordings_in
from pipelines.lab.profile.roles import guess_roles
from pipelines.lab.profile.symmetry import plane_of_the_body
from schemas.trial import FloatArray
from tests.tries import tries

SHARED = Path(__file__).resolve().parents[5] / "shared"
ROLES = tuple(
    f"{role}_{side}"
    for role in ("calcaneus", "second_metatarsal_head", "fifth_metatarsal_head", "anterior_superior_iliac_spine")
    for side in ("left", "right")
)


#: With the inner ray of the foot, which lies beside the second.
FEET = (*ROLES, "first_metatarsal_head_left", "first_metatarsal_head_right")


def turned(points: FloatArray, up: FloatArray, degrees: float) -> FloatArray:
    """Points turned about the vertical (Rodrigues)."""
    angle, along = np.radians(degrees), (points @ up)[..., None] * up
    return np.asarray(points * np.cos(angle) + np.cross(up, points) * np.sin(angle) + along * (1 - np.cos(angle)))


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> list[Recorded]:
    """The real runner of ../shared/real_run, running and standing."""
    folder = tmp_path_factory.mktemp("run")
    for name in ("run.c3d", "static.c3d"):
        shutil.copy(SHARED / "real_run" / name, folder / name)
    return recordings_in(folder)[0]


@pytest.mark.skipif(not SHARED.is_dir(), reason=f"{SHARED} is not on this machine")
@pytest.mark.parametrize("degrees", [40.0, 130.0, 250.0])
def test_a_real_person_who_stands_askew_is_labelled_as_before(recorded: list[Recorded], degrees: float) -> None:
    axes = axes_of(recorded)
    assert axes.up is not None
    straight = {guess.role: guess.label for guess in guess_roles(recorded, axes, ROLES, ROLES).roles}
    assert straight["calcaneus_left"] == "LCAL"
    askew = [replace(one, points=turned(one.points, axes.up, degrees)) if one.standing else one for one in recorded]
    guesses = guess_roles(askew, axes, ROLES, ROLES)
    assert {guess.role: guess.label for guess in guesses.roles} == straight
    told = abs((degrees + 180) % 360 - 180)
    assert any(f"{told + off:.0f} degrees to the" in note for note in guesses.notes for off in range(-4, 5))
    assert not any("other side" in note for note in guesses.notes)


@tries(25)
@given(st.integers(0, 10**6), st.floats(-89, 89))
def test_the_plane_of_a_body_made_alike_on_both_sides_is_found_at_any_angle(seed: int, degrees: float) -> None:
    draw = np.random.default_rng(seed)
    half = draw.uniform((-0.15, 0.0, 0.06), (0.15, 1.4, 0.25), (9, 3))
    body = np.vstack([half, half * (1, 1, -1), draw.uniform((-0.1, 0.9, 0.0), (0.1, 1.4, 0.0), (3, 3))])
    body = body + draw.normal(0, 0.004, body.shape)
    points = turned(body, np.array([0.0, 1.0, 0.0]), degrees)[None]
    found = plane_of_the_body(points, np.eye(3))
    assert found is not None
    assert abs((found + degrees + 90) % 180 - 90) < 4  # turned to the left is a negative angle to the right


def test_markers_without_a_plane_and_few_of_them_say_nothing() -> None:
    circle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    round_about = np.stack([0.2 * np.cos(circle), np.ones(24), 0.2 * np.sin(circle)], axis=1)[None]
    assert plane_of_the_body(round_about, np.eye(3)) is None
    assert plane_of_the_body(round_about[:, :5], np.eye(3)) is None


@pytest.fixture(scope="module")
def belt(tmp_path_factory: pytest.TempPathFactory) -> list[Recorded]:
    """The real runner of ../shared/real_treadmill, running and standing."""
    folder = tmp_path_factory.mktemp("belt")
    for name in ("r02_run25.c3d", "r02_standing.c3d"):
        shutil.copy(SHARED / "real_treadmill" / name, folder / name)
    return recordings_in(folder)[0]


@pytest.mark.skipif(not SHARED.is_dir(), reason=f"{SHARED} is not on this machine")
@pytest.mark.parametrize("degrees", [15.0, 75.0, 195.0, 345.0])
@pytest.mark.parametrize("with_words", [True, False])
def test_a_person_a_little_off_the_axis_misleads_no_role(
    belt: list[Recorded], degrees: float, with_words: bool
) -> None:
    """At 15 degrees a plate of the heel and the iliac crest were taken for landmarks, as likely."""
    axes = axes_of(belt)
    assert axes.up is not None
    truth = {g.role: g.label for g in guess_roles(belt, axes, FEET, FEET).roles if g.sureness != "not sure"}
    assert truth["fifth_metatarsal_head_left"] == "L.MT5"
    own = {
        label: label if with_words else f"Q{i:02d}"
        for i, label in enumerate(sorted({v for r in belt for v in r.labels}))
    }
    askew = [replace(r, labels=tuple(own[v] for v in r.labels)) for r in belt]
    askew = [replace(r, points=turned(r.points, axes.up, degrees)) if r.standing else r for r in askew]
    given = {g.role: g.label for g in guess_roles(askew, axes, FEET, FEET).roles if g.sureness != "not sure"}
    assert given
    assert given.items() <= {role: own[str(label)] for role, label in truth.items()}.items()


@pytest.mark.skipif(not SHARED.is_dir(), reason=f"{SHARED} is not on this machine")
def test_who_runs_along_no_axis_is_told_and_no_axis_is_given_as_forward(belt: list[Recorded]) -> None:
    up = axes_of(belt).up
    assert up is not None
    for degrees, told in ((10.0, True), (45.0, False), (75.0, True), (150.0, False)):
        said = axes_of([replace(r, points=turned(r.points, up, degrees)) for r in belt]).said["forward"]
        assert (said.sureness != "not sure") is told, degrees
        assert ("no axis is forward" in said.why) is not told
