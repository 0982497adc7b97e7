"""What deliveries tell the gate of others, and which rest on older knowledge; withdrawals; decisions; releases; builds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.depot.books.book import Books
from pipelines.depot.books.gates import LATER, TAKEN_BACK
from pipelines.depot.books.knowing import knowledge
from pipelines.depot.books.opening import open_books
from pipelines.depot.books.rows import Decision, Entry, Gate, Override, Payload, Result
from pipelines.depot.books.where import FILE
from pipelines.depot.ledger import Head, Ledger
from schemas.received import ConsentEvent
from tests.pipelines.depot.books.rows import a_record

GIVEN: ConsentEvent = ("FS-01", "motion", "given", 0)
BACK: ConsentEvent = ("FS-01", "motion", "withdrawn", 9)


def judged(
    books: Books,
    name: str,
    *events: ConsentEvent,
    withheld: bool = False,
    status: str = "taken_in",
    runner: str = "FS-01",
) -> Gate:
    """A delivery with one trial, T1, judged with all that the books know by now."""
    gates, (site, _, number) = books.gates, name.rpartition("-")
    files = {"T1": [f"sha of {name}"]}
    spellings = {runner} | gates.spellings([runner])
    known = {*events, *gates.told([runner], but=name), *books.withdrawals.events(spellings)}
    gate = Gate(
        (runner,),
        events,
        {f"{name}.withheld-1": "T1"} if withheld else {},
        files,
        {"T1": runner},
        (f"tables of {name}",),
        {runner: knowledge(known)},
        gates.shut(site, int(number), files),
    )
    with books.transaction():
        payload = Payload({"a": f"sha of {name}"})
        books.deliveries.put(Result(a_record(name, status=status), payload, gate=gate))
    return gate


def due(books: Books) -> list[str]:
    return [record.delivery_id for record in books.gates.resting_on_less()]


def test_what_a_delivery_told_is_read_back_whole(books: Books) -> None:
    told = judged(books, "brack-001", GIVEN, ("FS-01", None, "not_understood", None), withheld=True)
    assert books.gates.get("brack-001") == told
    assert books.gates.get("brack-009") == Gate()


def test_a_delivery_judged_with_all_that_is_known_is_not_due(books: Books) -> None:
    judged(books, "brack-001", GIVEN)
    judged(books, "brack-002", GIVEN)
    judged(books, "corrie-001", runner="FS-02")
    assert due(books) == []


def test_an_event_that_another_delivery_brings_makes_the_runners_deliveries_due(books: Books) -> None:
    judged(books, "brack-001", GIVEN)
    judged(books, "corrie-001", runner="FS-02")
    judged(books, "brack-002", GIVEN, BACK)
    assert due(books) == ["brack-001"]
    judged(books, "brack-001", GIVEN)
    assert due(books) == []
    judged(books, "brack-002", GIVEN)  # the event is gone again
    assert due(books) == ["brack-001"]


def test_an_id_in_another_spelling_counts(books: Books) -> None:
    judged(books, "brack-001", GIVEN)
    judged(books, "brack-002", ("fs-01 ", "motion", "withdrawn", 9), runner="fs-01 ")
    assert due(books) == ["brack-001"]


def test_a_stopped_delivery_gives_nothing_and_what_it_took_away_still_counts(books: Books) -> None:
    told = judged(books, "brack-002", GIVEN, BACK)
    judged(books, "brack-001", GIVEN)
    with books.transaction():
        books.deliveries.put(Result(a_record("brack-002", status="stopped"), Payload({"a": "1"})))
    assert books.gates.get("brack-002") == told
    assert books.gates.naming("FS-01") == ["brack-001", "brack-002"]
    assert due(books) == []
    with books.transaction():
        books.deliveries.put(Result(a_record("brack-002", status="stopped", held=False)))
    assert books.gates.naming("FS-01") == ["brack-001"]


def test_a_trial_withheld_by_a_later_delivery_of_the_site_ends_the_earlier_version(books: Books) -> None:
    judged(books, "brack-001", GIVEN)
    judged(books, "brack-003", GIVEN)
    judged(books, "corrie-001", GIVEN)
    judged(books, "brack-002", GIVEN, withheld=True)
    assert due(books) == ["brack-001"]
    assert judged(books, "brack-001", GIVEN, withheld=True).shut == {"T1": LATER}
    assert due(books) == []
    judged(books, "brack-002", GIVEN)
    assert due(books) == ["brack-001"]


def test_a_withdrawal_makes_the_runners_deliveries_and_the_runners_files_due(books: Books) -> None:
    judged(books, "brack-001", GIVEN)
    with books.transaction():
        judged_as_another = Result(
            a_record("corrie-001"), Payload({"a": "sha of brack-001"}),
            gate=Gate(("FS-02",), files={"T2": ["sha of brack-001"]}, knew={"FS-02": knowledge([])}),
        )  # fmt: skip
        books.deliveries.put(judged_as_another)
        first, new = books.withdrawals.remember("FS-01", "all", ["sha of brack-001"])
    assert new
    assert due(books) == ["brack-001", "corrie-001"]
    assert books.gates.shut("corrie", 1, {"T2": ["x", "sha of brack-001"]}) == {"T2": TAKEN_BACK}
    assert books.withdrawals.events(["FS-01", "FS-02"]) == [("FS-01", None, "withdrawn", None)]
    with books.transaction():
        again, new = books.withdrawals.remember("FS-01", "all", ["another"])
    assert not new
    assert again.tombstone == first.tombstone
    assert set(first.files) < set(again.files)


def test_withdrawn_runners_and_files_are_no_words_of_the_books(tmp_path: Path) -> None:
    books = open_books(tmp_path)
    judged(books, "brack-001", GIVEN)
    with books.transaction():
        books.withdrawals.remember("FS-01", "all", ["sha of brack-001"])
        books.deliveries.put(Result(a_record("brack-001"), Payload(), gate=Gate()))
    books.forget_for_good()
    assert [name for name in tmp_path.iterdir() if name.name.startswith(FILE) and b"FS-01" in name.read_bytes()] == []
    books.close()
    assert b"FS-01" not in (tmp_path / FILE).read_bytes()
    assert b"sha of brack-001" not in (tmp_path / FILE).read_bytes()


def test_a_file_that_another_runners_trial_names_is_not_the_runners_own(books: Books) -> None:
    files = {"T1": ["1", "2"], "T2": ["2"], "T3": ["3"]}
    gate = Gate(("A", "B"), files=files, runner_of={"T1": "A", "T2": "B"}, tables=("t",))
    with books.transaction():
        books.deliveries.put(Result(a_record("brack-001"), gate=gate))
    assert books.gates.files_of_trials("A") == {"1"}
    assert books.gates.files_of_trials("B") == set()
    assert books.gates.tables_naming("A") == {"t"}
    assert books.gates.with_trials_of("B") == ["brack-001"]


DECIDED = Override("w1", "brack", "T1", ("1", "2"), "a_check", Decision("Known.", "Ann", "2026-01-01"))


def test_decisions_are_kept_in_order_and_can_be_taken_back(books: Books) -> None:
    other = replace(DECIDED, word="w2", trial_id="T2", files=())
    back = replace(DECIDED, taken_back=Decision("Not so.", "Ben", "2026-01-02"))
    with books.transaction():
        for one in (DECIDED, other, back):
            books.decisions.put(one)
    assert books.decisions.all() == (back, other)
    assert books.decisions.on_trials(["T2", "T9"]) == (other,)
    with books.transaction():
        books.decisions.drop("w1")
    assert books.decisions.all() == (other,)


def test_a_new_release_supersedes_those_before(books: Books) -> None:
    first = Entry(1, "2026-01-01", "Ann", "first", "c", "s", 7, "sha")
    with books.transaction():
        books.releases.put(first)
        assert books.releases.supersede_all("2026-01-02", "newer") == [
            replace(first, superseded_utc="2026-01-02", superseded_why="newer")
        ]
        assert books.releases.supersede_all("2026-01-03", "newer still") == []
        books.releases.put(replace(first, number=2))
    assert [(e.number, e.superseded_utc) for e in books.releases.all()] == [(1, "2026-01-02"), (2, "")]


def test_a_build_notes_what_it_was_made_from_and_how_far_the_ledger_reached(books: Books) -> None:
    assert (books.builds.made_from(), books.builds.reached()) == (None, None)
    head = Ledger(books, "ann").write("built", "depot", "First.")
    with books.transaction():
        books.builds.put("all of it")
    assert (books.builds.made_from(), books.builds.reached()) == ("all of it", head)
    assert head == Head(1, head.hash)


def test_what_is_known_of_a_runner_does_not_depend_on_the_order_it_came_in() -> None:
    assert knowledge([GIVEN, BACK]) == knowledge([BACK, GIVEN, GIVEN]) != knowledge([GIVEN])


@pytest.mark.parametrize("status", ["stopped", "repeat"])
def test_deliveries_that_were_not_taken_in_are_never_due_by_consent(books: Books, status: str) -> None:
    judged(books, "brack-001", GIVEN, status=status)
    judged(books, "brack-002", GIVEN, BACK)
    assert due(books) == []
