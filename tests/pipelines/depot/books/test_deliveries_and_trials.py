"""What the books answer about deliveries and trials."""

from __future__ import annotations

import contextlib
from dataclasses import replace

import pytest

from pipelines.depot.books.book import Books
from pipelines.depot.books.rows import MADE, Known, Payload, Result
from schemas.received import PayloadFile, Problem
from tests.pipelines.depot.books.rows import a_record, a_result, a_trial

TODAY = {"today"}


def put(books: Books, *results: Result) -> None:
    with books.transaction():
        for result in results:
            books.deliveries.put(result)


def names(records: object) -> list[str]:
    return [record.delivery_id for record in records]  # type: ignore[attr-defined]


def test_what_was_written_is_read_back_whole(books: Books) -> None:
    notes = (Problem("beside", "zz", "b"), Problem("beside", "aa", "b"))
    left_out = (PayloadFile("c.pdf", 3, "3"),)
    payload = Payload({"a.csv": "1", "b.c3d": "2"}, frozenset({"b.c3d"}), left_out, notes)
    trial = a_trial("brack-001", "T1", resend="word", before_delivery="brack-000", before_parts=("x", "", "y"))
    stamps = {"profile": "p1"}
    written = Result(a_record("brack-001"), payload, (("S1", "unshod"),), (trial,), stamps, {"T1": {"science": "s1"}})
    put(books, written)
    assert books.deliveries.get("brack-001") == written.record
    assert books.deliveries.payload("brack-001") == payload
    assert books.deliveries.waiting("brack-001") == written.waiting
    assert books.trials.of_delivery("brack-001") == [trial]
    assert books.stamps.of_delivery("brack-001") == stamps
    assert books.stamps.of_trials("brack-001") == {"T1": {"science": "s1"}}


def test_the_books_tell_with_what_deliveries_were_packed_as_their_newest_results_say(books: Books) -> None:
    old, new = {"Kit-Version": "1a2b3c4d", "Judged-As": "0" * 16}, {"Kit-Version": "5e6f7a8b"}
    put(books, replace(a_result("brack-001"), packed_with=old), a_result("brack-002"))
    put(books, replace(a_result("corrie-001", site=None), packed_with=old))
    assert books.deliveries.packed_with() == [("brack-001", "brack", old)], "the third is of no laboratory"
    put(books, replace(a_result("brack-001"), packed_with=new))
    assert books.deliveries.packed_with() == [("brack-001", "brack", new)]


def test_a_new_result_takes_the_place_of_all_of_the_older_one(books: Books) -> None:
    put(books, a_result("brack-001", a_trial("brack-001", "T1"), waiting=(("S1", "unshod"),)))
    put(books, Result(a_record("brack-001", status="stopped", result="new")))
    assert names(books.deliveries.all()) == ["brack-001"]
    assert books.trials.of_delivery("brack-001") == []
    assert books.deliveries.payload("brack-001") == Payload()
    assert books.deliveries.waiting("brack-001") == ()
    assert books.stamps.of_delivery("brack-001") == {}


def test_a_transaction_that_fails_leaves_nothing(books: Books) -> None:
    put(books, a_result("brack-001"))
    with contextlib.suppress(ZeroDivisionError), books.transaction():
        books.deliveries.drop("brack-001")
        assert books.deliveries.get("brack-001") is None, "inside, its own writing is seen"
        raise ZeroDivisionError
    assert books.deliveries.get("brack-001") is not None


def test_nothing_can_be_written_outside_a_transaction(books: Books) -> None:
    with pytest.raises(RuntimeError, match="inside a transaction"):
        books.deliveries.drop("brack-001")


def test_deliveries_come_in_order_of_site_and_number(books: Books) -> None:
    put(books, a_result("corrie-001"), a_result("brack-010"), a_result("brack-002"))
    assert names(books.deliveries.all()) == ["brack-002", "brack-010", "corrie-001"]


def test_the_names_in_the_inbox_are_remembered(books: Books) -> None:
    with books.transaction():
        for signature in ("old", "new"):
            books.arrivals.put("brack", "a.zip", Known(signature, "brack-001"))
    assert books.arrivals.known("brack", "a.zip") == Known("new", "brack-001")
    assert books.arrivals.known("corrie", "a.zip") is None
    assert books.arrivals.all() == {("brack", "a.zip"): Known("new", "brack-001")}


def test_files_kept_apart_by_one_and_open_in_none_are_shut(books: Books) -> None:
    one = Payload({"a": "1", "b": "2"}, frozenset({"a", "b"}))
    put(books, Result(a_record("brack-001"), one), Result(a_record("brack-002"), Payload({"x": "2"})))
    assert books.deliveries.shut_everywhere() == {"1"}


