"""Axes, surface and direction from markers and plates, on the demo laboratories and a real runner."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product

import numpy as np
import pytest

from pipelines.lab.profile.axes import axes_of, axis_word
from pipelines.lab.profile.files import Recorded, seen_in
from tests.pipelines.lab.profile.labs import REAL, SITES, one_of_each, profile, recordings, turned

needs_real = pytest.mark.skipif(not REAL.is_dir(), reason=f"{REAL} is not on this machine")
TURNS = [
    np.eye(3)[list(order)] * np.array(signs)[:, None]
    for order in permutations(range(3))
    for signs in product((1, -1), repeat=3)
]
TURNS = [turn for turn in TURNS if np.linalg.det(turn) > 0]


def said(given: list[Recorded] | tuple[Recorded, ...]) -> dict[str, str | None]:
    return {name: seen.value for name, seen in axes_of(given).said.items()}


@pytest.mark.parametrize("site", SITES)
def test_axes_and_surface_of_every_demo_laboratory_are_right_and_sure(site: str) -> None:
    known = profile(site)
    found = axes_of(recordings(site)).said
    for name in ("forward", "up", "right"):
        assert (found[name].value, found[name].sureness) == (getattr(known.axes, name), "sure")
    assert found["surface"].value == known.surface
    assert found["runs_both_ways"].value == str(known.runs_both_ways).lower()


@needs_real
@pytest.mark.parametrize(
    ("file", "axes"), [("run.c3d", ("+x", "+y", "+z")), ("variants/run_zup_m.c3d", ("+x", "+z", "-y"))]
)
def test_axes_of_the_real_runner_are_right(file: str, axes: tuple[str, str, str]) -> None:
    seen = seen_in(REAL / file)
    assert seen is not None
    found = said([seen])
    assert tuple(found[name] for name in ("forward", "up", "right")) == axes
    assert found["surface"] == "runway"


@pytest.mark.parametrize("site", ["brack", "tarn"])
@pytest.mark.parametrize("turn", TURNS, ids=lambda t: "".join(axis_word(row) for row in t))
def test_axes_are_found_however_the_laboratory_turned_them(site: str, turn: np.ndarray) -> None:
    before, after = axes_of(one_of_each(site)), axes_of(turned(one_of_each(site), turn))
    assert before.forward is not None
    assert before.up is not None
    assert after.said["up"].value == axis_word(turn @ before.up)
    assert after.said["forward"].value == axis_word(turn @ before.forward)


def test_runners_from_both_ends_are_noticed_and_the_commoner_way_is_taken() -> None:
    moving = [r for r in recordings("corrie") if not r.standing]
    found = axes_of(moving).said
    assert found["runs_both_ways"].value == "true"
    one_way = [r for r in moving if said([r])["forward"] == "-y"]
    assert 0 < len(one_way) < len(moving)
    assert axes_of(one_way).said["runs_both_ways"].value == "false"


def test_one_running_file_is_not_enough_to_be_sure() -> None:
    found = axes_of(one_of_each("brack")).said
    assert found["forward"].sureness == "likely"
    assert found["right"].sureness == "likely"


def test_standing_alone_tells_what_is_up_and_nothing_of_running() -> None:
    found = axes_of([r for r in recordings("brack") if r.standing]).said
    assert found["up"].value == "+z"
    assert [found[name].value for name in ("forward", "right", "surface", "runs_both_ways")] == [None] * 4


def test_files_of_two_laboratories_that_do_not_agree_give_no_axis() -> None:
    other = turned(recordings("brack")[:6], np.array([[0, 0, 1.0], [1, 0, 0], [0, 1, 0]]))
    found = axes_of([*recordings("brack"), *other]).said
    assert found["up"].value is None
    assert "plates" in found["up"].why


def test_markers_that_stand_still_and_lie_in_a_heap_give_no_axis() -> None:
    draw = np.random.default_rng(4)
    heap = np.repeat(draw.normal(5, 0.1, (1, 8, 3)), 50, axis=0)
    one = replace(recordings("tarn")[0], labels=tuple("abcdefgh"), points=heap)
    assert axes_of([one]).said["up"].value is None
