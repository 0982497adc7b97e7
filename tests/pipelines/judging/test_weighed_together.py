"""Whether mass or gain is wrong is told by the trials of a session together, on deliveries as laboratories send them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.judging.weighed_together import ALIKE, CHECK, sentence
from tests.delivery_builders import a_delivery, planned, tables, take_in_only


def seen(tmp_path: Path) -> list[str]:
    take_in_only(tmp_path / "inbox", tmp_path / "depot")
    (delivery,) = tables(tmp_path / "depot").values()
    return [row["seen"] for row in delivery["findings"] if row["check_name"] == CHECK]


def test_a_wrong_mass_is_named_where_all_trials_of_the_session_are_off_alike(tmp_path: Path) -> None:
    mass_kg = planned("FS-01", "1")[0].session.row()["mass_kg"]
    a_delivery(tmp_path / "inbox", names=("standing", "1", "2", "3"), told={"mass_kg": round(1.15 * mass_kg, 1)})
    told = seen(tmp_path)
    assert len(told) == 3
    assert all("The 2 other trials of this session" in one and "most likely the mass" in one for one in told)


def test_a_wrong_gain_is_named_where_one_trial_is_off_and_the_others_of_its_session_are_not(tmp_path: Path) -> None:
    a_delivery(tmp_path / "inbox", names=("standing", "1", "2", "3"), faulty={"1": "heavy"})
    (told,) = seen(tmp_path)
    assert "The 2 other trials of this session that could be weighed are off otherwise" in told
    assert "and not the mass" in told
    (delivery,) = tables(tmp_path / "depot").values()
    own = {row["finding_id"] for row in delivery["findings"] if row["check_name"] == CHECK}
    drawn = [row for row in delivery["finding_pictures"] if row["finding_id"] in own and row["panel_number"] == 1]
    beside = [row["upwards_value"] for row in drawn if row["part_role"] == "beside"]
    assert [f"{percent:+.1f}" for percent in sorted(beside)] == [*re.findall(r"[+-]\d\.\d", told.split("otherwise")[1])]
    (found,) = [row["upwards_value"] for row in drawn if row["part_role"] == "value"]
    assert found > 10 > max(beside), "the picture tells the trial apart from the runner's others"


def test_a_trial_alone_says_that_the_two_look_the_same(tmp_path: Path) -> None:
    a_delivery(tmp_path / "inbox", faulty={"1": "heavy"})
    (told,) = seen(tmp_path)
    assert told.endswith("so that a wrong mass and a wrong gain look the same.")


@given(st.lists(st.floats(0.5, 1.5), min_size=2, max_size=6), st.floats(0.8, 1.2))
def test_the_cause_does_not_change_if_the_mass_does(ratios: list[float], mass: float) -> None:
    """Only how far trials lie apart counts, and in proportion that stays."""
    own, *others = ratios
    spread = max(ratios) - min(ratios)
    told = sentence(own, others)
    assert ("most likely the mass" in told) == (spread <= ALIKE)
    if spread * mass <= ALIKE and spread <= ALIKE:
        assert "most likely the mass" in sentence(own * mass, [ratio * mass for ratio in others])


@pytest.mark.parametrize(("others", "said"), [([1.05], "The other trial of this session that could be weighed is off")])
def test_one_other_trial_is_said_in_the_singular(others: list[float], said: str) -> None:
    assert sentence(1.06, others).startswith(said)
