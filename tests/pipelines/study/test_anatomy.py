"""What a study declares its markers and muscles to be: names are free, and what can never be had is told at once."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml

from pipelines.errors import Unusable
from pipelines.judging.judge import Verdict, judge_trial
from pipelines.study.anatomy import by_landmark, empty_at, never
from pipelines.study.file import load_study
from tests.builders import a_study
from tests.pipelines.judging.test_judge import a_job

DEMO = Path(__file__).resolve().parents[3] / "demo_site_uploads"
RENAMED = {
    "calcaneus": "heel_bone",
    "second_metatarsal_head": "ball",
    "lateral_malleolus": "outer_ankle",
    "greater_trochanter": "hip_point",
    "sacrum": "tail",
}


def demo_with(folder: Path, change: Callable[[dict[str, Any], dict[str, dict[str, Any]]], None]) -> Path:
    """The demonstration's study file and profiles in a folder of their own, changed."""
    shutil.copytree(DEMO / "sites", folder / "sites")
    study = yaml.safe_load((DEMO / "study.yaml").read_text(encoding="utf-8"))
    profiles = {path.stem: yaml.safe_load(path.read_text(encoding="utf-8")) for path in (folder / "sites").iterdir()}
    change(study, profiles)
    for site, profile in profiles.items():
        (folder / "sites" / f"{site}.yaml").write_text(yaml.safe_dump(profile), encoding="utf-8")
    (folder / "study.yaml").write_text(yaml.safe_dump(study), encoding="utf-8")
    return folder / "study.yaml"


def with_other_names(study: dict[str, Any], profiles: dict[str, dict[str, Any]]) -> None:
    roles = study["marker_roles"]
    study["marker_roles"] = {
        RENAMED.get(role, role): spec | ({"landmark": role} if role in RENAMED else {}) for role, spec in roles.items()
    }
    study["processing"]["toe_role"] = RENAMED["second_metatarsal_head"]
    study["processing"]["speed_roles"] = ["tail", "anterior_superior_iliac_spine"]
    for profile in profiles.values():
        profile["markers"] = {other_name(role): label for role, label in profile["markers"].items()}


def other_name(role: str) -> str:
    bare, _, side = role.rpartition("_")
    return f"{RENAMED[bare]}_{side}" if bare in RENAMED else RENAMED.get(role, role)


def judged(folder: Path, study_file: Path) -> Verdict:
    """One running trial of the demonstration with its posture, judged by a study file."""
    study = load_study(study_file).study
    own = {"study": study, "profile": study.sites["brack"].profile}
    standing = judge_trial(replace(a_job(folder, "standing"), **own))
    return judge_trial(replace(a_job(folder, "1", posture=standing.posture), **own))


def test_five_landmarks_called_by_other_names_change_nothing(tmp_path: Path) -> None:
    (tmp_path / "study").mkdir()
    renamed = demo_with(tmp_path / "study", with_other_names)
    before, after = judged(tmp_path, DEMO / "study.yaml"), judged(tmp_path, renamed)
    assert [(r.check_name, r.status, r.rows_examined) for r in after.runs] == [
        (r.check_name, r.status, r.rows_examined) for r in before.runs
    ]
    assert after.findings == before.findings
    assert len(before.outcomes["footfall_joints"]) > 0
    for name, rows in before.outcomes.items():
        assert after.outcomes[name].frame().equals(rows.frame()), name


def test_muscles_called_by_other_names_keep_their_kind(tmp_path: Path) -> None:
    def rename(study: dict[str, Any], profiles: dict[str, dict[str, Any]]) -> None:
        study["muscles"]["calf_inner"] = study["muscles"].pop("gastrocnemius_medialis") | {"kind": "calf"}
        study["muscles"]["thigh_front"] = {"description": "Another."}
        study["processing"]["muscle"]["co_contraction_pairs"] = [["soleus", "tibialis_anterior"]]

    kinds = load_study(demo_with(tmp_path, rename)).study.muscle_phases().kinds
    assert (kinds["calf_inner"], kinds["tibialis_anterior"]) == ("calf", "shin")
    assert "thigh_front" not in kinds


