"""Segment parameters against de Leva 1996 and, through the mechanics, against Dempster's (Winter 2009, Table 4.1).

De Leva P 1996, J Biomech 29:1223-1230, Table 4, and Dempster 1955 via Winter, as stored in demotu/BMC (CC BY 4.0).
"""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.joints.moments import joint_moments
from pipelines.science.joints.segments import SEGMENTS, Segment, segments_for
from tests.published.values import rows

MASSLESS = Segment(0.0, 0.5, 0.1)


def published(sex: str) -> dict[str, dict[str, str]]:
    return {row["segment"]: row for row in rows("bsp_deleva") if row["sex"] == sex}


@pytest.mark.parametrize("sex", ["female", "male"])
@pytest.mark.parametrize("name", ["thigh", "shank", "foot"])
def test_the_table_is_de_levas(sex: str, name: str) -> None:
    row, own = published(sex)[name.capitalize()], SEGMENTS[sex][name]
    assert own.mass_fraction == float(row["mass_frac"])
    assert own.centre_fraction == float(row["cm_long_frac"])
    assert own.gyration_fraction == float(row["rg_transverse_frac"])


@pytest.mark.parametrize("sex", ["female", "male"])
def test_our_legs_with_the_published_rest_weigh_one_body(sex: str) -> None:
    rest = published(sex)
    once = sum(float(rest[name]["mass_frac"]) for name in ("Head", "Trunk"))
    arm = sum(float(rest[name]["mass_frac"]) for name in ("Upper arm", "Forearm", "Hand"))
    leg = sum(segment.mass_fraction for segment in SEGMENTS[sex].values())
    assert once + 2 * (arm + leg) == pytest.approx(1.0, abs=0.0005)


def test_who_did_not_state_a_sex_gets_the_mean_or_what_the_study_says() -> None:
    # male and female thigh mass fractions are 0.1416 and 0.1478
    for sex in (None, "other", "undisclosed"):
        assert segments_for(sex)["thigh"].mass_fraction == pytest.approx(0.1447)
        assert segments_for(sex, "female")["thigh"].mass_fraction == 0.1478
    assert segments_for("male", "female")["thigh"].mass_fraction == 0.1416


def test_the_centres_of_mass_and_inertias_of_a_worked_leg() -> None:
    # BMC BodySegmentParameters.ipynb: Dempster's fractions, metres, a body of 100 kg
    toe, ankle, knee, hip = (np.array(p) for p in ((1.011, 0.013), (0.849, 0.110), (0.864, 0.549), (0.721, 0.928)))
    foot, leg, thigh = Segment(0.0145, 0.5, 0.475), Segment(0.0465, 0.433, 0.302), Segment(0.100, 0.433, 0.323)
    worked = [
        (foot, ankle, toe, (0.9300, 0.0615), 0.01166),
        (leg, knee, ankle, (0.8575, 0.3589), 0.08183),
        (thigh, hip, knee, (0.7829, 0.7639), 0.17119),
    ]
    for segment, proximal, distal, centre, inertia in worked:
        assert segment.centre_of_mass(proximal, distal) == pytest.approx(centre, abs=0.0001)
        assert segment.inertia(100.0, float(np.linalg.norm(distal - proximal))) == pytest.approx(inertia, abs=0.00001)
    mass = sum(segment.mass_fraction for segment, *_ in worked)
    limb = sum(s.mass_fraction * s.centre_of_mass(a, b) for s, a, b, *_ in worked) / mass
    assert limb == pytest.approx((0.8177, 0.5837), abs=0.0001)


@pytest.mark.parametrize(
    ("joint", "segment", "about_the_joint"),
    # Dempster's table also gives the radius of gyration about the proximal end: leg 0.528, thigh 0.540
    [("knee", Segment(0.0465, 0.433, 0.302), 0.528), ("hip", Segment(0.100, 0.433, 0.323), 0.540)],
)
def test_a_swinging_segment_resists_with_its_published_inertia_about_the_joint(
    joint: str, segment: Segment, about_the_joint: float
) -> None:
    rate, spin, length, mass = 1000.0, 50.0, 0.4, 80.0
    t = np.arange(-50, 51) / rate
    turn = spin * t**2 / 2 - np.pi / 2  # hangs straight down and still at t = 0, so that gravity has no lever
    end = length * np.stack([np.cos(turn), np.sin(turn), 0 * t], axis=1)
    fixed, foot = np.zeros((len(t), 3)), end + np.array([0.1, 0.0, 0.0])
    if joint == "knee":
        points = {"heel": end, "toe": foot, "ankle": end, "knee": fixed}
        segments = {"foot": MASSLESS, "shank": segment}
    else:
        below = end - np.array([0.0, 0.4, 0.0])
        points = {"heel": below, "toe": foot, "ankle": below, "knee": end, "hip": fixed}
        segments = {"foot": MASSLESS, "shank": MASSLESS, "thigh": segment}
    found = joint_moments(points, np.zeros((len(t), 3)), np.zeros((len(t), 3)), rate, mass, segments)
    by_hand = segment.mass_fraction * mass * (about_the_joint * length) ** 2 * spin
    # three digits of a radius: 0.0005 of 0.53, twice for the square
    assert found[joint][50] == pytest.approx(by_hand, rel=0.003)
