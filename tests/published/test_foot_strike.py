"""Foot strike classes against the published cut-offs, and angles against a real run's."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.gait.foot_strike import (
    class_by_angle,
    class_by_index,
    foot_angle,
    foot_strike_angle,
    strike_index,
)
from schemas.processing import Processing
from schemas.trial import Posture
from tests.as_frames import compute_footfalls
from tests.published.force_of_the_real_run import needs_real_run, real_run, recorded_markers, truth


@pytest.mark.parametrize(
    ("angle_deg", "expected"),
    [
        # Altman & Davis 2012, Gait Posture 35:298: rearfoot > 8.0, midfoot -1.6 to 8.0, forefoot < -1.6 deg
        (8.0, "midfoot"),
        (8.0001, "rearfoot"),
        (7.5, "midfoot"),
        (-1.0, "midfoot"),
        (-1.6, "midfoot"),
        (-1.6001, "forefoot"),
        (20.4, "rearfoot"),
        (-5.0, "forefoot"),
        # group means of runners classed otherwise (J Sports Sci Med 24:747, Table 1)
        (17.7, "rearfoot"),
        (2.58, "midfoot"),
        (-7.92, "forefoot"),
        (None, None),
    ],
)
def test_class_by_angle_follows_altman_and_davis(angle_deg: float | None, expected: str | None) -> None:
    assert class_by_angle(angle_deg, 0.0) == expected


@pytest.mark.parametrize(
    ("angle_deg", "expected"),
    [(8.0, "rearfoot"), (7.5, "rearfoot"), (-1.0, "forefoot"), (20.4, "rearfoot"), (-5.0, "forefoot")],
)
def test_a_study_may_declare_the_later_cut_offs_of_mo_et_al(angle_deg: float, expected: str) -> None:
    # Mo, Huang, Ng & Cheung 2023: rearfoot > 7.4, forefoot < -0.8 deg
    assert class_by_angle(angle_deg, 0.0, rearfoot_above_deg=7.4, forefoot_below_deg=-0.8) == expected


@pytest.mark.parametrize(
    ("index_percent", "expected"),
    [
        # Cavanagh & Lafortune 1980, J Biomech 13:397: 0-33.3, 33.4-66.6, 66.7-100 %
        (0.0, "rearfoot"),
        (33.3, "rearfoot"),
        (33.4, "midfoot"),
        (66.6, "midfoot"),
        (66.7, "forefoot"),
        (100.0, "forefoot"),
        (None, None),
    ],
)
def test_class_by_index_follows_cavanagh_and_lafortune(index_percent: float | None, expected: str | None) -> None:
    assert class_by_index(index_percent, 0.0) == expected


@needs_real_run
@pytest.mark.parametrize("number", [0, 1])
@pytest.mark.parametrize("front", ["TOE", "MT5"])
def test_foot_angles_of_the_real_run(number: int, front: str) -> None:
    contact = truth()["contacts"][number]
    letter = contact["side"][0].upper()
    at_contact = {name: np.array(place) / 1000 for name, place in contact["markers_at_contact_mm"].items()}
    known = contact["foot_angle"][f"heel_to_{letter}{front}"]
    heel, toe = at_contact[f"{letter}CAL"], at_contact[f"{letter}{front}"]
    assert foot_angle(heel, toe) == pytest.approx(known["at_contact_deg"], abs=1e-3)
    rise = np.tan(np.radians(known["static_deg"]))
    standing = (np.zeros(3), np.array([0.6, rise, 0.8]))  # a foot turned out, at the known standing angle
    assert foot_strike_angle(heel, toe, *standing) == pytest.approx(known["relative_to_static_deg"], abs=1e-3)


@needs_real_run
def test_the_left_strike_angle_comes_out_of_the_recorded_markers_at_the_interpolated_contact() -> None:
    labels = {f"{role}_{side}": f"{side[0].upper()}{label}" for side in ("left", "right") for role, label in
              (("calcaneus", "CAL"), ("second_metatarsal_head", "TOE"))}  # fmt: skip
    known = truth()["contacts"][1]["foot_angle"]["heel_to_LTOE"]
    rise = 0.2 * np.tan(np.radians(known["static_deg"]))
    standing = {"calcaneus_left": np.zeros(3), "second_metatarsal_head_left": np.array([0.2, rise, 0.0])}
    settings = Processing(shortest_contact_s=0.08)
    left = compute_footfalls(real_run(recorded_markers(labels)), settings, Posture("S", "shod", standing)).iloc[1]
    assert left["foot_strike_angle_deg"] == pytest.approx(known["relative_to_static_deg"], abs=0.02)
    assert left["strike_class_by_angle"] == "uncertain"  # 2 degrees below a cut-off, a second of force and no pelvis


@needs_real_run
def test_the_left_strike_index_agrees_with_the_known_centre_of_pressure_and_markers() -> None:
    contact = truth()["contacts"][1]
    heel, toe = (np.array(contact["markers_at_contact_mm"][name]) / 1000 for name in ("LCAL", "LTOE"))
    cop = np.array(contact["cop_at_first_valid_sample_m"])
    # dropped by hand on the line from heel to toe marker: (0.22968, 0.02799) . (0.19392, -0.02383) / 0.19538 =
    # 0.22455 m of a foot of 0.19659 m; above 100 % because the front marker sits behind the toes
    assert strike_index(cop, heel, toe) == pytest.approx(114.2, abs=0.05)
