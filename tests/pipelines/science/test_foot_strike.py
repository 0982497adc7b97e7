from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.gait import foot_strike as fs
from tests.tries import tries

HEEL, TOE = np.array([0.0, 0.04, 0.1]), np.array([0.2, 0.04, 0.1])


def pitched(angle_deg: float, turned_deg: float = 0.0) -> np.ndarray:
    """A toe marker 0.2 m from HEEL, up by ``angle_deg``, the foot turned out by ``turned_deg``."""
    a, b = np.radians([angle_deg, turned_deg])
    return HEEL + 0.2 * np.array([np.cos(a) * np.cos(b), np.sin(a), np.cos(a) * np.sin(b)])


@given(st.floats(-60, 60), st.floats(-45, 45), st.floats(-20, 20))
def test_the_strike_angle_is_the_lift_of_the_toes_over_standing_however_the_foot_is_turned(
    angle: float, turned: float, standing: float
) -> None:
    found = fs.foot_strike_angle(HEEL, pitched(angle, turned), HEEL, pitched(standing))
    assert found == pytest.approx(angle - standing, abs=1e-6)


def test_a_missing_marker_gives_no_angle_and_no_class() -> None:
    hidden = np.full(3, np.nan)
    assert np.isnan(fs.foot_strike_angle(HEEL, hidden, HEEL, TOE))
    assert fs.class_by_angle(None, 1.0) is None
    assert np.isnan(fs.strike_index(np.array([0.1, 0, 0.1]), HEEL, hidden))
    assert np.isnan(fs.strike_index(hidden, HEEL, TOE))


@given(st.floats(-20, 120), st.floats(-45, 45), st.floats(-0.05, 0.05))
def test_the_strike_index_is_read_along_the_foot_and_not_across_it(percent: float, turned: float, off: float) -> None:
    toe = pitched(0, turned)
    along, across = (toe - HEEL) * percent / 100, np.cross(toe - HEEL, [0, 1, 0]) / 0.2 * off
    assert fs.strike_index(HEEL + along + across - [0, 0.04, 0], HEEL, toe) == pytest.approx(percent, abs=1e-6)


def test_lifting_the_toes_does_not_shorten_the_foot() -> None:
    under_toe = pitched(20) * [1, 0, 1]
    assert fs.strike_index(under_toe, HEEL, pitched(20)) == pytest.approx(100 * np.cos(np.radians(20)))


def test_a_foot_longer_than_its_markers_makes_the_index_smaller() -> None:
    assert fs.strike_index(TOE, HEEL, TOE, toe_fraction=1.25) == pytest.approx(80)


def test_two_markers_above_one_another_have_no_foot_axis() -> None:
    assert np.isnan(fs.strike_index(TOE, HEEL, HEEL + np.array([0, 0.2, 0])))


def test_the_moment_of_the_index_is_where_force_crosses_its_force_early_in_contact() -> None:
    vertical = np.zeros(300)
    vertical[100:] = 20 + 30 * np.arange(200)  # crosses 200 N six samples after the contact's first
    assert fs.loaded_at(vertical, 1000.0, 100, 299, 200.0) == pytest.approx(0.106)
    assert fs.loaded_at(vertical, 1000.0, 100, 299, 185.0) == pytest.approx(0.1055)
    assert fs.loaded_at(vertical, 1000.0, 100, 150, 200.0) is None  # after the first tenth
    assert fs.loaded_at(vertical * 0.001, 1000.0, 100, 299, 200.0) is None
    assert fs.loaded_at(vertical * np.nan, 1000.0, 100, 299, 200.0) is None


@pytest.mark.parametrize(
    ("by_angle", "by_index", "agree"),
    [
        ("rearfoot", "rearfoot", True),
        ("rearfoot", "midfoot", False),
        (None, "midfoot", None),
        ("midfoot", None, None),
        ("uncertain", "midfoot", None),
        ("uncertain", "uncertain", None),
    ],
)
def test_agreement_is_known_only_when_both_classes_are(
    by_angle: str | None, by_index: str | None, agree: bool | None
) -> None:
    assert fs.classes_agree(by_angle, by_index) is agree


@given(st.floats(-40, 60), st.floats(0, 6))
@tries(40)
def test_a_class_by_angle_is_uncertain_where_another_lies_within_the_uncertainty(angle: float, off: float) -> None:
    sure = fs.class_by_angle(angle, 0.0)
    around = {fs.class_by_angle(angle + part * off, 0.0) for part in np.linspace(-0.999, 0.999, 41)}
    found = fs.class_by_angle(angle, off)
    assert found == "uncertain" if len(around) > 1 else found in (sure, "uncertain")
    if min(abs(angle - 8.0), abs(angle + 1.6)) >= off:
        assert found == sure


def test_classes_of_unknown_uncertainty_are_uncertain_and_thirds_have_their_borders() -> None:
    assert fs.class_by_angle(20.0, float("nan")) == fs.class_by_index(5.0, float("nan")) == "uncertain"
    found = [fs.class_by_index(index, 9.0) for index in (20.0, 30.0, 50.0, 60.0, 80.0)]
    assert found == ["rearfoot", "uncertain", "midfoot", "uncertain", "forefoot"]
