"""docs/how_to/your_own_study.md followed to the letter with two real recordings, from nothing to outcomes (../shared)."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path
from subprocess import CompletedProcess

import duckdb
import pytest

from pipelines.study.drafts import OPEN
from tests.command_line import command

REPO = Path(__file__).resolve().parents[2]
PAGE = REPO / "docs" / "how_to" / "your_own_study.md"
SHARED = REPO.parent / "shared"
RECORDINGS = {
    "belt/running.c3d": SHARED / "real_treadmill" / "r02_run25_landmarks.c3d",
    "belt/standing.c3d": SHARED / "real_treadmill" / "r02_standing.c3d",
    "way/running.c3d": SHARED / "real_run" / "run.c3d",
    "way/standing.c3d": SHARED / "real_run" / "static.c3d",
}
pytestmark = pytest.mark.skipif(not SHARED.is_dir(), reason=f"{SHARED} is not on this machine")


def _steps() -> Iterator[tuple[str, str]]:
    """What the page shows, in order: ("sh", a command) or (name of a table, its text)."""
    page = PAGE.read_text(encoding="utf-8")
    for block in re.finditer(r"```(sh|csv)\n(.*?)```", page, re.DOTALL):
        if block[1] == "sh":
            yield from (("sh", line) for line in block[2].splitlines())
        else:
            yield re.findall(r"`((?:belt|way)/\w+\.csv)`", page[: block.start()])[-1], block[2]


def _carried_out(line: str, folder: Path) -> CompletedProcess[str] | None:
    words = shlex.split(line)
    if words[0] == "manystrides":
        return command(*words[1:], cwd=folder)
    assert words[0] == "cp", line
    for recording in folder.glob(words[1]):
        shutil.copy(recording, folder / words[2])
    return None


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, CompletedProcess[str]]]:
    """The folder afterwards, and what each command said, by its first two words."""
    folder = tmp_path_factory.mktemp("own")
    for name, recording in RECORDINGS.items():
        (folder / name).parent.mkdir(exist_ok=True)
        place = folder / "recordings" / name
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(recording, place)
    answers: dict[str, CompletedProcess[str]] = {}
    for kind, text in _steps():
        if kind != "sh":
            (folder / kind).write_text(text, encoding="utf-8")
        elif (done := _carried_out(text, folder)) is not None:
            answers[" ".join(text.split()[1:3])] = done
            if text.split()[1] == "profile":  # somebody who knows the site reads the open lines, and they are right
                profile = folder / text.split("--to ")[1]
                profile.write_text(profile.read_text(encoding="utf-8").replace(f"{OPEN} ", ""), encoding="utf-8")
    return folder, answers


def test_every_command_of_the_page_answers(said: tuple[Path, dict[str, CompletedProcess[str]]]) -> None:
    codes = {words: done.returncode for words, done in said[1].items()}
    assert codes.pop("run --study") == 4, said[1]["run --study"].stderr
    assert set(codes.values()) == {0}, codes


def test_contact_times_of_the_belt_are_the_published_ones(said: tuple[Path, dict[str, CompletedProcess[str]]]) -> None:
    """Fukuchi, Fukuchi & Duarte (2017), PeerJ 5:e3298, runner 2: 333.1 and 333.3 ms at 20 N below 50 Hz."""
    with duckdb.connect(str(said[0] / "my_study" / "depot" / "warehouse.duckdb"), read_only=True) as warehouse:
        found = warehouse.execute(
            "SELECT trial_id, side, count(*), 1000 * avg(contact_time_s) FROM footfalls GROUP BY ALL ORDER BY ALL"
        ).fetchall()
    assert [row[:3] for row in found] == [("OS-01-w0-run-1", "left", 37), ("OS-01-w0-run-1", "right", 37)]
    assert [row[3] for row in found] == pytest.approx([333.1, 333.3], abs=0.2)


def test_the_runway_goes_back_for_the_fault_it_has(said: tuple[Path, dict[str, CompletedProcess[str]]]) -> None:
    """Its toe and fifth-metatarsal labels are exchanged in 43 of 123 frames, as its source left them."""
    told = said[1]["run --study"].stdout
    assert "exchanging second_metatarsal_head_right (label RTOE) and fifth_metatarsal_head_right" in told
    assert "43 of 123 frames" in told
