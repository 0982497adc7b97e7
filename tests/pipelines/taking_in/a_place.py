"""A folder with study file, site profiles, inbox and depot, and what tests do with it."""

from __future__ import annotations

import shutil
from pathlib import Path

import yaml

from pipelines.assets.run import plan, run
from pipelines.taking_in.summary import Summary
from tests.delivery_builders import STUDY


def with_study(place: Path) -> Path:
    """The folder, with copies of the demonstration's study file and profiles in it."""
    shutil.copytree(STUDY.parent / "sites", place / "sites")
    shutil.copyfile(STUDY, place / "study.yaml")
    return place


def go(place: Path, *, yes: bool = False) -> Summary:
    return run(place / "study.yaml", place / "inbox", place / "depot", "tester", workers=1, yes=yes)


def planned(place: Path) -> str:
    return plan(place / "study.yaml", place / "inbox", place / "depot", "tester", workers=1)


def edit(place: Path, old: str, new: str, file: str = "study.yaml") -> None:
    text = (place / file).read_text(encoding="utf-8")
    assert old in text
    (place / file).write_text(text.replace(old, new), encoding="utf-8")


def exchange_labels(place: Path) -> None:
    """Heel and front of the left foot, as when somebody draws up a profile in a hurry."""
    profile = place / "sites" / "brack.yaml"
    content = yaml.safe_load(profile.read_text(encoding="utf-8"))
    markers = content["markers"]
    one, other = "calcaneus_left", "second_metatarsal_head_left"
    markers[one], markers[other] = markers[other], markers[one]
    profile.write_text(yaml.safe_dump(content), encoding="utf-8")
