"""What moves together in a run: plates are found by their stiffness, computed points by keeping exactly their place."""

from __future__ import annotations

import itertools
import shutil
from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pipelines.lab.profile.draft import draft_profile
from pipelines.lab.profile.files import Recorded, seen_in
from pipelines.lab.profile.together import moving_together
from pipelines.science.joints.clusters import breadth
from schemas.study import SiteProfile
from tests.delivery_builders import REPO, STUDY
from tests.pipelines.lab.profile.labs import REAL, unpack

SHARED = REPO.parent / "shared"
BELT, RUNWAY = SHARED / "real_treadmill", SHARED / "real_runway_emg"


def needs(folder: Path) -> pytest.MarkDecorator:
    return pytest.mark.skipif(not folder.is_dir(), reason=f"{folder} is not on this machine")


def recorded(points: np.ndarray, labels: tuple[str, ...]) -> Recorded:
    return Recorded(labels, points, 200.0, None, "mm", ())


def a_body(draw: np.random.Generator, markers: int, frames: int = 120) -> np.ndarray:
    """(frames, markers, 3) m: markers a hand's breadth apart on a body that swings and turns."""
    place = draw.uniform(-0.06, 0.06, (markers, 3)) + np.arange(markers)[:, None] * [0.03, 0.0, 0.0]
    time = np.linspace(0, 6, frames)
    turns = Rotation.from_euler("xyz", np.sin(time[:, None] * draw.uniform(1, 4, 3) + draw.uniform(0, 6, 3)))
    middle = np.sin(time[:, None] * draw.uniform(1, 4, 3)) + draw.uniform(-0.2, 0.2, 3)
    return np.stack([turns.apply(own) + middle for own in place], axis=1)


@given(st.integers(0, 10_000))
def test_plates_are_found_whole_and_apart_and_what_is_halfway_is_computed(seed: int) -> None:
    draw = np.random.default_rng(seed)
    thigh, shank = a_body(draw, 4), a_body(draw, 3)
    noisy = np.hstack([thigh, shank]) + draw.normal(0, 1e-4, (len(thigh), 7, 3))
    points = np.hstack([noisy, (noisy[:, [0]] + noisy[:, [5]]) / 2])
    found = moving_together([recorded(points, (*"abcdefg", "halfway"))])
    broad = {frozenset(own) for own, body in (("abcd", thigh), ("efg", shank)) if breadth(body[0]) > 0.012}
    assert broad <= {frozenset(group.labels) for group in found.groups} <= {frozenset("abcd"), frozenset("efg")}
    assert all(1e-5 < group.spread_m < 1e-3 for group in found.groups)
    assert set(found.computed) == {"halfway"}
    assert "exactly halfway between a and f" in found.computed["halfway"]


@given(st.integers(0, 10_000), st.floats(5e-5, 5e-4))
def test_a_marker_that_was_measured_is_never_taken_for_computed(seed: int, noise_m: float) -> None:
    """It may lie halfway between two others, on a stiff plate: a tenth of a millimetre tells it apart."""
    draw = np.random.default_rng(seed)
    plate = a_body(draw, 4)
    points = np.hstack([plate, (plate[:, [0]] + plate[:, [1]]) / 2])
    found = moving_together([recorded(points + draw.normal(0, noise_m, points.shape), tuple("abcde"))])
    assert found.computed == {}


def test_a_point_fixed_in_the_frame_of_others_is_told_with_those_whose_distance_it_keeps() -> None:
    draw = np.random.default_rng(1)
    body = a_body(draw, 6)
    points = np.hstack([body[:, :4] + draw.normal(0, 2e-4, (len(body), 4, 3)), body[:, 4:]])
    found = moving_together([recorded(points, ("a", "b", "c", "d", "hip", "knee"))])
    assert set(found.computed) == {"hip", "knee"}
    assert "exactly the same distance from knee" in found.computed["hip"]
    assert {frozenset(group.labels) for group in found.groups} == {frozenset("abcd")}


def test_nothing_is_told_of_somebody_who_only_stands_or_of_three_markers_on_a_line() -> None:
    draw = np.random.default_rng(2)
    points = a_body(draw, 2)
    line = np.stack([points[:, 0], points[:, 1], points[:, 0] + 0.4 * (points[:, 1] - points[:, 0])], axis=1)
    assert moving_together([recorded(line + draw.normal(0, 1e-4, line.shape), tuple("abc"))]).groups == ()
    still = np.repeat(a_body(draw, 5)[:1], 100, axis=0) + draw.normal(0, 1e-5, (100, 5, 3))
    assert moving_together([recorded(still, tuple("abcde"))]).runs == 0


@needs(BELT)
def test_the_plates_of_the_published_treadmill_recording_carry_its_landmarks_worn_while_standing(
    tmp_path: Path,
) -> None:
    """Which plate carries what is what the source's carried landmarks were made by: each by its own segment's."""
    for name in ("r02_run25.c3d", "r02_standing.c3d"):
        shutil.copyfile(BELT / name, tmp_path / name)
    found = SiteProfile.model_validate(yaml.safe_load(draft_profile(tmp_path, STUDY, "belt").text))
    plates = {name: set(cluster.labels) for name, cluster in found.clusters.items()}
    ends = [f"{end}.{side}" for end in ("Top", "Bottom") for side in ("Lateral", "Medial")]
    for side, segment in itertools.product(("left", "right"), ("thigh", "shank")):
        letter = side[0].upper()
        assert plates[f"{segment}_{side}"] == {f"{letter}.{segment.capitalize()}.{end}" for end in ends}
        joint, landmark = {"thigh": ("Knee", "femoral_epicondyle"), "shank": ("Ankle", "malleolus")}[segment]
        carries = found.clusters[f"{segment}_{side}"].carries
        assert {f"lateral_{landmark}_{side}", f"medial_{landmark}_{side}"} <= set(carries)
        assert found.markers[f"lateral_{landmark}_{side}"] == f"{letter}.{joint}"
        assert found.markers[f"medial_{landmark}_{side}"] == f"{letter}.{joint}.Medial"


