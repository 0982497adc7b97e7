"""A delivery that was stopped is opened again when its bytes or what it was stopped with change, and else never."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
import yaml

from pipelines.taking_in.plan import NOTHING_DUE
from tests.delivery_builders import a_delivery, tables
from tests.depot_books import ledger_lines, records
from tests.pipelines.taking_in.a_place import edit, go, planned, with_study


@pytest.fixture(scope="module")
def stopped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with inbox, depot and study: one delivery without a number, and one that came twice."""
    place = with_study(tmp_path_factory.mktemp("stopped"))
    a_delivery(place / "inbox", None, arrives_as="no-number", names=("standing",))
    a_delivery(place / "inbox", 1, names=("standing",))
    a_delivery(place / "inbox", 1, names=("standing",), arrives_as="once-more")
    told = go(place)
    assert [d.record.status for d in told.done] == ["taken_in", "repeat", "stopped"]
    return place


@pytest.fixture
def place(stopped: Path, tmp_path: Path) -> Path:
    target = shutil.copytree(stopped, tmp_path / "place")  # with the times of its files, which count
    assert planned(target) == NOTHING_DUE
    return target


def test_what_it_was_not_stopped_with_opens_it_no_more(place: Path) -> None:
    lines = len(ledger_lines(place / "depot"))
    edit(place, "marker_rate_hz: 200", "marker_rate_hz: 201", "sites/tarn.yaml")
    edit(place, "sites:\n", "sites:\n  dale: {description: A fourth., profile: sites/dale.yaml}\n")
    profile = yaml.safe_load((place / "sites" / "corrie.yaml").read_text(encoding="utf-8"))
    (place / "sites" / "dale.yaml").write_text(yaml.safe_dump(profile | {"site": "dale"}), encoding="utf-8")
    assert "and judge nothing again" in planned(place)
    assert not go(place).done
    told = [line["what"] for line in ledger_lines(place / "depot")[lines:]]
    assert set(told) <= {"built"}


def test_new_dates_of_the_same_bytes_are_only_remembered(place: Path) -> None:
    lines = len(ledger_lines(place / "depot"))
    for path in (place / "inbox" / "brack" / "no-number").rglob("*"):
        os.utime(path)
    assert "brack/no-number: It lies in the inbox with other files" in planned(place)
    assert not go(place).done
    assert planned(place) == NOTHING_DUE
    assert len(ledger_lines(place / "depot")) == lines


def test_what_it_was_stopped_with_opens_it_once_and_is_told(place: Path) -> None:
    edit(place, "title: The Fellside footwear study\n", "title: Renamed\n")
    why = "It was stopped before. The title of the study changed."
    told = planned(place)
    assert f"brack/no-number: {why}" in told
    assert "New in the inbox" not in told
    assert "once-more" not in told
    (was,) = (r.received_utc for r in records(place / "depot") if r.arrival == "brack/no-number")
    (done,) = go(place).done
    assert (done.record.status, done.why) == ("stopped", why)
    assert done.record.received_utc == was, "looked at once more, it has waited since the day on which it came"
    assert ledger_lines(place / "depot")[-2]["why"] == why
    assert planned(place) == NOTHING_DUE
    assert not go(place).done


def test_mended_in_its_place_it_is_taken_in(place: Path) -> None:
    shutil.rmtree(place / "inbox" / "brack" / "no-number")
    a_delivery(place / "inbox", 2, arrives_as="no-number", runners=("FS-02",), names=("standing",))
    (done,) = go(place).done
    assert (done.record.delivery_id, done.record.status) == ("brack-002", "taken_in")
    assert set(tables(place / "depot")) == {"brack-001", "brack-001.repeat.once-more", "brack-002"}