def test_a_standing_trial_that_came_is_seen_by_who_waits_for_it_and_by_nobody_else(books: Books) -> None:
    standing = a_trial("brack-002", "T2", kind="standing", gives_posture=True)
    put(
        books,
        a_result("brack-001", waiting=(("S1", "unshod"),)),
        a_result("brack-003", waiting=(("S1", "cushioned"),)),
        a_result("corrie-001", waiting=(("S1", "unshod"),)),
        a_result("brack-004", waiting=(("S1", "unshod"),), made="older"),
        a_result("brack-002", standing),
    )
    assert names(books.deliveries.standing_came(TODAY)) == ["brack-001"]
    put(books, a_result("brack-002", standing, made="older"))
    assert books.deliveries.standing_came(TODAY) == []


def test_the_newest_accepted_version_before_a_delivery_counts(books: Books) -> None:
    put(
        books,
        a_result("brack-001", a_trial("brack-001", "T1")),
        a_result("brack-002", a_trial("brack-002", "T1")),
        a_result("brack-003", a_trial("brack-003", "T1", standing="returned")),
        a_result("brack-005", a_trial("brack-005", "T1")),
        a_result("corrie-001", a_trial("corrie-001", "T1")),
    )
    found = books.trials.accepted_before("brack", 4, "brack/brack-004", ["T1", "T9"])
    assert {trial: version.delivery_id for trial, version in found.items()} == {"T1": "brack-002"}
    assert books.trials.known_before("brack", 4, "brack/brack-004", ["T1"]) == {"T1": "brack-003"}
    assert [t.site for t in books.trials.ids_of_others("brack", None, ["T1"])] == ["corrie"]
    assert [t.site for t in books.trials.sessions_of_others("corrie", None, ["S1"])] == ["brack"] * 3


def test_a_file_that_another_accepted_trial_has_is_found(books: Books) -> None:
    put(books, a_result("brack-001", a_trial("brack-001", "T1", raw_sha256="1")))
    assert [t.trial_id for t, _ in books.trials.with_file(["1"], "brack", 2, None)] == ["T1"]
    assert [t.trial_id for t, _ in books.trials.with_file(["1"], "corrie", 1, None)] == ["T1"]
    assert books.trials.with_file(["1"], "brack", 1, None) == [], "it came later, so it is the other's fault"
    assert books.trials.with_file(["2"], "corrie", 1, None) == []


def test_a_delivery_judged_with_another_version_before_it_is_due(books: Books) -> None:
    first = a_trial("brack-001", "T1")
    later = a_trial("brack-002", "T1", before_delivery="brack-001", before_parts=first.parts)
    put(books, a_result("brack-001", first), a_result("brack-002", later))
    assert books.trials.compared_with_another(TODAY) == []
    put(books, a_result("brack-001", replace(first, parts=("other", "", "", "", "", ""))))
    assert names(books.trials.compared_with_another(TODAY)) == ["brack-002"]
    put(books, a_result("brack-001", replace(first, standing="returned", parts=())))
    assert names(books.trials.compared_with_another(TODAY)) == ["brack-002"]
    put(books, a_result("brack-001", first), a_result("brack-002", a_trial("brack-002", "T1")))
    assert names(books.trials.compared_with_another(TODAY)) == ["brack-002"]


def test_what_was_made_with_something_else_is_one_question(books: Books) -> None:
    kept = Payload({"a.csv": "1"})
    put(
        books,
        a_result("brack-001"),
        a_result("brack-002", made="older", code_version="the same or not"),
        a_result("corrie-001", made="of corrie"),
        Result(a_record("corrie-002"), kept),
        Result(a_record("corrie-003", status="stopped"), kept),
        Result(a_record("corrie-004", status="stopped"), stamps={MADE: "a word"}),
        Result(a_record("tarn-001")),
    )
    assert names(books.deliveries.not_made_with({"today", "of corrie"})) == ["brack-002", "corrie-002"]
    assert [(r.delivery_id, made) for r, made in books.deliveries.stopped()] == [
        ("corrie-003", ""),
        ("corrie-004", "a word"),
    ]
    assert names(books.deliveries.current({"today", "of corrie"})) == ["brack-001", "corrie-001"]
    assert books.deliveries.is_current("brack-001", TODAY)
    assert not books.deliveries.is_current("brack-002", TODAY)
    assert not books.deliveries.is_current("none", TODAY)


def test_what_a_stamp_stands_for_is_kept_once(books: Books) -> None:
    with books.transaction():
        books.stamps.note_content({"s1": {"threshold": "20"}, "s2": {}})
        books.stamps.note_content({"s1": {"threshold": "20"}})
    assert books.stamps.content("s1") == {"threshold": "20"}
    assert books.stamps.content("s3") is None


def test_more_ids_than_one_question_can_hold_are_asked_for(books: Books) -> None:
    put(books, a_result("brack-001", a_trial("brack-001", "T70000")))
    ids = (f"T{n}" for n in range(80_000))
    assert list(books.trials.known_before("brack", 2, "brack/b", ids)) == ["T70000"]
