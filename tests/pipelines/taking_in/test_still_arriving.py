"""A delivery that is still being copied waits and is told, instead of being stopped for what has not come yet."""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path

import pytest

from pipelines.assets.run import at_work, run
from pipelines.depot.arrivals import Arrival
from pipelines.errors import Unusable
from pipelines.taking_in.batch import work_off
from pipelines.taking_in.still_arriving import SETTLE_VARIABLE, settle_seconds, still_arriving
from pipelines.taking_in.summary import Summary
from tests.delivery_builders import STUDY, a_delivery


def taken_in(inbox: Path, depot: Path, settle_s: float) -> Summary:
    with at_work(STUDY, depot, "tester", inbox, workers=1, settle_s=settle_s) as bench:
        for _ in work_off(bench):
            pass
    return bench.summary


def test_one_that_grows_waits_and_the_next_run_takes_it_in(tmp_path: Path) -> None:
    whole = a_delivery(tmp_path / "made", names=("standing",), zipped=True)
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    (inbox / "brack").mkdir(parents=True)
    content, copy = whole.read_bytes(), inbox / "brack" / whole.name
    copy.write_bytes(content[:1000])
    ended = threading.Event()

    def upload() -> None:
        size = 1000
        while not ended.wait(0.05):
            size += 1
            copy.write_bytes(content[:size])
        copy.write_bytes(content)

    thread = threading.Thread(target=upload)
    thread.start()
    try:
        first = taken_in(inbox, depot, settle_s=0.5)
    finally:
        ended.set()
        thread.join()
    assert first.done == []
    assert "Still being copied into the inbox, waits for the next run: brack/brack-001.zip" in first.text()
    second = taken_in(inbox, depot, settle_s=0.0)
    assert [done.record.status for done in second.done] == ["taken_in"]
    assert second.still_arriving == []


def test_one_with_a_mark_beside_it_waits_as_long_as_the_mark_is_there(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, names=("standing",))
    mark = inbox / "brack" / "brack-001.uploading"
    mark.touch()
    waits = run(STUDY, inbox, depot, "tester", workers=1)
    assert (waits.still_arriving, waits.done, waits.exit_code) == (["brack/brack-001"], [], 0)
    assert waits.not_deliveries == [], "the mark itself is nothing to tell of"
    mark.unlink()
    assert [done.record.status for done in taken_in(inbox, depot, 0.0).done] == ["taken_in"]


def test_one_that_rests_waits_for_nothing_and_a_young_one_is_looked_at_twice(tmp_path: Path) -> None:
    folder = tmp_path / "brack-001"
    folder.mkdir()
    (folder / "bagit.txt").touch()
    arrival = Arrival("brack", folder.name, folder)
    start = time.monotonic()
    assert still_arriving([arrival], 0.3) == set()
    assert time.monotonic() - start >= 0.3
    os.utime(folder / "bagit.txt", (1e9, 1e9))  # as copying with its times does; it changed just now all the same
    start = time.monotonic()
    assert still_arriving([arrival], 0.3) == set()
    assert time.monotonic() - start >= 0.3
    start = time.monotonic()
    assert still_arriving([arrival], 0.2) == set()
    assert time.monotonic() - start < 0.2


@pytest.mark.parametrize("text", ["soon", "-1", "nan", "1e9"])
def test_seconds_that_are_none_are_refused(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SETTLE_VARIABLE, text)
    with pytest.raises(Unusable, match="MANYSTRIDES_SETTLE_S"):
        settle_seconds()
    monkeypatch.delenv(SETTLE_VARIABLE)
    assert settle_seconds() == 2.0
