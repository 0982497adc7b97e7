"""A withdrawal is a job: asked about beforehand, known apart from the depot, with days of grace, and never lost."""

from __future__ import annotations

import shutil
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.assets.deciding import release, renew, take_back, withdraw
from pipelines.assets.repairing import repair
from pipelines.assets.run import run
from pipelines.deciding.preview import preview
from pipelines.deciding.withdrawal import Renewed
from pipelines.depot import register as registers
from pipelines.depot.guarding import noted
from pipelines.depot.ledger import whoami
from pipelines.depot.reached import NAME as HEAD
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.taking_in.repairing import Sources
from schemas.consent_history import VOIDED, History
from tests.command_line import command
from tests.delivery_builders import STUDY, a_delivery, leaving, planned, raw_files, tables, take_in_only, trial_id
from tests.depot_books import ledger_lines
from tests.trust.conftest import LEAVES, STAYS


def go(place: Path) -> str:
    return take_in_only(place / "inbox", place / "depot").text()


def standings(place: Path, delivery_id: str = "brack-001") -> dict[str, str]:
    return {row["trial_id"]: row["standing"] for row in tables(place / "depot")[delivery_id]["standings"]}


@pytest.fixture
def place(once: Path, tmp_path: Path) -> Path:
    shutil.copytree(once, tmp_path / "copy")
    return tmp_path / "copy"


