"""The leg that muscle channels are of, told beside a drafted profile from what the files show."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipelines.lab.profile.draft import draft_profile
from pipelines.lab.profile.muscles import muscle_of
from tests.delivery_builders import REPO, STUDY
from tests.pipelines.lab.profile.labs import unpack

RUNWAY = REPO.parent / "shared" / "real_runway_emg"
_TOLD = re.compile(r"Channel '(.+)', taken for (\w+), .*: (.*)\.$")


def told(folder: Path) -> dict[str, tuple[str, str]]:
    """Label -> muscle, and what to do."""
    found = (_TOLD.match(note) for note in draft_profile(folder, STUDY, "brack").notes)
    return {m[1]: (m[2], m[3]) for m in found if m}


@pytest.mark.parametrize(
    ("label", "expected"),
    [
        ("EMG TA L", ("tibialis_anterior", "left")),
        ("R.EMG.GM", ("gastrocnemius_medialis", "right")),
        ("emg_soleus_L", ("soleus", "left")),
        ("Gastroc_Lat_right", ("gastrocnemius_lateralis", "right")),
        ("TibAnt", ("tibialis_anterior", None)),
        ("MHAMS", ("semitendinosus", None)),
        ("AddMagnus", (None, None)),
        ("emg_gastroc_L", ("gastrocnemius_medialis", "left")),
        ("Glut", (None, None)),
        ("Fz1", (None, None)),
        ("switch_L", (None, "left")),
    ],
)
def test_a_label_says_muscle_and_side(label: str, expected: tuple[str | None, str | None]) -> None:
    assert muscle_of(label) == expected


def test_the_legs_of_a_demo_laboratory_are_told_as_its_labels_say(tmp_path: Path) -> None:
    found = told(unpack("brack", tmp_path))
    calves = {label: said for label, said in found.items() if said[0] in ("soleus", "gastrocnemius_medialis")}
    assert len(calves) == 4
    for label, (_, what) in calves.items():
        assert what == f"write {muscle_of(label)[1]} as its side in channels.csv"


@pytest.mark.skipif(not RUNWAY.exists(), reason="the real recordings are not on this machine")
def test_most_muscles_of_one_real_leg_tell_it_and_none_tells_the_other(tmp_path: Path) -> None:
    found = told(RUNWAY)
    assert len(found) == 11
    sure = [label for label, (_, what) in found.items() if what == "write right as its side in channels.csv"]
    assert set(found) - set(sure) == {"TA", "RF"}
    assert all(found[label][1] == "does not surely tell its leg" for label in ("TA", "RF"))
