"""The ledger: whole after use, guarded by its database, and every tampering by hand found."""

from __future__ import annotations

import contextlib
import hashlib
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from pipelines.depot.books.book import Books
from pipelines.depot.books.opening import open_books
from pipelines.depot.books.tables import LEDGER
from pipelines.depot.ledger import Entry, Head, Ledger, Reached, Wanted, verify


def fill(books: Books, lines: int = 4) -> Ledger:
    ledger = Ledger(books, "ann")
    for number in range(1, lines + 1):
        ledger.write("taken_in", f"brack-{number:03d}", "It arrived.", accepted=number)
    return ledger


@pytest.fixture
def ledger(books: Books) -> Ledger:
    return fill(books)


@contextlib.contextmanager
def by_hand(books: Books) -> Iterator[sa.Connection]:
    """Somebody who may write to the database takes the guards away and does what they like."""
    triggers = {
        "sqlite": [
            "DROP TRIGGER ledger_no_change",
            "DROP TRIGGER ledger_no_removal",
            "DROP TRIGGER ledger_only_at_the_end",
        ],
        "postgresql": ["ALTER TABLE ledger DISABLE TRIGGER USER"],
    }[books.engine.dialect.name]
    with books.engine.begin() as connection:
        for statement in triggers:
            connection.exec_driver_sql(statement)
        yield connection


def whole(books: Books, *reached: Reached) -> bool:
    return not verify(books.ledger.entries(), reached)


def test_a_ledger_that_was_only_appended_to_is_whole(books: Books, ledger: Ledger) -> None:
    assert whole(books, Reached(books.ledger.head(), "the last build"))
    assert books.ledger.guarded()
    entry = list(books.ledger.entries())[2]
    assert (entry.sequence, entry.actor, entry.what, entry.about) == (3, "ann", "taken_in", "brack-003")
    assert entry.details == {"accepted": 3}


def test_the_hash_of_a_line_is_that_of_its_json_without_the_hash(books: Books, ledger: Ledger) -> None:
    first, second = list(books.ledger.entries())[:2]
    content = json.loads(second.line())
    told = content.pop("hash")
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    assert told == hashlib.sha256(text.encode()).hexdigest()
    assert (content["previous"], first.previous) == (first.hash, "0" * 64)


def test_an_empty_ledger_is_whole_unless_it_once_was_not(books: Books) -> None:
    assert whole(books)
    assert not whole(books, Reached(Head(1, "a" * 64), "the last build"))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE ledger SET actor = 'ben' WHERE sequence = 2",
        "DELETE FROM ledger WHERE sequence = 4",
        "INSERT INTO ledger SELECT sequence + 7, utc, actor, what, about, why, details, previous, hash FROM ledger",
    ],
)
def test_the_database_refuses_to_change_the_ledger(books: Books, ledger: Ledger, statement: str) -> None:
    with books.engine.connect() as connection, pytest.raises(sa.exc.DBAPIError, match="append-only"):
        connection.exec_driver_sql(statement)
    assert whole(books)


def test_no_line_can_be_replaced_in_passing(tmp_path: Path) -> None:
    books = open_books(tmp_path)
    fill(books)
    with books.engine.connect() as connection, pytest.raises(sa.exc.DBAPIError, match="append-only"):
        connection.exec_driver_sql(
            "INSERT OR REPLACE INTO ledger SELECT sequence, utc, 'ben', what, about, why, details, previous, hash "
            "FROM ledger WHERE sequence = 4"
        )
    books.close()


def test_guards_that_were_taken_away_are_missed(books: Books, ledger: Ledger) -> None:
    with by_hand(books):
        pass
    assert not books.ledger.guarded()


def test_a_changed_word_is_found_in_its_line(books: Books, ledger: Ledger) -> None:
    with by_hand(books) as connection:
        connection.execute(sa.update(LEDGER).where(LEDGER.c.sequence == 2).values(actor="ben"))
    assert [(p.line, "changed" in p.text) for p in verify(books.ledger.entries())] == [(2, True)]


def test_a_changed_line_with_a_new_hash_is_found_by_the_line_after_it(books: Books, ledger: Ledger) -> None:
    entry = replace(list(books.ledger.entries())[1], actor="ben")
    with by_hand(books) as connection:
        values = {"actor": "ben", "hash": entry.expected_hash()}
        connection.execute(sa.update(LEDGER).where(LEDGER.c.sequence == 2).values(**values))
    assert [p.line for p in verify(books.ledger.entries())] == [3]


def test_a_removed_line_is_found(books: Books, ledger: Ledger) -> None:
    with by_hand(books) as connection:
        connection.execute(sa.delete(LEDGER).where(LEDGER.c.sequence == 2))
    assert [p.line for p in verify(books.ledger.entries())] == [2]


def test_lines_cut_off_at_the_end_are_found_against_who_knew_how_far_it_reached(books: Books, ledger: Ledger) -> None:
    reached = Reached(books.ledger.head(), "release-0001")
    with by_hand(books) as connection:
        connection.execute(sa.delete(LEDGER).where(LEDGER.c.sequence == 4))
    assert whole(books)
    (problem,) = verify(books.ledger.entries(), [reached])
    assert "missing at the end" in problem.text
    assert "release-0001" in problem.text


