"""The measurement of the checks: it counts right, covers every check, and its page says what was measured."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.detection import causes_page, page
from benchmarks.detection.measure import (
    clean_cases,
    false_alarms,
    gathered,
    interval,
    look_at_clean,
    measure_plant,
    report_of,
    wrong_findings,
)
from benchmarks.detection.plants import Plant, plants
from benchmarks.detection.specimens import Case, Specimen, specimen
from checks import registry
from checks.registry import Looked, Subject, Weight, catalogue, check, looked
from schemas.trial import Trial

PLANTS = plants()


def as_it_is(own: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return own


@pytest.fixture
def always_and_never(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two more checks in the catalogue, for as long as the test runs: one that always finds, one that never does."""
    monkeypatch.setattr(registry, "_CHECKS", catalogue())
    words = {"about": Subject.TRIAL, "weight": Weight.NOTES, "seen": "A.", "expected": "B.", "remedy": "C."}

    @check(**words)  # type: ignore[arg-type]
    def always_finds(trial: Trial) -> Looked:
        """It always finds.

        A check for this test only.
        """
        return looked(1, [{}])

    @check(**words)  # type: ignore[arg-type]
    def never_finds(trial: Trial) -> Looked:
        """It never finds.

        A check for this test only.
        """
        return looked(1)


@pytest.mark.parametrize(("name", "found"), [("always_finds", 5), ("never_finds", 0)])
def test_a_check_that_always_or_never_finds_is_counted_as_one(name: str, found: int, always_and_never: None) -> None:
    plant = Plant(name, "nothing", "N", (1.0, 2.0), 2.0, "a test", plant=as_it_is, sites=("brack",))
    row = measure_plant(plant, 5)
    assert row["sizes"] == [
        {"size": 1.0, "trials": 2, "found": min(found, 2), "crashed": 0},
        {"size": 2.0, "trials": 5, "found": found, "crashed": 0},
    ]


def test_every_check_of_the_catalogue_has_a_plant_and_every_plant_a_check() -> None:
    assert {plant.check_name for plant in PLANTS.values()} == set(catalogue())


def test_every_plant_says_what_it_is_and_why_its_size_matters() -> None:
    for plant in PLANTS.values():
        assert plant.why
        assert ("{size}" in plant.what) == (len(plant.sizes) > 1 or plant.sizes != (1.0,)), plant.key
        assert len(set(plant.sizes)) == len(plant.sizes)


def test_a_plant_whose_size_that_matters_is_not_among_its_sizes_is_refused() -> None:
    with pytest.raises(ValueError, match="among the sizes"):
        Plant("sides_alternate", "a hop", "1", (1.0, 2.0), 3.0, "a test", plant=as_it_is)


@pytest.mark.parametrize(
    "name",
    ["plates_read_zero_unloaded", "marker_gaps_are_short", "session_mass_is_near_enrolment_mass", "sides_alternate"],
)
def test_a_fault_of_the_size_that_matters_is_found_and_the_smallest_is_not(name: str) -> None:
    plant = next(plant for plant in PLANTS.values() if plant.check_name == name)
    ended = {size: report_of(plant, plant.case(0), size).runs[0].status for size in plant.sizes}
    assert ended[plant.matters] == "found"
    if len(plant.sizes) > 1:
        assert ended[plant.sizes[0]] == "pass"


def test_a_case_is_the_same_each_time_and_another_one_is_another() -> None:
    case = Case(3, "corrie")
    one, other = specimen(case), specimen.__wrapped__(case)
    np.testing.assert_array_equal(one.recording.points, other.recording.points)
    np.testing.assert_array_equal(one.recording.analog, other.recording.analog)
    assert specimen(replace(case, number=4)).row.mass_kg != one.row.mass_kg


@pytest.mark.parametrize("what", [w for w in clean_cases((1, 1, 1)) if w[0] != "site" and w[1].site != "tarn"], ids=str)
def test_clean_trials_are_looked_at_and_returned_by_no_check(what: tuple[str, Case]) -> None:
    seen = look_at_clean(what)
    assert seen["looked"]
    assert not seen["crashed"]
    assert [found for found in seen["findings"] if found[1] != Weight.NOTES] == []


def test_intervals_are_those_of_clopper_and_pearson() -> None:
    """Of 0 in n the upper end is 1 - 0.025^(1/n), and the interval of the others is its mirror image."""
    assert interval(0, 60) == pytest.approx((0.0, 1 - 0.025 ** (1 / 60)))
    low, high = interval(57, 60)
    assert interval(3, 60) == pytest.approx((1 - high, 1 - low))


def test_false_alarms_count_data_that_the_check_looked_at_and_each_once() -> None:
    one = {"name": "a", "kind": "running", "looked": ["sides_alternate"], "crashed": [], "findings": []}
    two = {**one, "name": "b", "findings": [["sides_alternate", "returns", "A."], ["sides_alternate", "returns", "B."]]}
    result = {"plants": [], "clean": gathered([one, two]), "real_clean": gathered([])}
    assert false_alarms(result)["sides_alternate"] == (1, 2)
    assert false_alarms(result)["keys_are_unique"] == (0, 0)
    assert [seen for *_, seen in wrong_findings(result)] == ["A.", "B."]


def test_the_page_is_that_of_the_kept_results() -> None:
    assert page.PAGE.read_text(encoding="utf-8") == page.page(page.kept())
    assert causes_page.PAGE.read_text(encoding="utf-8") == causes_page.page(causes_page.kept())


def test_the_kept_results_are_of_the_plants_as_they_are_and_of_every_check() -> None:
    told = {f"{row['check']}: {row['what']}": row for row in page.kept()["plants"]}
    assert told.keys() == PLANTS.keys()
    for key, plant in PLANTS.items():
        assert [one["size"] for one in told[key]["sizes"]] == list(plant.sizes)
        assert (told[key]["matters"], told[key]["why"]) == (plant.matters, plant.why)
    text = page.PAGE.read_text(encoding="utf-8")
    assert [name for name in catalogue() if f"[{name}](checks/{name}.md)" not in text] == []


def test_no_check_crashed_in_the_kept_measurement() -> None:
    result = page.kept()
    assert not any(one["crashed"] for row in result["plants"] for one in row["sizes"])
    assert result["clean"]["crashed"] == result["real_clean"]["crashed"] == []


def test_measuring_one_check_again_changes_its_rows_only() -> None:
    old = page.kept()
    new = {"trials": 1, "plants": [{**old["plants"][0], "why": "again"}], "clean": {}, "real_clean": {}}
    both = page.merged(json.loads(json.dumps(old)), new)
    assert both["clean"] == old["clean"]
    assert len(both["plants"]) <= len(old["plants"])
    assert [row["why"] for row in both["plants"] if row["check"] == old["plants"][0]["check"]] == ["again"]
