"""A text that fits no closed vocabulary is kept out until one person has said yes; nothing of its trial is lost by that."""

from __future__ import annotations

import os
import shutil
import stat
from pathlib import Path

import pytest

from pipelines.assets.run import run
from pipelines.consent.held_texts import FILE
from pipelines.deciding.texts import decide, now, texts_of
from pipelines.depot.books.rows import Decision
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.pool.query import ask
from tests.delivery_builders import STUDY, a_delivery, raw_files
from tests.pipelines.identity.planting import c3d_saying, with_cell
from tests.pipelines.identity.test_nothing_shows import rebagged, standings

REMARK = "wind blew through the open door, redone"
NOTE = "\u0431\u0435\u0433\u0443\u043d \u0443\u0441\u0442\u0430\u043b"  # in another writing: the runner was tired


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A delivery with two harmless texts that no closed vocabulary has: a comment, and a note inside a recording."""
    place = tmp_path_factory.mktemp("texts")
    path, content = c3d_saying(NOTE)
    bag = a_delivery(place / "inbox", replace_files={path: content})
    with_cell(bag, "trials.csv", "comment", REMARK, row=1)
    rebagged(bag)
    told = run(STUDY, place / "inbox", place / "depot", workers=1).text()
    assert "Held for a look: 2 texts" in told
    return place


@pytest.fixture
def depot(taken_in: Path, tmp_path: Path) -> Path:
    shutil.copytree(taken_in, tmp_path, dirs_exist_ok=True)
    return tmp_path / "depot"


def open_to_the_group(depot: Path, text: str) -> list[str]:
    """Files that hold the text and that somebody else than their owner may read."""
    found = []
    for path in (p for p in depot.rglob("*") if p.is_file()):
        shut = any(stat.S_IMODE(os.stat(p).st_mode) & 0o070 == 0 for p in (path, *path.parents[: len(path.parts)]))
        if text.encode() in path.read_bytes() and not shut:
            found.append(path.relative_to(depot).as_posix())
    return found


def allow(depot: Path, text: str) -> None:
    (word,) = [one.word for one in texts_of(str(depot)) if one.text == text]
    decide(str(depot), [word[:8]], now("It tells of nobody.", "Ann"), allowed=True)


def test_the_trials_go_on_and_the_texts_are_only_in_what_is_shut(depot: Path) -> None:
    assert standings(depot) == ["accepted", "accepted"]
    assert {one.text for one in texts_of(str(depot))} == {REMARK, NOTE}
    for text in (REMARK, NOTE):
        assert open_to_the_group(depot, text) == []
    assert stat.S_IMODE((Depot(depot).result("brack-001").local(FILE)).stat().st_mode) == 0o600
    closed = {p.name for p in (Depot(depot).root / "closed" / "brack-001").iterdir()}
    assert len(closed) == 2  # the table with the comment and the recording with the note
    assert not closed & raw_files(depot)


def test_what_is_allowed_comes_in_with_the_next_run_though_the_inbox_is_empty(depot: Path, tmp_path: Path) -> None:
    before = ask(Depot(depot).warehouse, "SELECT * EXCLUDE (code_version) FROM trials ORDER BY trial_id").to_pylist()
    for text in (REMARK, NOTE):
        allow(depot, text)
    (tmp_path / "nothing" / "brack").mkdir(parents=True)
    told = run(STUDY, tmp_path / "nothing", depot, workers=1).text()
    assert "Somebody decided on a text it holds." in told
    assert texts_of(str(depot)) == []
    assert not (Depot(depot).root / "closed" / "brack-001").exists()
    assert not (Depot(depot).result("brack-001").local(FILE)).exists()
    raw = b"".join(p.read_bytes() for p in (Depot(depot).root / "raw").rglob("*") if p.is_file())
    assert REMARK.encode() in raw
    assert NOTE.encode() in raw
    after = ask(Depot(depot).warehouse, "SELECT * EXCLUDE (code_version) FROM trials ORDER BY trial_id").to_pylist()
    assert after == before
    assert run(STUDY, tmp_path / "nothing", depot, workers=1).text().startswith("Nothing new")


def test_what_was_allowed_once_is_not_asked_again(depot: Path, tmp_path: Path) -> None:
    allow(depot, REMARK)
    later = a_delivery(tmp_path / "later", 2, runners=("FS-02",))
    with_cell(later, "trials.csv", "comment", REMARK, row=0)
    rebagged(later)
    run(STUDY, tmp_path / "later", depot, workers=1)
    assert [one.text for one in texts_of(str(depot))] == [NOTE]


def test_what_is_refused_stays_out_and_is_not_asked_again(depot: Path, tmp_path: Path) -> None:
    words = [one.word for one in texts_of(str(depot))]
    decide(str(depot), words, now("Who knows.", "Ann"), allowed=False)
    (tmp_path / "nothing" / "brack").mkdir(parents=True)
    run(STUDY, tmp_path / "nothing", depot, workers=1)
    assert standings(depot) == ["accepted", "accepted"]
    assert texts_of(str(depot)) == []
    assert {one.text for one in texts_of(str(depot), refused=True)} == {REMARK, NOTE}
    assert open_to_the_group(depot, REMARK) == []


@pytest.mark.parametrize("words", [["0000"], [""], ["zzzz"]])
def test_a_word_that_names_no_text_decides_nothing(depot: Path, words: list[str]) -> None:
    with pytest.raises(Unusable, match="no text that is held"):
        decide(str(depot), words, Decision("It tells of nobody.", "Ann", "2026-01-01"), allowed=True)
    with pytest.raises(Unusable, match="name is missing"):
        decide(str(depot), words, Decision("It tells of nobody.", " ", "2026-01-01"), allowed=True)
