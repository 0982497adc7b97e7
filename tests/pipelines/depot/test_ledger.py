"""The ledger: whole after use, and every tampering found."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.depot.ledger import Head, Ledger, verify


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    ledger = Ledger(tmp_path / "ledger.jsonl", "ann")
    for number in range(4):
        ledger.write("taken_in", f"brack-{number:03d}", "It arrived.", accepted=number)
    return ledger


def lines(ledger: Ledger) -> list[str]:
    return ledger.path.read_text().splitlines(keepends=True)


def test_a_ledger_that_was_only_appended_to_is_whole(ledger: Ledger) -> None:
    assert verify(ledger.path, ledger.head()) == []
    entry = json.loads(lines(ledger)[2])
    assert (entry["sequence"], entry["actor"], entry["about"], entry["details"]) == (
        3,
        "ann",
        "brack-002",
        {"accepted": 2},
    )
    assert entry["utc"].endswith("+00:00")


def test_a_ledger_that_is_not_there_is_whole_unless_it_once_was(tmp_path: Path) -> None:
    assert verify(tmp_path / "none.jsonl") == []
    assert [p.line for p in verify(tmp_path / "none.jsonl", Head(3, "a" * 64))] == [1]


def test_a_changed_word_is_found_in_its_line(ledger: Ledger) -> None:
    text = lines(ledger)
    text[1] = text[1].replace('"accepted":1', '"accepted":9')
    ledger.path.write_text("".join(text))
    assert [(p.line, "changed" in p.text) for p in verify(ledger.path)] == [(2, True)]


def test_a_changed_line_with_a_new_hash_is_found_by_the_line_after_it(ledger: Ledger) -> None:
    text = lines(ledger)
    entry = json.loads(text[1])
    del entry["hash"]
    entry["actor"] = "mallory"
    content = json.dumps(entry, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    entry["hash"] = hashlib.sha256(content.encode()).hexdigest()
    text[1] = json.dumps(entry) + "\n"
    ledger.path.write_text("".join(text))
    assert [p.line for p in verify(ledger.path)] == [3]


def test_a_removed_line_is_found(ledger: Ledger) -> None:
    text = lines(ledger)
    ledger.path.write_text("".join(text[:1] + text[2:]))
    assert [p.line for p in verify(ledger.path)] == [2]


def test_lines_cut_off_at_the_end_are_found_against_how_far_the_ledger_reached(ledger: Ledger) -> None:
    reached = ledger.head()
    ledger.path.write_text("".join(lines(ledger)[:3]))
    assert verify(ledger.path) == []
    assert ["missing at the end" in p.text for p in verify(ledger.path, reached)] == [True]


def test_a_torn_last_line_is_found_and_then_repaired_with_a_note(ledger: Ledger) -> None:
    whole = ledger.path.read_bytes()
    ledger.path.write_bytes(whole + b'{"sequence":5,"utc":"20')
    assert [(p.line, "torn" in p.text) for p in verify(ledger.path)] == [(5, True)]
    ledger.write("taken_in", "brack-009", "It arrived.")
    assert ledger.path.read_bytes().startswith(whole)
    assert verify(ledger.path) == []
    repaired, written = (json.loads(line) for line in lines(ledger)[4:])
    assert (repaired["what"], repaired["details"]["removed"]) == ("repaired", '{"sequence":5,"utc":"20')
    assert written["about"] == "brack-009"


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_no_single_changed_byte_goes_unseen(data: st.DataObject, tmp_path_factory: pytest.TempPathFactory) -> None:
    ledger = Ledger(tmp_path_factory.mktemp("ledger") / "ledger.jsonl", "ann")
    for number in range(3):
        ledger.write("taken_in", f"brack-{number:03d}", "It arrived.")
    reached, content = ledger.head(), bytearray(ledger.path.read_bytes())
    place = data.draw(st.integers(0, len(content) - 1))
    content[place] = data.draw(st.integers(0, 255).filter(lambda b: b != content[place]))
    ledger.path.write_bytes(bytes(content))
    assert verify(ledger.path, reached)
