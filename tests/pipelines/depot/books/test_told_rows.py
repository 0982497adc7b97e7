"""Rows of sessions and runners in several deliveries: who was judged with another than counts now is due, nobody else."""

from __future__ import annotations

from dataclasses import replace

from pipelines.depot.books.book import Books
from pipelines.depot.books.rows import Result, ToldRow
from tests.pipelines.depot.books.rows import a_result, a_trial

TODAY = {"today"}
ROW = ("sent_sessions", "S1")


def told(number: int, sent: str, *, gives: bool = True, took: str = "", site: str = "brack") -> Result:
    """A delivery that sent the row of one session, with what it was judged with."""
    name = f"{site}-{number:03d}"
    result = a_result(name, a_trial(name, f"T{number}"))
    return replace(result, told_rows={ROW: ToldRow(sent, sent if gives else "", took)})


def due(books: Books, *results: Result) -> list[str]:
    with books.transaction():
        for result in results:
            books.deliveries.put(result)
    return [record.delivery_id for record in books.told_rows.on_other_rows(TODAY)]


def test_who_sent_another_row_than_a_later_delivery_gives_is_due_until_it_took_it(books: Books) -> None:
    assert due(books, told(1, "a"), told(2, "a"), told(1, "c", site="corrie")) == []
    assert due(books, told(3, "b", gives=False)) == [], "no trial is accepted with it"
    assert due(books, told(3, "b")) == ["brack-001", "brack-002"], "not of another site"
    assert due(books, told(1, "a", took="b"), told(2, "a", took="b")) == []
    assert books.told_rows.lenders()["brack-001"] == {"brack-003"}
    assert due(books, told(4, "d")) == ["brack-001", "brack-002", "brack-003"]
    assert books.told_rows.later(TODAY, "brack", 1, {ROW: "a"}) == {ROW: [("brack-003", "b"), ("brack-004", "d")]}
    assert books.told_rows.later(TODAY, "brack", 3, {ROW: "d"}) == {}
    assert due(books, *(told(n, "a", took="b,d") for n in (1, 2)), told(3, "b", took="d")) == []
    assert due(books, told(5, "d")) == [], "it tells nothing else than the one before"


def test_who_took_a_row_that_nobody_gives_now_is_due_and_who_took_what_it_sent_itself_is_not(books: Books) -> None:
    assert due(books, told(1, "a", took="b"), told(2, "b")) == []
    assert due(books, told(2, "b", gives=False)) == ["brack-001"]
    assert due(books, told(1, "a")) == []
    assert due(books, told(2, "a")) == []
    other_made = replace(told(2, "b"), stamps={**told(2, "b").stamps, "made": "yesterday"})
    assert due(books, other_made) == [], "it waits until the other is judged again"
    assert books.told_rows.later(TODAY, "brack", 1, {ROW: "a"}) == {}
