from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.events.from_force import Contact
from pipelines.science.gait import spatiotemporal as sp
from pipelines.science.gait.spatiotemporal import Footfall


def sequence(sides: str, gaps: tuple[int, ...] = ()) -> list[Footfall]:
    """Contacts of 0.25 s every 0.35 s; l, r or ? for each side; force missing before those in ``gaps``."""
    names = {"l": "left", "r": "right", "?": None}
    return [
        Footfall(Contact(0.35 * i, 0.35 * i + 0.25, 0, 0, after_gap=i in gaps), names[side])
        for i, side in enumerate(sides)
    ]


@pytest.mark.parametrize(
    ("sides", "gaps", "step", "stride"),
    [
        ("rlr", (), True, True),
        ("lrl", (), True, True),
        ("rl", (), True, False),
        ("r", (), False, False),
        ("rrl", (), False, False),
        ("rll", (), True, False),
        ("r?r", (), False, False),
        ("rl?r", (), True, False),
        ("rlr", (1,), False, False),
        ("rlr", (2,), True, False),
        ("?lr", (), False, False),
    ],
)
def test_a_step_goes_to_the_other_foot_and_a_stride_over_it(sides: str, gaps: tuple, step: bool, stride: bool) -> None:
    footfalls = sequence(sides, gaps)
    assert sp.step_time(footfalls, 0) == (pytest.approx(0.35) if step else None)
    assert sp.flight_time(footfalls, 0) == (pytest.approx(0.10) if step else None)
    assert sp.stride_time(footfalls, 0) == (pytest.approx(0.70) if stride else None)


def test_what_needs_a_step_is_null_without_one() -> None:
    assert sp.cadence(None) is None
    assert sp.belt_distance(3.0, None) is None
    assert sp.belt_distance(None, 0.35) is None
    assert sp.duty_factor(0.25, None, None) is None


def test_cadence_counts_both_feet() -> None:
    assert sp.cadence(0.3) == pytest.approx(200)


HEELS = {
    "right": np.stack([np.full(100, 1.0), np.zeros(100), np.full(100, 0.1)], axis=1),
    "left": np.stack([np.full(100, 2.1), np.zeros(100), np.full(100, -0.2)], axis=1),
}


def test_step_length_on_the_ground_is_measured_along_the_running_direction_only() -> None:
    assert sp.ground_distance(sequence("rl"), 0, 1, HEELS, 100) == pytest.approx(1.1)


def test_a_foot_is_where_its_heel_is_in_the_middle_of_its_contact() -> None:
    lifting = HEELS["left"].copy()
    lifting[:, 0] = 2.0 + np.arange(100) / 100  # 1 m/s; its contact is from 0.35 to 0.60 s
    assert sp.ground_distance(sequence("rl"), 0, 1, HEELS | {"left": lifting}, 100) == pytest.approx(1.475)


def test_step_length_on_the_ground_is_null_without_the_other_step_a_marker_or_forward_movement() -> None:
    assert sp.ground_distance(sequence("rl"), 0, None, HEELS, 100) is None
    assert sp.ground_distance(sequence("rl"), 0, 1, {"right": HEELS["right"]}, 100) is None
    assert sp.ground_distance(sequence("rl"), 0, 1, HEELS | {"left": HEELS["left"] * np.nan}, 100) is None
    assert sp.ground_distance(sequence("lr"), 0, 1, HEELS, 100) is None


def moving(speed: float, frames: int = 100, offset: float = 0.0) -> np.ndarray:
    return np.stack([offset + speed * np.arange(frames) / 100, np.ones(frames), np.zeros(frames)], axis=1)


def test_runway_speed_is_that_of_whichever_trunk_markers_are_there() -> None:
    markers = {"sacrum": moving(3.0), "spine_left": moving(3.2, offset=1.0), "calcaneus_left": moving(9.0)}
    assert sp.runway_speed(markers, ("sacrum", "spine"), 100) == pytest.approx(3.1)
    assert sp.runway_speed(markers, ("spine",), 100) == pytest.approx(3.2)


def test_a_trunk_marker_that_comes_and_goes_does_not_change_the_speed() -> None:
    hidden = moving(3.0, offset=-0.4)
    hidden[:40] = np.nan
    assert sp.runway_speed({"sacrum": moving(3.0), "clavicle": hidden}, ("sacrum", "clavicle"), 100) == pytest.approx(3)


def test_runway_speed_is_null_without_trunk_markers_when_they_are_hidden_or_when_the_runner_goes_backward() -> None:
    mostly_hidden = moving(3.0)
    mostly_hidden[:60] = np.nan
    assert sp.runway_speed({"calcaneus_left": moving(3.0)}, ("sacrum",), 100) is None
    assert sp.runway_speed({"sacrum": mostly_hidden}, ("sacrum",), 100) is None
    assert sp.runway_speed({"sacrum": moving(-3.0)}, ("sacrum",), 100) is None
    assert sp.runway_speed({"sacrum": moving(3.0, frames=1)}, ("sacrum",), 100) is None
    assert sp.runway_speed({}, ("sacrum",), 100) is None
