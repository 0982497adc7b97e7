"""What the check at the site says goes back, why, and what is to be done."""

from __future__ import annotations

from pipelines.lab.check_text import by_trial


def _finding(name: str, trial: str, *, of: str | None = None, weight: str = "returns") -> dict[str, object]:
    return {
        "finding_id": f"{name} {trial}",
        "check_name": name,
        "trial_id": trial,
        "place": None,
        "file": None,
        "seen": f"{name} in {trial}.",
        "expected": f"No {name}.",
        "remedy": f"Correct {name}.",
        "weight": weight,
        "consequence_of": of,
    }


def test_each_trial_has_its_checks_with_what_was_seen_and_what_to_do_and_consequences_are_left_out() -> None:
    told = list(
        by_trial(
            [
                _finding("gap", "T1"),
                _finding("gap", "T3"),
                _finding("jump", "T3", of="axes T3"),
                _finding("axes", "T3"),
                _finding("hum", "T1", weight="notes"),
            ]
        )
    )
    assert told == [
        "What goes back, why, and what to do",
        "  T1",
        "    gap",
        "      seen      gap in T1.",
        "      expected  No gap.",
        "      do        Correct gap.",
        "  T3",
        "    axes (explains 1 other finding)",
        "      seen      axes in T3.",
        "      expected  No axes.",
        "      do        Correct axes.",
        "    gap",
        "      seen      gap in T3.",
        "      expected  No gap.",
        "      do        As for T1, above.",
    ]


def test_where_nothing_goes_back_nothing_is_said() -> None:
    assert list(by_trial([_finding("hum", "T1", weight="notes")])) == []
