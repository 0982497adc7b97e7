"""One habit instead of many faults: nearly all trials since some point, at the same place, and nothing less."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.pages.habits import FEWEST_TRIALS, Habit, habits, steady_place
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.test_pages import read, write
from tests.pipelines.pages.test_round_trip import deliveries, facts

CHECK = "plates_read_zero_unloaded"


def seen(
    trial: str, number: int, place: str | None = None, *, day: int | None = None, status: str | None = None
) -> small.Rows:
    """A trial of mill in one delivery: with a finding at ``place``, or without one and the check ended in ``status``."""
    delivery = f"mill-{number:03d}"
    word = "returned" if place else "accepted"
    rows: small.Rows = {
        "standings": [small.standing(delivery, trial, word, study_day=day)],
        "check_runs": [small.run(delivery, CHECK, trial, status or ("found" if place else "pass"))],
    }
    if place:
        rows["findings"] = [small.finding(f"f-{trial}-{number}", delivery, trial, CHECK, place=place)]
    return rows


def found(tmp_path: Path, *rows: small.Rows, numbers: tuple[int, ...] = (1, 2, 3)) -> list[Habit]:
    return habits(facts(tmp_path, deliveries(*numbers), *rows))


def test_a_fault_in_all_trials_since_a_delivery_is_one_habit(tmp_path: Path) -> None:
    good = [seen(f"g{n}", 1) for n in range(5)]
    bad = [seen(f"b{n}", 2 + n % 2, "plate 2") for n in range(4)]
    (habit,) = found(tmp_path, *good, *bad)
    assert (habit.check_name, habit.where, habit.weight) == (CHECK, "plate 2", "returns")
    assert habit.words == "all 4 trials since delivery mill-002"
    assert sorted(habit.trials) == ["b0", "b1", "b2", "b3"]
    assert habit.remedy.startswith("Remedy")


@pytest.mark.parametrize(("good", "said"), [(1, "4 of 5 trials since delivery mill-002"), (2, None)])
def test_nearly_all_is_enough_and_two_thirds_are_not(tmp_path: Path, good: int, said: str | None) -> None:
    rows = [seen(f"b{n}", 2, "plate 2") for n in range(4)] + [seen(f"g{n}", 2) for n in range(good)]
    rows += [seen(f"old{n}", 1) for n in range(4)]
    assert [h.words for h in found(tmp_path, *rows)] == ([said] if said else [])


@pytest.mark.parametrize(("count", "habits_found"), [(FEWEST_TRIALS - 1, 0), (FEWEST_TRIALS, 1)])
def test_fewer_trials_are_no_habit(tmp_path: Path, count: int, habits_found: int) -> None:
    assert len(found(tmp_path, *(seen(f"b{n}", 1, "plate 2") for n in range(count)))) == habits_found


def test_a_fault_that_was_always_there_is_told_so(tmp_path: Path) -> None:
    (habit,) = found(tmp_path, *(seen(f"b{n}", 1 + n, "plate 1") for n in range(3)))
    assert habit.words == "all 3 trials from the beginning"


def test_another_plate_is_another_fault(tmp_path: Path) -> None:
    rows = [seen(f"b{n}", 1, f"plate {1 + n % 2}") for n in range(4)]
    assert found(tmp_path, *rows) == []


def test_trials_the_check_could_not_look_at_do_not_count(tmp_path: Path) -> None:
    rows = [seen(f"b{n}", 2, "plate 2") for n in range(3)]
    rows += [seen(f"standing{n}", 2, status="skipped") for n in range(5)] + [seen("g", 1)]
    (habit,) = found(tmp_path, *rows)
    assert habit.words == "all 3 trials since delivery mill-002"


def test_where_the_deliveries_do_not_set_them_apart_the_study_day_does(tmp_path: Path) -> None:
    rows = [seen(f"b{n}", 1, "plate 2", day=40 + n) for n in range(4)]
    rows += [seen(f"g{n}", 1, day=n) for n in range(8)]
    (habit,) = found(tmp_path, *rows)
    assert habit.words == "all 4 trials since study day 40"


def test_a_mended_trial_is_no_longer_part_of_the_habit(tmp_path: Path) -> None:
    rows = [seen(f"b{n}", 1, "plate 2") for n in range(3)]
    for row in rows[0]["standings"]:
        row["superseded"] = True
    assert found(tmp_path, *rows, seen("b0", 2)) == []


@pytest.mark.parametrize(
    ("place", "steady"),
    [
        ("plate 2", "plate 2"),
        ("calcaneus_left, frame 12", "calcaneus_left"),
        ("calcaneus_left, frames 100 to 140", "calcaneus_left"),
        ("a to b, from frame 9", "a to b"),
        ("line 7, column mass_kg", "column mass_kg"),
        ("line 7", None),
        ("trial_id T1, column sidecar", "column sidecar"),
        ("session_id S1, condition shod", "condition shod"),
        ("footfall 3, left", "left"),
        ("plate 1, channel Fz", "plate 1, channel Fz"),
        (None, None),
    ],
)
def test_what_differs_from_trial_to_trial_is_no_part_of_the_place(place: str | None, steady: str | None) -> None:
    assert steady_place(place) == steady


def test_the_pages_tell_a_habit_once_and_list_its_trials(tmp_path: Path) -> None:
    rows = small.merged(small.study_rows(), deliveries(1, 2), *(seen(f"b{n}", 2, "plate 2") for n in range(4)))
    folder = write(tmp_path, rows)
    for page in ("checks.html", "sites/mill.html"):
        words = " ".join(read(folder / page).words.split())
        assert "Not so in all 4 trials from the beginning, at plate 2." in words
        assert "b0, b1, b2, b3" in words
    assert "Habits" not in read(folder / "sites" / "way.html").words
