"""The analysis plan beside a study file: what is read, what is refused and in which words."""

from __future__ import annotations

import hashlib
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import yaml

from pipelines.errors import Unusable
from pipelines.science.curves import angle_series
from pipelines.science.joints.outcomes import JointAngle
from pipelines.study.plan import load_plan
from schemas.compared import known_curves
from tests.builders import a_study

STUDY = a_study()
ASKED = {"outcome": "contact_time_s", "visit": "first", "condition": "unshod", "reference_condition": "shod"}


def write(folder: Path, **changes: Any) -> Path:
    path = folder / "plan.yaml"
    path.write_text(yaml.safe_dump({"version": "1", "primary": [ASKED]} | changes))
    return path


def refusal(folder: Path, **changes: Any) -> str:
    write(folder, **changes)
    with pytest.raises(Unusable) as raised:
        load_plan(folder, STUDY)
    assert "docs/reference/analysis_plan.md" in str(raised.value)
    return str(raised.value)


def test_a_study_without_a_plan_has_none(tmp_path: Path) -> None:
    assert load_plan(tmp_path, STUDY) is None


def test_a_plan_is_known_by_the_hash_of_its_bytes_and_takes_the_reference_of_the_study(tmp_path: Path) -> None:
    study = a_study(processing={"contrasts": {"reference_condition": "shod"}})
    asked = {name: word for name, word in ASKED.items() if name != "reference_condition"}
    path = write(tmp_path, primary=[asked], secondary=[asked | {"contrast": "visit", "visit": "last"}])
    loaded = load_plan(tmp_path, study)
    assert loaded is not None
    assert loaded.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert loaded.plan.primary[0].reference_condition == "shod"
    assert loaded.plan.secondary[0].reference_condition == "unshod", "a visit is compared in one condition"


def test_a_misspelt_setting_of_the_only_comparison_is_named_and_its_list_is_not_called_empty(tmp_path: Path) -> None:
    words = refusal(tmp_path, primary=[{**ASKED, "smallest_efect": 0.01}])
    assert "smallest_efect" in words
    assert "a list of" not in words
    assert "a list of" in refusal(tmp_path, primary=[])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"condition": "barefoot"}, ("primary.1.condition", "'barefoot'", "one of shod, unshod")),
        ({"reference_condition": "unshod"}, ("primary.1.reference_condition", "a condition but unshod")),
        ({"reference_condition": None}, ("primary.1.reference_condition", "not set")),
        ({"visit": "middle"}, ("primary.1.visit", "one of first, last")),
        ({"contrast": "interaction"}, ("primary.1.visit", "the first of the plan", "one of last")),
        ({"outcome": "contact_time"}, ("primary.1.outcome", "column outcome of pooled_contrasts")),
        ({"outcome": "onset_before_contact_s"}, ("<muscle>/<side>/<burst>/onset_before_contact_s",)),
        ({"outcome": "soleus/left/guess/onset_before_contact_s"}, ("burst pre_contact, stance",)),
        ({"set_speed_m_per_s": 99}, ("primary.1.set_speed_m_per_s", "is 99 m/s", "1.5 to 7 m/s")),
        ({"smallest_effect": 0}, ("primary.1.smallest_effect", "more than 0")),
        ({"effect": 1}, ("primary.1.effect", "not a setting")),
    ],
)
def test_what_cannot_be_asked_is_refused_where_it_stands(
    tmp_path: Path, change: dict[str, Any], words: tuple[str, ...]
) -> None:
    text = refusal(tmp_path, primary=[ASKED | change])
    for part in words:
        assert part.lower() in text.lower()


def test_a_curve_that_no_recording_gives_is_refused_with_those_that_there_are(tmp_path: Path) -> None:
    curve = {"quantity": "knee_angle_deg", "visit": "first", "condition": "unshod", "reference_condition": "shod"}
    text = refusal(tmp_path, curves=[curve])
    for part in ("curves.1.quantity", "'knee_angle_deg'", "vertical_force_bw", "knee_sagittal_angle_deg"):
        assert part in text


def test_all_curves_that_are_made_can_be_asked_for() -> None:
    angles = [
        JointAngle("left", joint, "sagittal", against, np.zeros(3))
        for joint in ("ankle", "knee", "hip")
        for against in ("segment", "vertical")
    ]
    trial = SimpleNamespace(marker_rate_hz=200.0)
    made = {series.quantity for series in angle_series(trial, angles)}  # type: ignore[arg-type]
    assert len(made) == 6
    assert made <= set(known_curves(["soleus"]))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"covariates": ["order", "order"]}, "covariates names order twice"),
        ({"covariates": ["order"], "pooling_model": "random_effects_restricted_likelihood"}, "covariates need"),
        ({"exclude": {"notes_of": ["no_such_check"]}}, "names of checks"),
        ({"version": "first plan of Ann"}, "up to 20 letters"),
        ({"primary": []}, "primary: This setting"),
    ],
)
def test_a_plan_that_does_not_fit_together_is_refused(tmp_path: Path, changes: dict[str, Any], words: str) -> None:
    assert words.lower() in refusal(tmp_path, **changes).lower()


