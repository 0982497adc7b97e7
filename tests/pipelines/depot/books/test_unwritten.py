"""The books of a check at the laboratory answer as the empty books of a depot do, and ask to be asked in the same way."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipelines.depot.books.book import Books
from pipelines.depot.books.opening import open_books
from pipelines.depot.books.unwritten import Unwritten
from tests.delivery_builders import REPO

#: What a question may be asked with, by the name of its parameter.
_ASKED: dict[str, Any] = {
    "delivery_id": "brack-001",
    "site": "brack",
    "fingerprint": "f" * 64,
    "arrival": "brack/brack-001.zip",
    "number": 1,
    "came": None,
    "ids": ["FS-B-01-w0"],
    "shas": ["a" * 64],
    "cells": ["c"],
    "made": {"word"},
    "sessions": ["FS-B-01-w0"],
    "runners": ["FS-B-01"],
    "but": None,
    "files": {"FS-B-01-w0": ["a" * 64]},
    "rows": {("participants", "FS-B-01"): "word"},
    "trial_ids": ["FS-B-01-w0"],
    "words": ["w"],
    "wanted": None,
}


def _questions() -> list[tuple[str, str]]:
    parts = vars(Unwritten())
    return [
        (name, question)
        for name, part in parts.items()
        for question, _ in inspect.getmembers(type(part), inspect.isfunction)
        if not question.startswith("_") and question != "word"  # a word hangs on the key
    ]


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Books]:
    books = open_books(tmp_path_factory.mktemp("empty"))
    yield books
    books.close()


@pytest.mark.parametrize(("part", "question"), _questions())
def test_each_answer_is_that_of_empty_books(empty: Books, part: str, question: str) -> None:
    own, theirs = getattr(getattr(Unwritten(), part), question), getattr(getattr(empty, part), question)
    assert inspect.signature(own) == inspect.signature(theirs)
    asked = {name: _ASKED[name] for name in inspect.signature(own).parameters}
    answer, expected = own(**asked), theirs(**asked)
    if isinstance(expected, Iterator):
        answer, expected = list(answer), list(expected)
    assert (answer, type(answer)) == (expected, type(expected))


def test_they_are_of_no_study_and_know_a_text_again_only_themselves(tmp_path: Path) -> None:
    Unwritten().refuse_other_study("anything", tmp_path)
    books = Unwritten()
    assert books.texts.word("left foot ") == books.texts.word("left foot") != books.texts.word("right foot")
    assert books.texts.word("left foot") != Unwritten().texts.word("left foot")


def test_what_they_were_not_made_for_is_a_fault_and_no_answer() -> None:
    with pytest.raises(AttributeError):
        Unwritten().deliveries.all()  # type: ignore[attr-defined]


#: Modules by which one delivery is judged, at the depot and at the laboratory.
_JUDGE = ("taking_in/gating", "taking_in/naming", "taking_in/later_rows", "taking_in/beyond_trials", "depot/consents")
#: Asked of what came before alone, or of a delivery that the depot holds already.
_ONLY_THE_DEPOTS = {
    ("deliveries", "named"),  # of those in which a shape was found
    ("files", "named"),  # the same
    ("gates", "resting_on_less"),  # which deliveries a run judges again
    ("gates", "naming"),
    ("trials", "of_delivery"),
}


def test_a_question_that_judging_comes_to_ask_is_answered_by_them_or_is_only_the_depots() -> None:
    files = [REPO / "pipelines" / f"{name}.py" for name in _JUDGE]
    files += [*(REPO / "pipelines" / "judging").glob("*.py")]
    asked = {(m[1], m[2]) for file in files for m in re.finditer(r"books\.(\w+)\.(\w+)\(", file.read_text("utf-8"))}
    assert ("trials", "known_before") in asked
    known = {*_questions(), ("texts", "word")}
    assert asked - known - _ONLY_THE_DEPOTS == set()
