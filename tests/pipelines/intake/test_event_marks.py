"""What the words of marks in EVENT mean, and from which frame they count."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.event_marks import marks_of, meant

CORPUS = Path(__file__).resolve().parents[4] / "shared" / "c3d_corpus" / "dev"
LEFT, RIGHT = "left", "right"


@pytest.mark.parametrize(
    ("words", "side", "event"),
    [
        ("Left Foot Strike", LEFT, "contact"),
        ("Right Foot Off", RIGHT, "toe_off"),
        ("Left Toe-Off", LEFT, "toe_off"),
        ("Left toe_off 2", LEFT, "toe_off"),
        ("LTO", LEFT, "toe_off"),
        ("RHS", RIGHT, "contact"),
        ("R HS", RIGHT, "contact"),
        ("Heel Strike Right", RIGHT, "contact"),
        ("LeftFootStrike", LEFT, "contact"),
        ("Right Initial Contact", RIGHT, "contact"),
        ("LON", LEFT, "contact"),
        ("ROFF", RIGHT, "toe_off"),
    ],
)
def test_common_spellings_are_understood(words: str, side: str, event: str) -> None:
    assert meant(words) == (side, event)


@pytest.mark.parametrize(
    "words", ["Left Heel Off", "General Foot Strike", "Left Right Foot Strike", "Right LTO", "Left Mid Stance", "", "L"]
)
def test_what_is_no_contact_or_toe_off_of_one_foot_is_none(words: str) -> None:
    assert meant(words) is None


def layout(*events: tuple[float, str, str], first_frame: int = 101, frames: int = 300) -> Any:
    return SimpleNamespace(
        events=events,
        point_rate_hz=100.0,
        header=SimpleNamespace(first_frame=first_frame),
        counts=SimpleNamespace(frames=frames),
    )


def test_marks_count_from_the_first_recorded_frame_unless_only_the_files_own_first_frame_keeps_them_inside() -> None:
    since_recorded = marks_of(layout((3.5, "Foot Off", "Left"), (3.2, "Foot Strike", "Left")))
    assert [(m.event, m.time_s) for m in since_recorded] == [("contact", pytest.approx(2.2)), ("toe_off", 2.5)]
    since_cut = marks_of(layout((0.2, "Foot Strike", "Left"), (0.5, "Foot Off", "Left")))
    assert [m.time_s for m in since_cut] == [0.2, 0.5]


@pytest.mark.skipif(not CORPUS.is_dir(), reason="real recordings are not part of the repository")
@pytest.mark.parametrize(("files", "count"), [("sample_00/Walk1.c3d", 8), ("sample_32/*.c3d", 10)])
def test_marks_of_files_by_several_writers_alternate_between_contact_and_toe_off(files: str, count: int) -> None:
    (file,) = CORPUS.glob(files)
    marks = marks_of(read_c3d(file).layout)
    assert len(marks) == count
    for side in (LEFT, RIGHT):
        kinds = [m.event for m in marks if m.side == side]
        assert all(one != then for one, then in pairwise(kinds))