CURVE = {"quantity": "vertical_force_bw", "condition": "unshod", "visit": "first"}


@pytest.mark.parametrize(
    ("twice", "place", "other"),
    [
        ({"secondary": [dict(ASKED)]}, "secondary.1", "primary.1"),
        ({"secondary": [ASKED | {"reference_condition": None}]}, "secondary.1", "primary.1"),
        ({"primary": [ASKED | {"set_speed_m_per_s": v} for v in (3.0, 3.5, 3.04)]}, "primary.3", "primary.1"),
        ({"secondary": [ASKED | {"condition": "shod", "reference_condition": "unshod"}]}, "secondary.1", "primary.1"),
        ({"curves": [CURVE, CURVE | {"reference_condition": "shod"}]}, "curves.2", "curves.1"),
        (
            {"curves": [CURVE | {"contrast": "visit", "visit": "last", "reference_condition": word} for word in (None, "shod")]},
            "curves.2",
            "curves.1",
        ),
    ],
)  # fmt: skip
def test_what_is_asked_twice_in_other_words_is_refused_where_it_stands_and_answered_once_if_it_was_frozen_so(
    tmp_path: Path, twice: dict[str, Any], place: str, other: str
) -> None:
    study = a_study(processing={"contrasts": {"reference_condition": "shod"}})
    write(tmp_path, **twice)
    loaded = load_plan(tmp_path, study)
    assert loaded is not None
    with pytest.raises(Unusable, match=f"asks the same as {other}") as raised:
        loaded.refuse_repeats(["another"])
    assert raised.value.place == place
    loaded.refuse_repeats([loaded.sha256])
    family, number = place.split(".")
    asked, answered = getattr(loaded.plan, family), getattr(loaded.answered, family)
    assert answered == tuple(one for n, one in enumerate(asked, start=1) if n != int(number))


def test_speeds_that_are_told_apart_are_different_comparisons(tmp_path: Path) -> None:
    write(tmp_path, primary=[ASKED | {"set_speed_m_per_s": speed} for speed in (None, 3.0, 3.1)])
    loaded = load_plan(tmp_path, STUDY)
    assert loaded is not None
    loaded.refuse_repeats()
    assert loaded.answered == loaded.plan


def test_curves_are_held_against_the_study_like_comparisons(tmp_path: Path) -> None:
    curve = {"quantity": "vertical_force_bw", "condition": "unshod", "visit": "last", "contrast": "visit"}
    write(tmp_path, curves=[curve])
    loaded = load_plan(tmp_path, STUDY)
    assert loaded is not None
    assert loaded.plan.curves[0].reference_condition == "unshod"
    assert "curves.1.visit" in refusal(tmp_path, curves=[curve | {"visit": "first"}])
    assert "curves.1.condition" in refusal(tmp_path, curves=[curve | {"condition": "barefoot"}])


NEW = {"transition": {"new_footwear": ["unshod"]}}


@pytest.mark.parametrize(
    ("dose", "words"),
    [
        ({"response": "symptom_severity_score", "visit": "first"}, ("dose_responses.1.visit", "one of last")),
        ({"response": "symptom_severity_score", "visit": "last", "condition": "shod"}, ("symptoms have no condition",)),
        ({"response": "contact_time_s", "visit": "last"}, ("dose_responses.1.condition", "one of shod, unshod")),
        ({"response": "pain", "visit": "last", "condition": "shod"}, ("symptom_severity_score, or the name of",)),
    ],
)
def test_a_dose_response_that_cannot_be_is_refused_where_it_stands(
    tmp_path: Path, dose: dict[str, Any], words: tuple[str, ...]
) -> None:
    write(tmp_path, dose_responses=[dose])
    with pytest.raises(Unusable) as raised:
        load_plan(tmp_path, a_study(processing=NEW))
    for part in words:
        assert part.lower() in str(raised.value).lower()


def test_hours_in_new_footwear_need_a_study_file_that_says_which_that_is_and_each_is_asked_once(tmp_path: Path) -> None:
    dose = {"response": "symptom_severity_score", "visit": "last"}
    assert "processing.transition.new_footwear" in refusal(tmp_path, dose_responses=[dose]).lower()
    assert "same dose-response is planned twice" in refusal(tmp_path, dose_responses=[dose, dict(dose)])