def test_a_ledger_written_anew_is_found_against_who_knew_it(books: Books, ledger: Ledger) -> None:
    reached = Reached(books.ledger.head(), "release-0001")
    with by_hand(books) as connection:
        connection.execute(sa.delete(LEDGER))
    Ledger(books, "ben").write("taken_in", "brack-001", "It arrived.")
    fill(books, 5)
    assert whole(books)
    assert ["release-0001 knew" in p.text for p in verify(books.ledger.entries(), [reached])] == [True]


def test_a_line_is_there_only_if_what_it_tells_is(books: Books, ledger: Ledger) -> None:
    with contextlib.suppress(ZeroDivisionError), books.transaction():
        ledger.write("taken_in", "brack-009", "It arrived.")
        raise ZeroDivisionError
    assert not books.ledger.knows("brack-009")
    assert books.ledger.head().sequence == 4


def test_the_cost_of_a_line_does_not_grow_with_the_ledger(tmp_path: Path) -> None:
    """Counted in steps of the database's own machine, not in time."""
    books = open_books(tmp_path)
    ledger = Ledger(books, "ann")
    steps: list[int] = []
    for lines in (10, 1000):
        with books.transaction():
            for _ in range(lines):
                ledger.write("built", "depot", "Something changed.")
        with books.transaction():
            counted = [0]

            def count(counted: list[int] = counted) -> int:
                counted[0] += 1
                return 0

            driver = books.writer().connection.driver_connection
            assert isinstance(driver, sqlite3.Connection)
            driver.set_progress_handler(count, 1)
            ledger.write("built", "depot", "Something changed.")
            driver.set_progress_handler(None, 1)
            steps.append(counted[0])
    books.close()
    assert steps[0] > 50
    assert steps[1] < 1.5 * steps[0]


@pytest.mark.parametrize(
    ("wanted", "lines"),
    [
        (Wanted(), [1, 2, 3, 4]),
        (Wanted(about="brack-002"), [2]),
        (Wanted(by="ben"), [4]),
        (Wanted(by="cleo"), []),
        (Wanted(since="2026-01-02"), [3, 4]),
        (Wanted(until="2026-01-02T00:00:00.000+00:00"), [1, 2]),
        (Wanted(since="2026-01-01T12", until="2026-01-03", by="ann"), [2, 3]),
    ],
)
def test_lines_are_found_by_what_person_and_time(books: Books, wanted: Wanted, lines: list[int]) -> None:
    days = ["2026-01-01", "2026-01-02", "2026-01-02", "2026-01-03"]
    times = ["00:00:00.000+00:00", "00:00:00.000+00:00", "09:30:00.000+00:00", "00:00:00.000+00:00"]
    people = ["ann", "ann", "ann", "ben"]
    with books.transaction():
        for number, (day, clock, who) in enumerate(zip(days, times, people, strict=True), start=1):
            utc = "2026-01-01T18:00:00.000+00:00" if number == 2 else f"{day}T{clock}"
            books.ledger.append(Entry(number, utc, who, "taken_in", f"brack-{number:03d}", "It arrived."))
    assert [entry.sequence for entry in books.ledger.entries(wanted)] == lines


def test_more_lines_than_are_fetched_at_once_come_in_order(books: Books) -> None:
    ledger = Ledger(books, "ann")
    with books.transaction():
        for _ in range(1100):
            ledger.write("built", "depot", "Something changed.")
    assert [entry.sequence for entry in books.ledger.entries()] == list(range(1, 1101))


_COLUMNS = [column.name for column in LEDGER.columns]


@pytest.fixture(scope="module")
def three_lines(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Books]:
    books = open_books(tmp_path_factory.mktemp("ledger"))
    fill(books, 3)
    with by_hand(books):
        pass
    yield books
    books.close()


@given(data=st.data())
def test_no_single_changed_value_goes_unseen(data: st.DataObject, three_lines: Books) -> None:
    books = three_lines
    reached = Reached(books.ledger.head(), "the last build")
    column = LEDGER.columns[data.draw(st.sampled_from(_COLUMNS))]
    own = LEDGER.c.sequence == data.draw(st.integers(1, 3))
    text = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))
    other: st.SearchStrategy[Any] = st.integers(-10, 2**40) if column.name == "sequence" else text
    with contextlib.suppress(ZeroDivisionError), books.transaction():
        before = books.writer().scalar(sa.select(column).where(own))
        after = data.draw(other.filter(lambda value: value != before and value not in (1, 2, 3)))
        books.writer().execute(sa.update(LEDGER).where(own).values({column: after}))
        changed = not (column.name == "details" and _same_json(str(before), after))
        assert bool(verify(books.ledger.entries(), [reached])) == changed
        raise ZeroDivisionError  # taken back for the next one
    assert whole(books, reached)


def _same_json(before: str, after: str) -> bool:
    try:
        return bool(json.loads(before) == json.loads(after))
    except ValueError:
        return False
