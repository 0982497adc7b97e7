"""What labels say, in several spellings, by rules alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines.lab.profile.words import misfit, read_words
from tests.pipelines.lab.profile.labs import SITES, profile, study

ROLES = study().roles_with_side()


def against(label: str, role: str) -> float:
    side = next((s for s in ("left", "right") if role.endswith(f"_{s}")), None)
    base = role.removesuffix(f"_{side}") if side else role
    return misfit(read_words(label), replace(read_words(base), side=None), side)


def best(label: str) -> str:
    return min(ROLES, key=lambda role: against(label, role))


@pytest.mark.parametrize(
    ("label", "role"),
    [
        ("left heel", "calcaneus_left"),
        ("calc_R", "calcaneus_right"),
        ("LCalcaneus", "calcaneus_left"),
        ("heelRight", "calcaneus_right"),
        ("Ankle-Lat-L", "lateral_malleolus_left"),
        ("r_ankle_inner", "medial_malleolus_right"),
        ("malleolus.med.left", "medial_malleolus_left"),
        ("RLMAL", "lateral_malleolus_right"),
        ("KneeOuterL", "lateral_femoral_epicondyle_left"),
        ("rt med epicondyle", "medial_femoral_epicondyle_right"),
        ("trochanter_L", "greater_trochanter_left"),
        ("GT right", "greater_trochanter_right"),
        ("Lmt5", "fifth_metatarsal_head_left"),
        ("outer ball R", "fifth_metatarsal_head_right"),
        ("second metatarsal left", "second_metatarsal_head_left"),
        ("toe2_r", "second_metatarsal_head_right"),
        ("inner_ball_L", "first_metatarsal_head_left"),
        ("L_ASIS", "anterior_superior_iliac_spine_left"),
        ("pelvis front right", "anterior_superior_iliac_spine_right"),
        ("PelvisBackLeft", "posterior_superior_iliac_spine_left"),
        ("sacrum", "sacrum"),
        ("Sacr", "sacrum"),
        ("mid PSIS", "sacrum"),
    ],
)
def test_a_label_in_words_leads_to_its_role(label: str, role: str) -> None:
    assert best(label) == role
    assert against(label, role) < 1.5


@pytest.mark.parametrize("site", SITES)
def test_the_labels_of_every_demo_laboratory_lead_to_their_roles(site: str) -> None:
    for role, label in profile(site).markers.items():
        assert best(label) == role, label


@pytest.mark.parametrize("label", ["m01", "A17", "C7", "point 3", "x", "", "42", "Ω"])
def test_a_label_without_a_word_of_place_speaks_for_no_role(label: str) -> None:
    assert not read_words(label).anything
    sides = [against(label, role) for role in ROLES if role != "sacrum"]
    assert len(set(sides)) == 1


@pytest.mark.parametrize(
    ("label", "role"),
    [
        ("heel_L", "calcaneus_right"),
        ("knee_out_L", "lateral_malleolus_left"),
        ("ankle_in_R", "lateral_malleolus_right"),
        ("mt1_L", "fifth_metatarsal_head_left"),
        ("pelvis front L", "posterior_superior_iliac_spine_left"),
    ],
)
def test_a_label_that_says_otherwise_is_far_from_the_role(label: str, role: str) -> None:
    assert against(label, role) >= 5


def test_a_limb_is_no_landmark() -> None:
    assert read_words("thigh 2 L").segment
    assert against("thigh 2 L", "greater_trochanter_left") > against("m02 L", "greater_trochanter_left")
