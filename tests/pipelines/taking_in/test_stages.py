"""The small decisions on a delivery's way: names, order in the inbox, what consent shuts, what becomes of a trial."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.findings import Finding, Report, Stamp
from pipelines.depot.arrivals import Arrival, Names, find_arrivals, path_of, slug
from pipelines.depot.books.book import Books
from pipelines.depot.books.opening import open_books
from pipelines.depot.books.rows import Payload, Record, Result
from pipelines.depot.desk import Opened
from pipelines.intake.tables import no_tables
from pipelines.judging.delivery_tables import tables_of_delivery
from pipelines.judging.judge import Verdict
from pipelines.judging.standings import Judged, findings_of, is_accepted, standing_of
from pipelines.taking_in.gating import Gated
from pipelines.taking_in.naming import name_for_stopped, same_content, with_number_conflict
from schemas.consent import Consent
from schemas.consent_history import History
from schemas.quality import STANDINGS
from schemas.reading import Reading
from schemas.received import PayloadFile, Received
from tests.delivery_builders import a_delivery
from tests.finding_builders import a_finding

ALL_TOLD = Names(bool, lambda name: name)


def received(site: str | None = "brack", number: int | None = 2, **more: object) -> Received:
    return Received("d2", "brack", site, number, {}, (), no_tables(), fingerprint="f2", **more)  # type: ignore[arg-type]


def opened(name: str = "d2", **more: object) -> Opened:
    return Opened(received(**more), None, "brack", name)  # type: ignore[arg-type]


def a_record(
    name: str = "brack-002", arrival: str = "brack/other", status: str = "taken_in", fp: str = "f1", held: bool = True
) -> Record:
    return Record(
        name, arrival, status, "brack", 2, fp, "", "c", "s", f"result of {name}", held and status == "taken_in"
    )


@pytest.fixture
def books(tmp_path: Path) -> Iterator[Books]:
    made = open_books(tmp_path / "depot")
    yield made
    made.close()


def holding(books: Books, *records: Record) -> Books:
    """The books with nothing but these deliveries."""
    with books.transaction():
        for older in books.deliveries.all():
            books.deliveries.drop(older.delivery_id)
        for record in records:
            books.deliveries.put(Result(record, Payload({"trials.csv": "0"} if record.held else {})))
    return books


def finding(trial: str | None, weight: str) -> Finding:
    return a_finding(weight, finding_id=f"{trial}{weight}", trial_id=trial)


@pytest.mark.parametrize(
    ("holder", "name"),
    [
        (None, "brack-002"),
        (a_record(status="stopped", arrival="brack/d2"), "brack-002"),
        (a_record(status="stopped"), "brack-002.d2"),
        (a_record(), "brack-002.d2"),
        (a_record(arrival="brack/d2"), "brack-002.d2"),
    ],
    ids=["free", "its own", "of another stopped one", "taken in", "its own, taken in before"],
)
def test_a_stopped_delivery_takes_its_number_only_if_it_is_free(books: Books, holder: Record | None, name: str) -> None:
    assert name_for_stopped(opened(), holding(books, *([holder] if holder else []))) == name


def test_a_delivery_without_a_number_is_called_by_its_inbox_and_name(books: Books) -> None:
    assert name_for_stopped(opened("My bag.zip", number=None), books).startswith("brack-unnumbered-My-bag-zip")


@given(st.text(min_size=1, max_size=80))
def test_a_slug_is_an_identifier_whatever_the_name(name: str) -> None:
    made = slug(name)
    assert 0 < len(made) <= 47
    assert made.replace("-", "").replace("_", "").isalnum()
    assert made.isascii()


@given(st.lists(st.text(min_size=1, max_size=60), min_size=2, max_size=6, unique=True))
def test_two_names_never_give_one_slug(names: list[str]) -> None:
    assert len({slug(name) for name in names}) == len(names)


def test_the_same_content_is_known_by_its_fingerprint_but_not_in_a_faulty_bag(books: Books) -> None:
    before = a_record("brack-001", fp="f2")
    problem = with_number_conflict(opened(), holding(books, a_record())).received.problems[0]
    assert same_content(opened(), holding(books, a_record(fp="f9"))) is None
    assert same_content(opened(), holding(books, before)) == before
    assert same_content(opened(problems=(problem,)), books) is None


def test_a_used_number_is_a_problem_that_says_what_to_do(books: Books) -> None:
    problem = with_number_conflict(opened(), holding(books, a_record())).received.problems[0]
    assert problem.kind == "bag_info"
    assert "number 2 of brack was used before" in problem.seen
    assert "raise Delivery-Number" in problem.expected
    assert with_number_conflict(opened(), holding(books, a_record(status="stopped"))).received.problems == ()


def test_what_was_gated_ahead_holds_only_while_the_depot_knows_the_same() -> None:
    before = opened()
    gated = Gated(before, nothing_withheld(before.received), "brack-002", Report(), False, {}, None)

    def told(**more: object) -> Opened:
        return replace(before, received=replace(before.received, **more))  # type: ignore[arg-type]

    assert gated.rests_on(told(), {}, None)
    event = ("FS-01", "motion", True, 3)
    assert not gated.rests_on(told(other_consents=(event,)), {}, None)  # a runner's consent came with another delivery
    assert not gated.rests_on(told(known_trials={"T1": "brack-001"}), {}, None)
    assert not gated.rests_on(told(shut_trials={"T1": "withheld"}), {}, None)
    assert not gated.rests_on(told(tables=no_tables()), {}, None)
    assert not gated.rests_on(told(), {}, a_record())


def test_deliveries_come_in_order_of_site_and_number_not_of_name(tmp_path: Path) -> None:
    a_delivery(tmp_path, 10, arrives_as="a")
    a_delivery(tmp_path, 9, arrives_as="b", zipped=True)
    a_delivery(tmp_path, None, arrives_as="c")
    (tmp_path / "brack" / "broken.zip").write_bytes(b"no zip")
    (tmp_path / "brack" / "folder").mkdir()
    (tmp_path / "brack" / ".hidden.zip").write_bytes(b"")
    found, others = find_arrivals(tmp_path, ALL_TOLD)
    assert [a.name for a in found] == ["b.zip", "a", "broken.zip", "c"]
    assert others == ["brack/folder"]


def test_a_signature_changes_with_any_file_and_only_then(tmp_path: Path) -> None:
    folder = a_delivery(tmp_path)
    arrival = Arrival("brack", folder.name, folder)
    before = arrival.signature()
    assert arrival.signature() == before
    (folder / "data" / "new.txt").write_text("x")
    added = arrival.signature()
    assert added != before
    (folder / "data" / "new.txt").unlink()
    (folder / "bagit.txt").write_text("other")
    assert arrival.signature() not in (before, added)


def with_trials(rows: list[tuple[str, str, str | None]], files: dict[str, str]) -> Received:
    trials = pd.DataFrame(rows, columns=["trial_id", "file", "sidecar"])
    payload = tuple(PayloadFile(path, 1, sha) for path, sha in files.items())
    return replace(received(), tables={**no_tables(), "sent_trials": trials}, files=payload)


def nothing_withheld(sent: Received) -> Consent:
    return Consent(sent, frozenset(), History(()), (), {}, {}, {}, frozenset())


def test_consent_shuts_every_trial_that_shares_bytes_with_a_withheld_one() -> None:
    sent = with_trials(
        [("A", "a.c3d", None), ("B", "copy-of-a.c3d", None), ("C", "c.c3d", "a.c3d"), ("D", "d.c3d", None)],
        {"a.c3d": "1", "copy-of-a.c3d": "1", "c.c3d": "3", "d.c3d": "4"},
    )
    consent = nothing_withheld(sent)
    assert consent.withholding({"A"}).withheld == {"A", "B", "C"}
    assert consent.withholding({"D"}).withheld == {"D"}
    assert consent.withholding(()).withheld == frozenset()


def judged(findings: list[Finding], withheld: frozenset[str] = frozenset(), problem: str | None = None) -> Judged:
    verdict = Verdict(Reading("A", "a.c3d", problem))  # type: ignore[arg-type]
    row = dict.fromkeys(("participant_id", "session_id", "visit", "condition", "kind"), "x")
    report = Report(findings)
    consent = replace(nothing_withheld(received()), trials={"A": row}, withheld=withheld)
    return Judged("d-1", "brack", Stamp("1", "1"), consent, report, {"A": verdict}, {"A": "0"})


@pytest.mark.parametrize(
    ("findings", "withheld", "problem", "standing"),
    [
        ([], frozenset(), None, "accepted"),
        ([finding("A", "notes")], frozenset(), None, "accepted"),
        ([finding("B", "returns"), finding(None, "returns")], frozenset(), None, "accepted"),
        ([finding("A", "notes"), finding("A", "returns")], frozenset(), None, "returned"),
        ([finding("A", "returns")], frozenset({"A"}), None, "withheld"),
        ([], frozenset(), "malformed", "returned"),
    ],
    ids=["clean", "a note", "another's fault", "a fault", "withheld before returned", "not read"],
)
def test_what_becomes_of_a_trial(
    findings: list[Finding], withheld: frozenset[str], problem: str | None, standing: str
) -> None:
    case = judged(findings, withheld, problem)
    assert standing_of("A", case, findings_of(case)) == standing
    assert is_accepted("A", case) == (standing == "accepted")


def test_a_trial_that_nobody_judged_is_never_accepted() -> None:
    case = replace(judged([]), verdicts={})
    assert standing_of("A", case, []) == "returned"


def test_of_a_withheld_trial_only_that_it_is_withheld_is_told() -> None:
    case = judged([finding("A", "notes"), finding("A", "withholds")], frozenset({"A"}))
    assert [f.weight for f in findings_of(case)] == ["withholds"]
    row = tables_of_delivery(replace(case, report=Report([])))[STANDINGS].to_dict("records")[0]
    assert (row["trial_id"], row["standing"]) == (f"{case.delivery_id}.withheld-1", "withheld")
    assert [row[name] for name in ("participant_id", "visit", "condition", "kind")] == [None] * 4


def test_the_same_finding_twice_is_told_once() -> None:
    assert len(findings_of(judged([finding("A", "notes"), finding("A", "notes")]))) == 1


def test_a_delivery_named_after_somebody_goes_by_the_same_word_in_a_copy_of_the_inbox_too(tmp_path: Path) -> None:
    for name in ("Qvarnbeck", "second"):
        (tmp_path / "inbox" / "brack" / name).mkdir(parents=True)
        (tmp_path / "inbox" / "brack" / name / "bagit.txt").touch()
    shutil.copytree(tmp_path / "inbox", tmp_path / "copy")
    plain, _ = find_arrivals(tmp_path / "inbox", ALL_TOLD)
    assert [a.name for a in plain] == ["Qvarnbeck", "second"]
    names = Names(lambda name: name != "Qvarnbeck", lambda name: f"{name == 'Qvarnbeck'!s:>08}0000")
    found, _ = find_arrivals(tmp_path / "inbox", names)
    assert [a.name for a in found] == ["name-kept-back-0000True", "second"]
    copied, _ = find_arrivals(tmp_path / "copy", names)
    assert [a.key for a in copied] == [a.key for a in found]
    assert path_of(tmp_path / "copy", found[0].key, names) == tmp_path / "copy" / "brack" / "Qvarnbeck"