@pytest.fixture(scope="module")
def withdrawn(once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A depot from which a runner withdrew, and in ``before`` its books and register of an earlier day."""
    folder = tmp_path_factory.mktemp("withdrawn")
    shutil.copytree(once, folder, dirs_exist_ok=True)
    (folder / "before").mkdir()
    for path in (folder / "depot" / "books.sqlite", folder / "depot.register"):
        shutil.copy(path, folder / "before")
    withdraw(STUDY, folder / "depot", leaving(LEAVES, by="Ann Lee"))
    return folder


@pytest.fixture
def after(withdrawn: Path, tmp_path: Path) -> Path:
    return shutil.copytree(withdrawn, tmp_path / "after")


def test_what_would_go_is_told_beforehand_and_nothing_is_changed(place: Path) -> None:
    before = {p: p.read_bytes() for p in (place / "depot").rglob("*") if p.is_file()}
    told = preview(STUDY, place / "depot", f" {LEAVES.lower()} ", "all")
    assert (told.known, told.trials, told.files, told.deliveries) == (True, 1, 1, ("brack-001",))
    assert STAYS in told.near
    assert {p: p.read_bytes() for p in before} == before


def test_an_id_nobody_knows_is_asked_about_with_those_that_look_alike(place: Path) -> None:
    assert not preview(STUDY, place / "depot", "FS-03", "all").known
    with pytest.raises(Unusable, match="look alike: FS-0"):
        withdraw(STUDY, place / "depot", leaving("FS-03"))
    assert set(standings(place).values()) == {"accepted"}


def test_a_runner_who_is_still_to_come_is_withheld_when_data_come(place: Path) -> None:
    withdraw(STUDY, place / "depot", leaving("FS-03", not_yet_delivered=True))
    a_delivery(place / "inbox", 2, names=("standing",), runners=("FS-03",))
    go(place)
    assert standings(place, "brack-002") == {"brack-002.withheld-1": "withheld"}


def test_the_ledger_tells_the_name_given_and_the_user_of_the_system(withdrawn: Path) -> None:
    (line,) = [line for line in ledger_lines(withdrawn / "depot") if line["what"] == "withdrawal"]
    assert (line["actor"], line["details"]["account"]) == ("Ann Lee", whoami())


def test_within_days_of_grace_bytes_are_withheld_and_it_can_be_taken_back(place: Path) -> None:
    sent = raw_files(place / "depot")
    done = withdraw(STUDY, place / "depot", leaving(LEAVES, grace_days=7))
    assert done.files_removed == 0
    assert sorted(standings(place).values()) == ["accepted", "withheld"]
    assert "waits until" in go(place)
    take_back(STUDY, place / "depot", leaving(LEAVES, why="A mistake."))
    assert set(standings(place).values()) == {"accepted"}
    assert raw_files(place / "depot") >= sent
    assert "Nothing new" in go(place)


def test_when_the_days_of_grace_are_over_the_next_command_removes_the_bytes(place: Path) -> None:
    withdraw(STUDY, place / "depot", leaving(LEAVES, grace_days=7))
    over = (datetime.now(UTC) - timedelta(days=1)).isoformat(timespec="seconds")
    depot = Depot(place / "depot")
    with depot.writing("tester"), depot.books.transaction():
        depot.books.jobs.put(replace(depot.books.jobs.open()[0], due_utc=over))
    assert "carried out now" in go(place)
    assert list(standings(place)) == [trial_id("standing", STAYS)]


def test_what_leaves_the_runners_id_in_bytes_kept_apart_is_told_as_not_carried_out(place: Path) -> None:
    left = place / "depot" / "closed" / "way-001" / "left"
    left.parent.mkdir(parents=True, exist_ok=True)
    left.write_text(f"participant_id\n{LEAVES}\n")
    done = withdraw(STUDY, place / "depot", leaving(LEAVES))
    assert (done.exit_code, done.found) == (1, (left,))
    assert "NOT FINISHED" in done.text()
    assert "withdrawal_carried_out" not in {line["what"] for line in ledger_lines(place / "depot")}
    assert "NOT FINISHED still" in go(place)
    assert run(STUDY, place / "inbox", place / "depot").exit_code == 1
    left.unlink()
    assert "carried out now" in go(place)
    assert "withdrawal_carried_out" in {line["what"] for line in ledger_lines(place / "depot")}


def over(depot: Depot) -> None:
    """Let the days of grace of the withdrawal be over since yesterday."""
    day = (datetime.now(UTC) - timedelta(days=1)).isoformat(timespec="seconds")
    with depot.writing("tester"), depot.books.transaction():
        depot.books.jobs.put(replace(depot.books.jobs.open()[0], due_utc=day))


def test_in_days_of_grace_nothing_is_renewed_and_after_them_nothing_is_taken_back(place: Path) -> None:
    withdraw(STUDY, place / "depot", leaving(LEAVES, grace_days=7))
    with pytest.raises(Unusable, match="take-back"):
        renew(STUDY, place / "depot", Renewed(LEAVES, "all", "3", 90, "A new form.", "Ann"))
    over(Depot(place / "depot"))
    with pytest.raises(Unusable, match="cannot come back"):
        take_back(STUDY, place / "depot", leaving(LEAVES, why="A mistake."))
    go(place)
    assert list(standings(place)) == [trial_id("standing", STAYS)]
    renew(STUDY, place / "depot", Renewed(LEAVES, "all", "3", 90, "A new form.", "Ann"))


def test_what_an_earlier_version_renewed_in_days_of_grace_goes_when_they_are_over_and_counts_from_its_day(
    place: Path,
) -> None:
    """Written into the books as it was: the deliveries then held what the renewal gave, and the withdrawal never ended."""
    depot = Depot(place / "depot")
    withdraw(STUDY, depot.root, leaving(LEAVES, grace_days=7))
    with depot.writing("tester"):
        (job,) = depot.books.jobs.open()
        noted(depot, replace(next(depot.books.withdrawals.listed()), renewed_from=0))
        with depot.books.transaction():
            depot.books.withdrawals.renew(job.tombstone, 0, "3")
    over(depot)
    assert "carried out now: no file of the runner was left to remove" in go(place), "they were kept apart"
    assert list(standings(place)) == [trial_id("standing", STAYS)]
    assert run(STUDY, place / "inbox", depot.root).exit_code == 0
    a_delivery(place / "inbox", 2, names=("1",), runners=(LEAVES,))
    go(place)
    assert set(standings(place, "brack-002").values()) == {"accepted"}, "the form that was signed anew counts"


def test_who_decides_is_no_runner_and_one_line(place: Path) -> None:
    for name in (LEAVES, STAYS, "fs 01", "Ann\n99  2026 root: released"):
        with pytest.raises(Unusable, match="names a runner"):
            release(STUDY, place / "depot", "A first look.", name)
        with pytest.raises(Unusable, match="names a runner"):
            withdraw(STUDY, place / "depot", leaving(LEAVES, by=name if "\n" not in name else LEAVES))
    assert not {LEAVES, STAYS} & {line["actor"] for line in ledger_lines(place / "depot")}


def test_who_renews_for_a_runner_of_whom_nothing_is_left_is_told_that_a_delivery_is_needed(after: Path) -> None:
    asked = ("renew", LEAVES, "--scope", "all", "--form-version", "3", "--why", "A new form.", "--as", "Ann Lee")
    done = command(*asked, "--from-day", "7", "--yes", "--study", STUDY, "--depot", after / "depot")
    preview_, _, outcome = done.stdout.partition("Renewed:")
    assert done.returncode == 0, done.stderr
    assert "A NEW DELIVERY IS NEEDED" in preview_
    assert "A NEW DELIVERY IS NEEDED" in outcome


def test_consent_given_anew_counts_from_its_day_and_nothing_from_before(after: Path) -> None:
    place, depot = after, after / "depot"
    a_delivery(place / "inbox", 2, names=("1",), runners=(LEAVES,))
    go(place)
    assert set(standings(place, "brack-002").values()) == {"withheld"}
    day = planned(LEAVES, "1")[0].session.row()["study_day"]
    with pytest.raises(Unusable, match="not withdrawn muscle"):
        renew(STUDY, depot, Renewed(LEAVES, "muscle", "3", day, "A new form.", "Ann"))
    with pytest.raises(Unusable, match="lists no consent form of version"):
        renew(STUDY, depot, Renewed(LEAVES, "all", "9", day, "A new form.", "Ann"))
    asked = ("renew", LEAVES, "--scope", "all", "--form-version", "3", "--why", "A new form.", "--as", "Ann")
    shown = command(*asked, "--from-day", "-5", "--study", STUDY, "--depot", depot)
    assert (shown.returncode, "CAUTION: everything that was ever given" in shown.stdout) == (2, True)
    assert "nothing was done" in shown.stderr
    done = command(*asked, "--from-day", "-5", "--yes", "--study", STUDY, "--depot", depot)
    assert (done.returncode, set(standings(place, "brack-002").values())) == (0, {"accepted"})
    renew(STUDY, depot, Renewed(LEAVES, "all", "3", day + 1, "The day was wrong.", "Ann"))
    assert set(standings(place, "brack-002").values()) == {"withheld"}, "consent of before that day stays void"
    with pytest.raises(Unusable, match="counts from study day"):
        renew(STUDY, depot, Renewed(LEAVES, "all", "3", -5, "A new form.", "Ann"))


@pytest.mark.parametrize("harm", ["missing", "older", "damaged"])
def test_without_its_register_no_command_writes_once_somebody_withdrew(after: Path, harm: str) -> None:
    place, depot = after, Depot(after / "depot")
    older = (after / "before" / depot.register.name).read_bytes()
    if harm == "missing":
        depot.register.unlink()
    else:
        depot.register.write_bytes(older if harm == "older" else depot.register.read_bytes()[:-9])
    with pytest.raises(Unusable, match=r"register of withdrawals|books are not what"):
        go(place)
    assert repair(STUDY, depot, "tester", Sources()).left == []
    assert "Nothing new" in go(place)
    known = registers.read(depot.register)
    assert known is not None
    assert len(known.in_force) == 1


@pytest.mark.parametrize("books", ["kept", "missing", "older"])
@pytest.mark.parametrize("register", ["kept", "missing", "older"])
def test_once_somebody_withdrew_no_mixture_of_older_and_missing_books_and_register_goes_on(
    withdrawn: Path, tmp_path: Path, books: str, register: str
) -> None:
    shutil.copytree(withdrawn, tmp_path / "copy")
    depot = Depot(tmp_path / "copy" / "depot")
    for state, path in ((books, depot.root / "books.sqlite"), (register, depot.register)):
        if state == "missing":
            path.unlink()
        elif state == "older":
            shutil.copy(withdrawn / "before" / path.name, path)
    if (books, register) == ("kept", "kept"):
        with depot.writing("ann"):
            return
    for _ in range(2):  # a refusal makes nothing good
        with pytest.raises(Unusable, match=r"books|ledger|register"), depot.writing("ann"):
            pass


def test_what_was_put_back_from_an_older_day_is_not_made_good_by_a_repair(withdrawn: Path, tmp_path: Path) -> None:
    shutil.copytree(withdrawn, tmp_path / "copy")
    depot = Depot(tmp_path / "copy" / "depot")
    for path in (depot.root / "books.sqlite", depot.register):
        shutil.copy(withdrawn / "before" / path.name, path)
    left = repair(STUDY, depot, "tester", Sources()).left
    assert any("lines are missing at" in fault.seen for fault in left)
    with pytest.raises(Unusable, match="lines are missing at its end"), depot.writing("ann"):
        pass


@pytest.mark.parametrize(("register", "head"), [("lost", "damaged"), ("older", "lost"), ("lost", "lost")])
def test_older_books_are_not_repaired_into_the_truth_when_the_head_is_gone(
    withdrawn: Path, tmp_path: Path, register: str, head: str
) -> None:
    """Who withdrew since then would be forgotten, and come back from the inbox."""
    place = Path(shutil.copytree(withdrawn, tmp_path / "copy"))
    depot = Depot(place / "depot")
    shutil.copy(place / "before" / "books.sqlite", depot.root)
    if register == "lost":
        depot.register.unlink()
    else:
        shutil.copy(place / "before" / depot.register.name, depot.register)
    if head == "lost":
        (depot.root / HEAD).unlink()
    else:
        (depot.root / HEAD).write_bytes(b"x" + (depot.root / HEAD).read_bytes())
    before = {p: p.read_bytes() for p in depot.root.rglob("*") if p.is_file() and p.suffix != ".lock"}
    done = repair(STUDY, depot, "tester", Sources(inbox=place / "inbox"))
    assert done.mended == []
    assert "Nothing was repaired" in next(fault.remedy for fault in done.left if fault.kind == "head")
    assert {p: p.read_bytes() for p in before} == before
    with pytest.raises(Unusable):
        run(STUDY, place / "inbox", depot.root, "tester", workers=1)


def test_a_withdrawal_that_the_books_lost_is_refused_and_one_that_only_the_register_knows_is_carried_out(
    after: Path,
) -> None:
    place, depot = after, Depot(after / "depot")
    known = registers.read(depot.register)
    assert known is not None
    with sqlite3.connect(depot.root / "books.sqlite") as connection:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("DELETE FROM withdrawals")
    connection.close()
    registers.write(depot.register, replace(known, books_sha256=""))  # as after a kill, when it cannot be known
    with pytest.raises(Unusable, match="Books and register differ"):
        go(place)
    shutil.rmtree(depot.root)
    run(STUDY, place / "inbox", depot.root, "tester", workers=1)
    assert set(standings(place).values()) == {"accepted", "withheld"}, "a depot made anew where one was knows it, too"


_EVENT = st.tuples(
    st.sampled_from(["A", "a "]), st.sampled_from(["motion", "force"]), st.sampled_from(["given", "withdrawn"])
)


@given(st.lists(st.tuples(_EVENT, st.integers(-2, 9))), st.integers(-2, 9), st.sampled_from([None, *range(-3, 11)]))
def test_a_form_signed_anew_makes_void_what_was_given_before_its_day_and_nothing_else(
    told: list[tuple[tuple[str, str, str], int]], from_day: int, day: int | None
) -> None:
    events = [(who, scope, word, when) for (who, scope, word), when in told]
    anew = History([*events, ("A", None, VOIDED, from_day)])
    bare = History([e for e in events if e[2] != "given" or e[3] >= from_day])
    for who in ("A", "a "):
        for scope in ("motion", "force"):
            assert anew.in_force(who, scope, day) == bare.in_force(who, scope, day)
