"""What deliveries lend each other: who took something that nobody, or another one, gives now is due, and nobody else."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines.depot.books.book import Books
from pipelines.depot.books.rows import (
    BORROWED_POSTURE,
    BORROWED_REFERENCES,
    GIVES_POSTURE,
    GIVES_REFERENCES,
    POSTURE_OF_SESSION,
    Record,
    Result,
)
from tests.pipelines.depot.books.rows import a_result, a_trial

TODAY = {"today"}


@pytest.fixture(
    params=[(GIVES_POSTURE, BORROWED_POSTURE), (GIVES_REFERENCES, BORROWED_REFERENCES)], ids=["posture", "references"]
)
def words(request: pytest.FixtureRequest) -> tuple[str, str]:
    return request.param


def put(books: Books, *results: Result) -> None:
    with books.transaction():
        for result in results:
            books.deliveries.put(result)


def due(books: Books, words: tuple[str, str]) -> list[str]:
    asked = books.leaning.on_other_postures if words[0] == GIVES_POSTURE else books.leaning.on_other_references
    found: list[Record] = asked(TODAY)
    return [record.delivery_id for record in found]


def test_who_took_what_the_newest_other_gives_is_not_due_and_who_took_something_else_is(
    books: Books, words: tuple[str, str]
) -> None:
    gives, borrowed = words
    giving = a_trial("brack-001", "S", kind="standing", gives_posture=True)
    put(
        books,
        a_result("brack-001", giving, trial_stamps={"S": {gives: "p1"}}),
        a_result("brack-002", a_trial("brack-002", "R"), trial_stamps={"R": {borrowed: "p1"}}),
        a_result("brack-003", a_trial("brack-003", "Q", session_id="S9"), trial_stamps={"Q": {borrowed: ""}}),
        a_result("brack-004", a_trial("brack-004", "O"), trial_stamps={"O": {"posture": "own", "references": "own"}}),
    )
    assert due(books, words) == []
    assert books.leaning.lenders() == {"brack-002": {"brack-001"}}
    put(books, a_result("brack-001", giving, trial_stamps={"S": {gives: "p2"}}))
    assert due(books, words) == ["brack-002"], "not who has its own, nor another session"
    put(books, a_result("brack-001", replace(giving, standing="returned", gives_posture=False)))
    assert due(books, words) == ["brack-002"], "nobody gives it now"
    put(books, a_result("brack-002", a_trial("brack-002", "R"), trial_stamps={"R": {borrowed: ""}}))
    assert due(books, words) == []
    put(books, a_result("brack-001", giving, trial_stamps={"S": {gives: "p1"}}))
    assert due(books, words) == ["brack-002"], "somebody gives something that it did without"


def test_of_several_that_give_the_newest_counts_and_none_that_was_made_with_something_else(
    books: Books, words: tuple[str, str]
) -> None:
    gives, borrowed = words
    one, other = (a_trial(f"brack-00{n}", f"S{n}", kind="standing", gives_posture=True) for n in (1, 3))
    newer = a_result("brack-003", other, trial_stamps={"S3": {gives: "p3"}})
    put(
        books,
        a_result("brack-001", one, trial_stamps={"S1": {gives: "p1"}}),
        a_result("brack-002", a_trial("brack-002", "R"), trial_stamps={"R": {borrowed: "p1"}}),
        newer,
    )
    assert due(books, words) == ["brack-002"]
    put(books, a_result("brack-003", other, made="older", trial_stamps={"S3": {gives: "p3"}}))
    assert due(books, words) == []


def test_a_posture_may_be_that_of_another_session_which_the_trial_names(books: Books) -> None:
    giving = a_result(
        "brack-001", a_trial("brack-001", "S", gives_posture=True), trial_stamps={"S": {GIVES_POSTURE: "p1"}}
    )
    stamps = {"R": {BORROWED_POSTURE: "p1", POSTURE_OF_SESSION: "S1"}}
    put(books, giving, a_result("brack-002", a_trial("brack-002", "R", session_id="S2"), trial_stamps=stamps))
    assert due(books, (GIVES_POSTURE, BORROWED_POSTURE)) == []
    assert books.leaning.lenders() == {"brack-002": {"brack-001"}}
    put(books, replace(giving, trial_stamps={"S": {GIVES_POSTURE: "p2"}}))
    assert due(books, (GIVES_POSTURE, BORROWED_POSTURE)) == ["brack-002"]


def test_references_are_taken_from_the_newest_other_delivery_of_the_laboratory(books: Books) -> None:
    put(
        books,
        *(
            a_result(f"brack-00{n}", a_trial(f"brack-00{n}", f"T{n}"), trial_stamps={f"T{n}": {GIVES_REFERENCES: "r"}})
            for n in (1, 2, 3)
        ),
    )
    asked = books.leaning.newest_references
    assert asked(TODAY, "brack", "brack-001", ["S1", "S9"]) == {"S1": "brack-003"}
    assert asked(TODAY, "brack", "brack-003", ["S1"]) == {"S1": "brack-002"}
    assert asked(TODAY, "corrie", "corrie-001", ["S1"]) == {}