@pytest.mark.parametrize(
    ("gone", "told"),
    [
        ("lateral_malleolus", ("ankle angles", "knee angles", "joint moments")),
        ("lateral_femoral_epicondyle", ("ankle angles", "knee angles", "hip angles")),
    ],
)
def test_what_a_study_can_never_give_is_listed_when_it_is_read(
    tmp_path: Path, gone: str, told: tuple[str, ...]
) -> None:
    def without(study: dict[str, Any], profiles: dict[str, dict[str, Any]]) -> None:
        del study["marker_roles"][gone]
        for profile in profiles.values():
            profile["markers"] = {r: label for r, label in profile["markers"].items() if not r.startswith(gone)}

    with pytest.raises(Unusable) as refused:
        load_study(demo_with(tmp_path, without))
    assert all(f"{what} can never be had" in str(refused.value) for what in told)
    assert gone in str(refused.value)
    assert "does_without" in str(refused.value)


def test_a_study_may_say_that_it_does_without(tmp_path: Path) -> None:
    def without(study: dict[str, Any], profiles: dict[str, dict[str, Any]]) -> None:
        study["processing"]["muscle"]["co_contraction_pairs"].append(["soleus", "rectus_femoris"])
        study["does_without"] = ["co_contraction"]

    assert load_study(demo_with(tmp_path, without)).study.does_without == ("co_contraction",)


def test_one_landmark_has_one_role(tmp_path: Path) -> None:
    def twice(study: dict[str, Any], profiles: dict[str, dict[str, Any]]) -> None:
        study["marker_roles"]["heel"] = {"description": "Also the heel.", "landmark": "calcaneus"}

    with pytest.raises(Unusable, match="calcaneus and heel to be the calcaneus"):
        load_study(demo_with(tmp_path, twice))


def test_a_study_that_uses_the_landmarks_names_stays_as_it_is() -> None:
    study = a_study()
    assert by_landmark(study) is study
    assert never(study) == []


def test_what_stays_empty_at_a_laboratory_is_told_with_what_it_needs() -> None:
    study = load_study(DEMO / "study.yaml").study
    whole = study.sites["brack"].profile
    without = {role: label for role, label in whole.markers.items() if "malleolus" not in role}
    told = {one.word: one.lacks for one in empty_at(whole.model_copy(update={"markers": without}), study.processing)}
    assert {"ankle", "knee", "moments"} <= told.keys()
    assert "lateral_malleolus" in told["ankle"]
    assert not {"ankle", "knee", "moments"} & {one.word for one in empty_at(whole, study.processing)}
    beltless = whole.model_copy(update={"force_rate_hz": None, "plate_types": ()})
    assert "force plates" in {one.word: one.lacks for one in empty_at(beltless, study.processing)}["force"]


@pytest.mark.parametrize(
    ("cluster", "why"),
    [
        ({"carries": ["greater_trochanter_left"], "labels": ["a", "b"]}, "a list of 3 or more"),
        ({"carries": ["navel_left"], "labels": ["a", "b", "c"]}, "carries navel_left, to which markers gives no label"),
        ({"carries": ["greater_trochanter_left"], "labels": ["a", "b", "b"]}, "each label once"),
    ],
)
def test_a_cluster_that_can_carry_nothing_is_refused(tmp_path: Path, cluster: dict[str, Any], why: str) -> None:
    def with_cluster(study: dict[str, Any], profiles: dict[str, dict[str, Any]]) -> None:
        profiles["brack"]["clusters"] = {"thigh_left": cluster}

    with pytest.raises(Unusable, match=f"(?i){why}"):
        load_study(demo_with(tmp_path, with_cluster))


def test_a_label_is_of_one_cluster(tmp_path: Path) -> None:
    def shared(study: dict[str, Any], profiles: dict[str, dict[str, Any]]) -> None:
        profiles["brack"]["clusters"] = {
            "thigh_left": {"labels": ["a", "b", "c"], "carries": ["greater_trochanter_left"]},
            "shank_left": {"labels": ["c", "d", "e"], "carries": ["lateral_malleolus_left"]},
        }

    with pytest.raises(Unusable, match=r"c is worn by (thigh|shank)_left already, on another segment"):
        load_study(demo_with(tmp_path, shared))


def test_a_cluster_carries_by_landmark_whatever_the_roles_are_called(tmp_path: Path) -> None:
    def renamed(study: dict[str, Any], profiles: dict[str, dict[str, Any]]) -> None:
        roles = study["marker_roles"]
        roles["hip"] = {**roles.pop("greater_trochanter"), "landmark": "greater_trochanter"}
        for profile in profiles.values():
            markers = profile["markers"]
            profile["markers"] = {r.replace("greater_trochanter", "hip"): label for r, label in markers.items()}
        profiles["brack"]["clusters"] = {"thigh_left": {"labels": ["a", "b", "c"], "carries": ["hip_left"]}}

    own = load_study(demo_with(tmp_path, renamed)).study.sites["brack"].profile
    assert own.carried == {"greater_trochanter_left"}
