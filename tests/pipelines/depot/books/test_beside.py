"""What a delivery was judged beside: who came before counts, and who is due when that changes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines.depot.books.book import Books
from pipelines.depot.books.rows import COPY_OF, Result, TrialVersion
from tests.pipelines.depot.books.rows import a_result, a_trial

TODAY = {"today"}
LATER = "2026-01-02T00:00:00+00:00"


def put(books: Books, *results: Result) -> None:
    """As publishing does: what a result stands beside is noted with it."""
    with books.transaction():
        for result in results:
            books.deliveries.put(result)
            books.beside.note(result.record.delivery_id)


def due(books: Books) -> list[str]:
    return [record.delivery_id for record in books.beside.others(TODAY)]


@pytest.mark.parametrize(
    ("one", "same"),
    [
        (a_trial("brack-001", "T1"), {"trial_id": "T1"}),
        (a_trial("brack-001", "T1", session_id="S7"), {"session_id": "S7"}),
        (a_trial("brack-001", "T1", raw_sha256="x"), {"raw_sha256": "x"}),
    ],
    ids=["id", "session", "file"],
)
def test_of_two_laboratories_with_the_same_the_second_is_told_and_is_due_when_the_first_is_gone(
    books: Books, one: TrialVersion, same: dict[str, str]
) -> None:
    first = a_result("brack-001", one)
    second = a_result("corrie-001", a_trial("corrie-001", "T2", **({"session_id": "S2"} | same)), received_utc=LATER)
    put(books, second)
    assert due(books) == []
    put(books, first)
    assert due(books) == ["corrie-001"], "the first is judged as before: nobody came before it"
    put(books, second)
    assert due(books) == []
    put(books, a_result("brack-001", replace(one, trial_id="T9", session_id="S9", raw_sha256="y")))
    assert due(books) == ["corrie-001"]


def test_at_once_is_in_order_of_laboratory(books: Books) -> None:
    put(books, a_result("corrie-001", a_trial("corrie-001", "T1")), a_result("brack-001", a_trial("brack-001", "T1")))
    assert due(books) == ["corrie-001"]


def test_a_version_that_comes_between_is_another_one_than_was_known(books: Books) -> None:
    put(books, *(a_result(f"brack-00{n}", a_trial(f"brack-00{n}", "T1", standing="returned")) for n in (1, 4)))
    assert due(books) == []
    put(books, a_result("brack-005", a_trial("brack-005", "T1")))
    assert due(books) == [], "it came after"
    put(books, a_result("brack-003", a_trial("brack-003", "T1", standing="returned")))
    assert due(books) == ["brack-004"], "of the versions before only the newest was known"
    put(books, a_result("brack-002", a_trial("brack-002", "T1")))
    assert due(books) == ["brack-003", "brack-004"], "the newest before the third is the second now"


def test_the_same_file_under_the_same_id_is_no_copy(books: Books) -> None:
    one, other = (a_trial(f"brack-00{n}", "T1", raw_sha256="x") for n in (1, 2))
    put(books, a_result("brack-001", one), a_result("brack-002", other))
    before = books.stamps.of_delivery("brack-002")
    put(books, a_result("brack-001", replace(one, raw_sha256="y")))
    put(books, a_result("brack-002", other))
    assert books.stamps.of_delivery("brack-002") == before


def test_a_copy_of_what_is_not_accepted_any_more_is_due(books: Books) -> None:
    one, copy = a_trial("brack-001", "T1"), a_trial("brack-002", "T2", standing="returned")
    put(
        books,
        a_result("brack-001", one),
        a_result("brack-002", copy, trial_stamps={"T2": {COPY_OF: "brack-001/T1"}}),
    )
    assert due(books) == []
    put(books, a_result("brack-001", replace(one, standing="withheld")))
    assert due(books) == ["brack-002"]


def test_what_was_made_with_something_else_is_another_question(books: Books) -> None:
    put(books, a_result("corrie-001", a_trial("corrie-001", "T1"), made="older", received_utc=LATER))
    put(books, a_result("brack-001", a_trial("brack-001", "T1")))
    assert due(books) == []
