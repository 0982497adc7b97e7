"""What the check at the laboratory says is to be done."""

from __future__ import annotations

from pipelines.lab.check_text import remedies


def _finding(name: str, trial: str, *, of: str | None = None, weight: str = "returns") -> dict[str, object]:
    return {
        "finding_id": f"{name} {trial}",
        "check_name": name,
        "trial_id": trial,
        "file": None,
        "remedy": f"Mend {name}.",
        "weight": weight,
        "consequence_of": of,
    }


def test_what_explains_most_is_to_be_mended_first_and_consequences_not_at_all() -> None:
    told = list(
        remedies(
            [
                _finding("gap", "T1"),
                _finding("gap", "T2"),
                _finding("jump", "T3", of="axes T3"),
                _finding("axes", "T3"),
                _finding("hum", "T1", weight="notes"),
            ]
        )
    )
    assert told == [
        "What to do, what explains most first",
        "  T3; explains 1 other finding",
        "    Mend axes.",
        "  T1, T2",
        "    Mend gap.",
    ]


def test_where_nothing_is_to_be_mended_nothing_is_said() -> None:
    assert list(remedies([_finding("hum", "T1", weight="notes")])) == []