@needs(RUNWAY)
def test_skin_markers_that_are_no_plate_are_proposed_and_never_given(tmp_path: Path) -> None:
    for name in ("r11_run35.c3d", "r11_standing.c3d"):
        shutil.copyfile(RUNWAY / name, tmp_path / name)
    draft = draft_profile(tmp_path, STUDY, "way")
    given = yaml.safe_load(draft.text)
    assert "clusters" not in given
    assert not {"medial_malleolus_left", "medial_femoral_epicondyle_right"} & set(given["markers"])
    assert 'labels: ["LTIAP", "LTIAD", "LTILAT"]' in draft.text
    assert {"clusters.shank_left", "medial_malleolus_left"} <= set(draft.open)


@needs(REAL)
def test_the_computed_points_of_the_published_runway_recording_are_told() -> None:
    """Its makers' own words for them are Mid, JC (a joint's centre) and a small v; nothing else is a computed one."""
    run = seen_in(REAL / "run.c3d")
    assert run is not None
    told = set(moving_together([run]).computed)
    named = {label for label in run.labels if label.startswith("Mid") or label.endswith(("JC", "v"))}
    assert named - told <= {"RPSHv"}
    origins = {label for label in told - named if label[-1] != "1"}
    assert origins == set()


def test_a_new_site_takes_nothing_from_the_profiles_of_others(tmp_path: Path) -> None:
    """The draft is the same whatever other sites of the study have written."""
    shutil.copytree(STUDY.parent / "sites", tmp_path / "sites")
    for name in ("study.yaml", "plan.yaml"):
        shutil.copyfile(STUDY.parent / name, tmp_path / name)
    other = tmp_path / "sites" / "corrie.yaml"
    changed = yaml.safe_load(other.read_text())
    changed["marker_rate_hz"], changed["runs_both_ways"] = 77, not changed.get("runs_both_ways", False)
    changed["markers"] = {role: f"other {label}" for role, label in changed["markers"].items()}
    other.write_text(yaml.safe_dump(changed))
    trial = next(unpack("brack", tmp_path / "trials").rglob("*cushioned-1.c3d"))
    assert draft_profile(trial, tmp_path / "study.yaml", "fourth").text == draft_profile(trial, STUDY, "fourth").text


@needs(BELT)
def test_a_landmark_of_the_standing_file_that_its_label_names_is_proposed_though_it_lies_elsewhere(
    tmp_path: Path,
) -> None:
    """The trochanters are worn while standing only; the left one lies 6 cm from where stature and stance put it."""
    for name in ("r02_run25.c3d", "r02_standing.c3d"):
        shutil.copyfile(BELT / name, tmp_path / name)
    draft = draft_profile(tmp_path, STUDY, "belt")
    own = {guess.role: guess for guess in draft.guesses.roles if "trochanter" in guess.role}
    assert {role: guess.label for role, guess in own.items()} == {
        "greater_trochanter_left": "L.GTR",
        "greater_trochanter_right": "R.GTR",
    }
    assert {guess.carried_by for guess in own.values()} == {"thigh_left", "thigh_right"}
    carried = [
        role for one in SiteProfile.model_validate(yaml.safe_load(draft.text)).clusters.values() for role in one.carries
    ]
    assert not {role for role, guess in own.items() if guess.sureness == "not sure"} & set(carried)


@needs(REAL)
def test_condyles_that_a_program_computed_are_proposed_by_their_words_and_never_surely(tmp_path: Path) -> None:
    for name in ("run.c3d", "static.c3d"):
        shutil.copyfile(REAL / name, tmp_path / name)
    own = {g.role: g for g in draft_profile(tmp_path, STUDY, "way").guesses.roles if "epicondyle" in g.role}
    letters = {
        f"{way}_femoral_epicondyle_{side}": f"{side[0]}{way[0]}fc".upper() + "v"
        for way, side in itertools.product(("lateral", "medial"), ("left", "right"))
    }
    assert {role: own[role].label for role in own} == {role: letters[role] for role in own}
    assert {guess.sureness for guess in own.values()} <= {"likely", "not sure"}


@needs(BELT)
def test_a_standing_file_with_the_wrong_unit_is_recognised_by_the_size_of_a_person(tmp_path: Path) -> None:
    """As an export in metres that still says mm; one that says what it is in needs no word."""
    import ezc3d

    shutil.copyfile(BELT / "r02_run25.c3d", tmp_path / "run.c3d")
    source = ezc3d.c3d(str(BELT / "r02_standing.c3d"))
    told = {}
    for unit, expected in (("m", None), ("mm", "m")):
        other = ezc3d.c3d()
        for name in ("RATE", "LABELS"):
            other["parameters"]["POINT"][name]["value"] = source["parameters"]["POINT"][name]["value"]
        other["parameters"]["POINT"]["UNITS"]["value"] = [unit]
        other["data"]["points"] = source["data"]["points"] * [[[0.001]], [[0.001]], [[0.001]], [[1.0]]]
        other.write(str(tmp_path / "standing.c3d"))
        seen = seen_in(tmp_path / "standing.c3d")
        assert seen is not None
        assert (seen.meant, seen.standing) == (expected, True)
        told[unit] = draft_profile(tmp_path, STUDY, "belt")
    assert told["m"].guesses == told["mm"].guesses
    assert any("the numbers fit m" in note for note in told["mm"].notes)
    assert not any("the numbers fit" in note for note in told["m"].notes)
