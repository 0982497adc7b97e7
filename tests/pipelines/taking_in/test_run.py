"""Whole runs over small deliveries: what is new is taken in once, kills and repeats do no harm, one writer at a time."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import pytest
from dagster._core.execution.plan import active

from demo_site_uploads.simulator.measure import Asked
from pipelines.assets.run import at_work, plan, run
from pipelines.depot import exchange, keys
from pipelines.depot.books.builds import Builds
from pipelines.depot.books.deliveries import Deliveries
from pipelines.depot.storage import Depot
from pipelines.depot.verify import verify
from pipelines.errors import Unusable
from pipelines.taking_in.batch import work_off
from pipelines.taking_in.summary import Summary
from tests.delivery_builders import REPO, STUDY, a_delivery, planned, raw_files, tables, take_in_only, trial_id
from tests.depot_books import faults_of_the_ledger, ledger_lines, records


@pytest.fixture
def inbox(tmp_path: Path) -> Path:
    (tmp_path / "inbox").mkdir()
    return tmp_path / "inbox"


@pytest.fixture
def depot(tmp_path: Path) -> Path:
    return tmp_path / "depot"


@pytest.fixture
def taken_in(inbox: Path, depot: Path, made_once: Callable[[str, Callable[[Path], None]], Path]) -> None:
    """The clean delivery brack-001 lies in the inbox and was taken in."""

    def fill(folder: Path) -> None:
        a_delivery(folder / "inbox")
        go(folder / "inbox", folder / "depot")

    shutil.copytree(made_once("brack-001", fill), inbox.parent, dirs_exist_ok=True)


def go(inbox: Path, depot: Path, study: Path = STUDY) -> Summary:
    return run(study, inbox, depot, "tester", workers=1)


def standings(depot: Path, delivery_id: str) -> dict[str, str]:
    return {row["trial_id"]: row["standing"] for row in tables(depot)[delivery_id]["standings"]}


def angles_known(depot: Path, delivery_id: str) -> set[bool]:
    """Whether footfalls of a delivery have the angle that only a standing trial gives them."""
    return {row["foot_strike_angle_deg"] is not None for row in tables(depot)[delivery_id]["footfalls"]}


def ask(depot: Path, sql: str) -> list[tuple[Any, ...]]:
    with duckdb.connect(str(Depot(depot).warehouse), read_only=True) as connection:
        return connection.execute(sql).fetchall()


def test_a_clean_delivery_is_accepted_and_running_again_does_nothing(inbox: Path, depot: Path) -> None:
    a_delivery(inbox)
    first = go(inbox, depot)
    assert first.exit_code == 0
    assert set(standings(depot, "brack-001").values()) == {"accepted"}
    assert ask(depot, "SELECT count(*) > 4, count(DISTINCT trial_id) FROM footfalls") == [(True, 1)]
    assert ask(depot, "SELECT has_standing_posture FROM trial_outcomes") == [(True,)]
    before = {p: p.stat().st_mtime_ns for p in depot.rglob("*") if p.is_file() and p.name != "depot.lock"}
    second = go(inbox, depot)
    after = {p: p.stat().st_mtime_ns for p in depot.rglob("*") if p.is_file() and p.name != "depot.lock"}
    assert "Nothing new" in second.text()
    assert not second.built
    assert after == before


def test_a_page_that_a_build_does_not_write_keeps_the_checksum_it_was_written_with(
    inbox: Path, depot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_delivery(inbox, faulty={"1": "heavy"})
    go(inbox, depot)
    (sheet,) = (depot / "pages" / "fix").glob("*.html")
    written = sheet.read_bytes()
    sheet.write_bytes(written + b"<!-- by hand -->")
    a_delivery(inbox, 2, runners=("FS-02",), names=("standing",))
    assert go(inbox, depot).built
    assert [(fault.kind, fault.file) for fault in verify(Depot(depot))] == [("built", sheet)]
    sheet.write_bytes(written)
    a_delivery(inbox, 3, runners=("FS-03",), names=("standing",))
    clock = _Clock()
    with monkeypatch.context() as patch:
        patch.setattr(Builds, "put", _broken_off)
        patch.setattr(active, "time", clock)
        with pytest.raises(ZeroDivisionError):
            go(inbox, depot)
    assert len(clock.waited) == 2, "it was tried three times"
    assert clock.waited[1] > clock.waited[0] > 1
    assert go(inbox, depot).built
    assert verify(Depot(depot)) == [], "pages of a build that broke off are those that count"


class _Clock:
    """What Dagster looks at and waits by before it tries a step again: here time goes on by itself."""

    def __init__(self) -> None:
        self.waited: list[float] = []

    def time(self) -> float:
        return time.time() + sum(self.waited)

    def sleep(self, seconds: float) -> None:
        self.waited.append(seconds)


def _broken_off(*_: object, **__: object) -> None:
    raise ZeroDivisionError


@pytest.mark.usefixtures("taken_in")
def test_a_rebuild_makes_warehouse_and_pages_anew_from_the_results_and_judges_nothing(inbox: Path, depot: Path) -> None:
    result, built = records(depot), Depot(depot).warehouse
    pages = {p: p.read_bytes() for p in (depot / "pages").rglob("*.html")}
    with duckdb.connect(str(built)) as connection:
        connection.execute("DELETE FROM footfalls")
    for page in pages:
        page.write_bytes(b"spoiled")
    assert not go(inbox, depot).built, "the books say that all is built"
    again = run(STUDY, inbox, depot, "tester", workers=1, rebuild=True)
    assert (again.exit_code, again.built, again.done) == (0, True, [])
    assert ask(depot, "SELECT count(*) > 4 FROM footfalls") == [(True,)]
    assert {p: p.read_bytes() for p in (depot / "pages").rglob("*.html")} == pages
    assert records(depot) == result


def test_the_raw_store_holds_every_file_under_its_checksum(inbox: Path, depot: Path) -> None:
    folder = a_delivery(inbox)
    take_in_only(inbox, depot)
    sent = {hashlib.sha256(p.read_bytes()).hexdigest() for p in (folder / "data").rglob("*") if p.is_file()}
    assert raw_files(depot) == sent
    for sha in sent:
        assert hashlib.sha256(Depot(depot).store.local(keys.raw(sha)).read_bytes()).hexdigest() == sha


@pytest.mark.usefixtures("taken_in")
def test_the_same_content_under_another_name_is_a_repeat_and_doubles_nothing(inbox: Path, depot: Path) -> None:
    rows = ask(depot, "SELECT count(*) FROM footfalls")
    a_delivery(inbox, 2, arrives_as="again", zipped=True)
    summary = go(inbox, depot)
    assert "nothing was doubled" in summary.text()
    assert sorted(ask(depot, "SELECT status FROM deliveries")) == [("repeat",), ("taken_in",)]
    assert ask(depot, "SELECT count(*) FROM footfalls") == rows
    assert "Nothing new" in go(inbox, depot).text()


@pytest.mark.usefixtures("taken_in")
def test_a_number_that_was_used_for_other_content_stops_the_delivery(inbox: Path, depot: Path) -> None:
    kept = tables(depot)["brack-001"]
    a_delivery(inbox, 1, arrives_as="other", names=("standing", "1", "2"))
    summary = take_in_only(inbox, depot)
    assert summary.exit_code == 0
    assert "delivery number 1 of brack was used before for other content" in summary.text().lower()
    assert "raise Delivery-Number" in summary.text()
    assert tables(depot)["brack-001"] == kept
    assert tables(depot)["brack-001.other"]["deliveries"][0]["status"] == "stopped"


@pytest.mark.usefixtures("taken_in")
def test_what_is_held_and_comes_once_more_in_another_laboratorys_inbox_need_not_be_sent_again(
    inbox: Path, depot: Path
) -> None:
    (inbox / "tarn").mkdir()
    shutil.copytree(inbox / "brack" / "brack-001", inbox / "tarn" / "tarn-009")
    said = take_in_only(inbox, depot).text()
    assert "came before as brack-001, and is held" in said
    assert "raise Delivery-Number" not in said
    assert "Nothing has to be sent: delivery brack-001 counts as it is." in said
    assert "make the bag again" not in said


def test_a_stopped_delivery_does_not_keep_its_number_from_the_mended_one(inbox: Path, depot: Path) -> None:
    broken = a_delivery(inbox, arrives_as="first-try")
    next((broken / "data" / "trials").iterdir()).write_bytes(b"changed on the way")
    stopped = take_in_only(inbox, depot)
    assert stopped.exit_code == 0
    assert "STOPPED" in stopped.text()
    assert tables(depot)["brack-001"]["deliveries"][0]["status"] == "stopped"
    assert raw_files(depot) == set()
    a_delivery(inbox, arrives_as="second-try")
    go(inbox, depot)
    status = {name: t["deliveries"][0]["status"] for name, t in tables(depot).items()}
    assert status == {"brack-001": "taken_in", "brack-001.first-try": "stopped"}
    assert ask(depot, "SELECT count(*) FROM findings_open") == [(0,)]
    assert "Nothing new" in go(inbox, depot).text()


def test_a_delivery_that_is_taken_back_while_a_run_goes_on_is_no_stopped_one(inbox: Path, depot: Path) -> None:
    a_delivery(inbox, 1)
    later = a_delivery(inbox, 2, names=("2",), zipped=True)
    with at_work(STUDY, depot, "tester", inbox, workers=1) as bench:
        for worked in work_off(bench):
            later.unlink(missing_ok=True)  # when the first was worked on; the second may have been opened ahead
            assert worked.arrival
    assert "stopped" not in {line["what"] for line in ledger_lines(depot)}
    assert list(tables(depot)) == ["brack-001"]
    assert bench.summary.exit_code == 2
    assert "gone from the inbox" in bench.summary.text()


def test_bags_in_the_inboxes_of_others_are_those_inboxes_own_whatever_their_name_and_number(
    inbox: Path, depot: Path
) -> None:
    sent = a_delivery(inbox, 1)
    for other in ("corrie", "tarn"):
        shutil.copytree(sent, inbox / other / sent.name)
    shutil.move(sent, inbox.parent / "later")
    take_in_only(inbox, depot)
    shutil.move(inbox.parent / "later", sent)
    take_in_only(inbox, depot)
    found = tables(depot)
    came = {name: own["deliveries"][0] for name, own in found.items()}
    assert sorted((row["site"], row["named_site"], row["status"]) for row in came.values() if row["named_site"]) == [
        ("corrie", "brack", "stopped"), ("tarn", "brack", "stopped"),
    ]  # fmt: skip
    assert (came["brack-001"]["status"], came["brack-001"]["named_site"]) == ("taken_in", None)
    for name in found.keys() - {"brack-001"}:
        assert name.startswith("misplaced-brack-001"), "neither inbox is named to the other"
        (told,) = [f for f in found[name]["findings"] if f["weight"] == "stops"]
        assert told["site"] == came[name]["site"]
        assert told["seen"] == "Site names another site than the one in whose inbox the bag lay."


def test_a_delivery_mended_in_its_place_replaces_what_was_stopped(inbox: Path, depot: Path) -> None:
    folder = a_delivery(inbox, None, arrives_as="new")
    take_in_only(inbox, depot)
    assert list(tables(depot)) == ["brack-unnumbered-new"]
    shutil.rmtree(folder)
    a_delivery(inbox, 1, arrives_as="new")
    take_in_only(inbox, depot)
    assert list(tables(depot)) == ["brack-001"]
    assert [e["what"] for e in ledger_lines(depot) if e["about"] == "brack-unnumbered-new"] == ["stopped", "withdrawn"]


def test_a_resent_trial_takes_the_place_of_the_returned_one(inbox: Path, depot: Path) -> None:
    a_delivery(inbox, faulty={"1": "heavy"})
    first = take_in_only(inbox, depot)
    assert standings(depot, "brack-001")[trial_id("1")] == "returned"
    assert "goes back" in first.text()
    assert trial_id("1") in first.text()
    found = tables(depot)["brack-001"]["findings"]
    assert {f["check_name"] for f in found if f["weight"] == "returns"} == {"mean_vertical_force_is_body_weight"}
    a_delivery(inbox, 2)
    go(inbox, depot)
    history = ask(depot, f"SELECT delivery_id, standing, superseded FROM standings WHERE trial_id = '{trial_id('1')}'")
    assert sorted(history) == [("brack-001", "returned", True), ("brack-002", "accepted", False)]
    ((accepted, returned, pooled),) = ask(
        depot,
        "SELECT any_value(trial_order) FILTER (standing = 'accepted'), any_value(trial_order) FILTER (standing = "
        f"'returned'), (SELECT trial_order FROM trials WHERE trial_id = '{trial_id('1')}') FROM standings "
        f"WHERE trial_id = '{trial_id('1')}'",
    )
    assert accepted == returned == pooled > 0, "the place in the session is known of a trial that went back as well"
    assert ask(depot, "SELECT DISTINCT delivery_id FROM footfalls") == [("brack-002",)]
    assert ask(depot, "SELECT count(*) FROM findings_open") == [(0,)]


def test_a_failed_resend_does_not_take_the_accepted_trial_away(inbox: Path, depot: Path) -> None:
    a_delivery(inbox)
    a_delivery(inbox, 2, faulty={"1": "heavy"})
    go(inbox, depot)
    assert ask(depot, "SELECT DISTINCT delivery_id FROM footfalls") == [("brack-001",)]
    assert ask(depot, "SELECT DISTINCT delivery_id FROM findings_open") == [("brack-002",)]


def test_a_withheld_trial_is_kept_apart_and_only_its_number_is_told(inbox: Path, depot: Path) -> None:
    a_delivery(inbox, runners=("FS-01", "FS-02"), withdrawn={"FS-02": 0})
    take_in_only(inbox, depot)
    everywhere = tables(depot)["brack-001"]
    names = {"brack-001.withheld-1", "brack-001.withheld-2"}
    rows = [r for r in everywhere["standings"] if r["standing"] == "withheld"]
    assert {r["trial_id"] for r in rows} == names
    assert {r[c] for r in rows for c in ("participant_id", "visit", "condition", "kind")} == {None}
    shas = {hashlib.sha256(planned("FS-02", name)[1]).hexdigest() for name in ("standing", "1")}
    assert not shas & raw_files(depot)
    closed = Depot(depot).root / "closed" / "brack-001"
    assert shas < {p.name for p in closed.iterdir()}
    assert any(b"FS-02" in p.read_bytes() for p in closed.iterdir()), "the tables with the runner's rows are there, too"
    assert not any(b"FS-02" in p.read_bytes() for p in (Depot(depot).root / "raw").rglob("*") if p.is_file())
    assert {f["weight"] for f in everywhere["findings"] if f["trial_id"] in names} == {"withholds"}
    assert "FS-02" not in json.dumps(everywhere, default=str)


def test_a_file_that_no_table_names_is_kept_apart(inbox: Path, depot: Path) -> None:
    a_delivery(inbox, replace_files={"trials/stray.c3d": b"whose is this?"})
    take_in_only(inbox, depot)
    sha = hashlib.sha256(b"whose is this?").hexdigest()
    assert sha not in raw_files(depot)
    assert (Depot(depot).root / "closed" / "brack-001" / sha).read_bytes() == b"whose is this?"


def test_a_standing_trial_that_comes_later_gives_the_waiting_trials_their_angles(inbox: Path, depot: Path) -> None:
    a_delivery(inbox, names=("1",))
    take_in_only(inbox, depot)
    assert angles_known(depot, "brack-001") == {False}
    a_delivery(inbox, 2, names=("standing",))
    summary = take_in_only(inbox, depot)
    assert "standing trial it waited for" in summary.text()
    assert angles_known(depot, "brack-001") == {True}
    assert "Nothing new" in take_in_only(inbox, depot).text()


def test_the_standing_trial_of_an_earlier_delivery_serves_a_later_one(inbox: Path, depot: Path) -> None:
    a_delivery(inbox, names=("standing",))
    a_delivery(inbox, 2, names=("1",))
    take_in_only(inbox, depot)
    assert angles_known(depot, "brack-002") == {True}


@pytest.mark.usefixtures("taken_in")
def test_a_changed_study_file_judges_everything_again_even_when_the_inbox_is_empty(
    inbox: Path, depot: Path, tmp_path: Path
) -> None:
    before = tables(depot)["brack-001"]
    study = tmp_path / "study" / "study.yaml"
    shutil.copytree(STUDY.parent / "sites", study.parent / "sites")
    study.write_text(STUDY.read_text().replace("contact_threshold_n: 20", "contact_threshold_n: 45"))
    shutil.rmtree(inbox / "brack")
    summary = take_in_only(inbox, depot, study)
    assert "Settings changed: processing.contact_threshold_n." in summary.text()
    after = tables(depot)["brack-001"]
    assert after["footfalls"][0]["contact_time_s"] < before["footfalls"][0]["contact_time_s"]
    assert {r["study_version"] for r in after["footfalls"]} != {r["study_version"] for r in before["footfalls"]}
    assert after["delivery_files"] == before["delivery_files"]
    assert "Nothing new" in take_in_only(inbox, depot, study).text()


@pytest.mark.usefixtures("taken_in")
def test_a_delivery_that_a_new_study_file_stops_is_stopped_and_comes_back_with_the_old_one(
    inbox: Path, depot: Path, tmp_path: Path
) -> None:
    """The new study knows the laboratory no more, so bag-info.txt does not fit."""
    before = tables(depot)
    study = tmp_path / "study" / "study.yaml"
    shutil.copytree(STUDY.parent / "sites", study.parent / "sites")
    profile = study.parent / "sites" / "brack.yaml"
    profile.write_text(profile.read_text().replace("site: brack\n", "site: scree\n"))
    study.write_text(STUDY.read_text().replace("  brack:", "  scree:"))
    assert "STOPPED" in go(inbox, depot, study).text()
    assert ask(depot, "SELECT count(*) FROM footfalls") == [(0,)]
    assert "Nothing new" in go(inbox, depot, study).text()
    shutil.rmtree(inbox / "brack")
    take_in_only(inbox, depot)
    assert tables(depot) == before


def test_an_unreadable_trial_goes_back_and_the_others_stay(inbox: Path, depot: Path) -> None:
    file = planned("FS-01", "1")[0].file
    a_delivery(inbox, names=("standing", "1", "2"), replace_files={file: planned("FS-01", "1")[1][:5000]})
    summary = take_in_only(inbox, depot)
    assert standings(depot, "brack-001") == {
        trial_id("standing"): "accepted",
        trial_id("1"): "returned",
        trial_id("2"): "accepted",
    }
    assert summary.exit_code == 0


def test_a_trial_whose_reading_did_not_end_is_kept_apart_until_it_can_be_read(
    inbox: Path, depot: Path, tmp_path: Path
) -> None:
    """Nobody knows yet whether its files tell who was recorded. It takes longer than limits are looked at, 0.1 s."""
    study = tmp_path / "study" / "study.yaml"
    shutil.copytree(STUDY.parent / "sites", study.parent / "sites")
    study.write_text(STUDY.read_text() + "trial_time_limit_s: 0.0001\n")
    long = replace(planned("FS-01", "1")[0], asked=Asked(duration_s=15.0))
    a_delivery(inbox, names=("1",), replace_files={long.file: long.content()})
    take_in_only(inbox, depot, study)
    place = Depot(depot)
    with place.opened() as books:
        payload = books.deliveries.payload("brack-001")
    (path,) = payload.closed
    assert path.endswith(".c3d")
    assert not place.store.local(keys.raw(payload.stored[path])).exists()
    assert standings(depot, "brack-001") == {trial_id("1"): "returned"}
    study.write_text(STUDY.read_text())
    take_in_only(inbox, depot, study)
    assert place.store.local(keys.raw(payload.stored[path])).exists()
    assert standings(depot, "brack-001") == {trial_id("1"): "accepted"}


def test_something_that_is_no_delivery_is_named_and_left_alone(inbox: Path, depot: Path) -> None:
    a_delivery(inbox)
    (inbox / "brack" / "notes").mkdir()
    (inbox / "readme.txt").write_text("hello")
    text = take_in_only(inbox, depot).text()
    assert "brack/notes" in text
    assert "readme.txt" in text


def test_an_inbox_that_is_not_there_is_said_in_plain_words(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="no such folder"):
        go(tmp_path / "none", tmp_path / "depot")
    assert not (tmp_path / "depot").exists()


def test_a_folder_that_is_no_inbox_is_told_before_a_depot_is_made(tmp_path: Path) -> None:
    a_delivery(tmp_path / "above" / "inbox", names=("standing",))
    a_delivery(tmp_path / "above" / "inbox", 2, names=("standing",))
    (tmp_path / "above" / "README.md").write_text("Where the inbox is.")
    for ask in (run, plan):
        with pytest.raises(Unusable, match=r"It is no inbox: none of the 2 .* brack, corrie, tarn"):
            ask(STUDY, tmp_path / "above", tmp_path / "depot", "tester")
    assert not list(tmp_path.glob("depot*"))


class _KilledError(BaseException):
    """Ends the run the way a signal would: no handler of ours catches it."""


def _renames(monkeypatch: pytest.MonkeyPatch, die_at: int | None) -> list[int]:
    """Count every rename; before the one with number ``die_at`` the run dies."""
    count = [0]
    for name in ("rename", "replace"):
        original = getattr(os, name)

        def counted(source: Any, target: Any, original: Any = original, **more: Any) -> None:
            count[0] += 1
            if count[0] == die_at:
                raise _KilledError
            original(source, target, **more)

        monkeypatch.setattr(os, name, counted)
    return count


def test_a_run_killed_before_any_rename_leaves_the_depot_whole_and_the_next_run_finishes(
    inbox: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Deaths at renames all over the run, with an older result in place so that it must be replaced."""
    a_delivery(inbox, names=("1",))
    older = tmp_path / "older"
    go(inbox, older)
    a_delivery(inbox, 2, names=("standing",))  # makes brack-001 be judged again, too
    shutil.copytree(older, wanted := tmp_path / "wanted")
    with monkeypatch.context() as patch:
        total = _renames(patch, None)
        go(inbox, wanted)
    complete = tables(wanted)
    assert total[0] > 12
    for die_at in (2, total[0] // 2, total[0]):
        shutil.copytree(older, depot := tmp_path / f"depot{die_at}")
        with monkeypatch.context() as patch:
            _renames(patch, die_at)
            with pytest.raises(_KilledError):
                go(inbox, depot)
        for name, found in tables(depot).items():
            assert "standings" in found, f"{name} is not whole after a death at rename {die_at}"
        assert ask(depot, "SELECT count(*) > 0 FROM trials") == [(True,)], "an old warehouse can still be read"
        go(inbox, depot)
        assert tables(depot) == complete
        assert faults_of_the_ledger(depot) == []
        told = {line["details"].get("result") for line in ledger_lines(depot)}
        assert {r.result for r in records(depot)} <= told
        assert not list(Depot(depot).work.iterdir())


@pytest.mark.usefixtures("taken_in")
@pytest.mark.parametrize("moment", [1, 2, 3], ids=["nothing moved", "the older moved away", "the books not written"])
def test_a_result_that_was_being_replaced_is_put_back(
    inbox: Path, depot: Path, monkeypatch: pytest.MonkeyPatch, moment: int
) -> None:
    before = tables(depot)
    place = Depot(depot)
    work = place.new_work("brack-001")

    def killed() -> None:
        raise _KilledError

    with monkeypatch.context() as patch, place.opened(to_write=True):
        _renames(patch, moment)
        with pytest.raises(_KilledError):
            exchange.publish(place, work, "brack-001", killed)
    assert (place.result("brack-001").local("trials.parquet")).exists() == (moment == 1)
    assert "Nothing new" in go(inbox, depot).text()
    assert tables(depot) == before
    assert not list(place.work.iterdir())


@pytest.mark.usefixtures("taken_in")
def test_a_result_the_books_could_not_take_is_put_back_at_once(inbox: Path, depot: Path) -> None:
    before = tables(depot)
    place = Depot(depot)

    def failing() -> None:
        raise OSError("planted")

    with pytest.raises(OSError, match="planted"), place.opened(to_write=True):
        exchange.publish(place, place.new_work("brack-001"), "brack-001", failing)
    assert tables(depot) == before


def test_a_first_result_that_the_books_do_not_know_is_taken_back(
    inbox: Path, depot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_delivery(inbox)
    with monkeypatch.context() as patch:
        patch.setattr(Deliveries, "put", _killed)
        with pytest.raises(_KilledError):
            take_in_only(inbox, depot)
    assert list(tables(depot)) == ["brack-001"]
    with Depot(depot).writing("ann"):
        assert tables(depot) == {}
    assert "brack-001: 2 accepted" in take_in_only(inbox, depot).text()


def _killed(*_: object) -> None:
    raise _KilledError


@pytest.mark.usefixtures("taken_in")
@pytest.mark.parametrize(("lost", "told"), [("the folder", "brack-001"), ("the row", "not what the last command left")])
def test_folders_and_books_that_do_not_fit_are_refused_and_nothing_is_removed(
    inbox: Path, depot: Path, lost: str, told: str
) -> None:
    place = Depot(depot)
    if lost == "the folder":
        shutil.rmtree(place.result("brack-001").local())
    else:
        with closing(sqlite3.connect(depot / "books.sqlite")) as connection, connection:
            connection.execute("DELETE FROM deliveries")
    with pytest.raises(Unusable, match=told):
        go(inbox, depot)
    assert list(tables(depot)) == ([] if lost == "the folder" else ["brack-001"])


def test_a_second_run_refuses_and_names_the_holder(inbox: Path, depot: Path) -> None:
    a_delivery(inbox)
    hold = (
        "import sys, time; from pipelines.depot.storage import Depot\n"
        "with Depot(sys.argv[1]).writing('ann'): print('held', flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", hold, str(depot)], cwd=REPO, stdout=subprocess.PIPE) as other:
        try:
            assert other.stdout is not None
            other.stdout.readline()
            with pytest.raises(Unusable, match=rf"process {other.pid} .*ann"):
                take_in_only(inbox, depot)
        finally:
            other.kill()
    assert "brack-001" in take_in_only(inbox, depot).text(), "the lock goes with its holder"


def test_the_same_process_cannot_write_twice_at_once(depot: Path) -> None:
    with Depot(depot).writing("ann"), pytest.raises(Unusable, match="Another run"), Depot(depot).writing("ben"):
        pass


def test_a_waiting_writer_gets_its_turn(depot: Path) -> None:
    hold = (
        "import sys; from pathlib import Path; from pipelines.depot.storage import Depot\n"
        "with Depot(sys.argv[1]).writing('ann'): print('held', flush=True); sys.stdin.read(); Path(sys.argv[2]).touch()"
    )
    ending, pipes = depot.with_name("ending"), {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    words = [sys.executable, "-c", hold, str(depot), str(ending)]
    with subprocess.Popen(words, cwd=REPO, **pipes) as other:
        assert other.stdin is not None
        assert other.stdout is not None
        other.stdout.readline()
        threading.Timer(0.3, other.stdin.close).start()
        with Depot(depot).writing("ben", wait_s=60):
            assert ending.exists(), "the other had its turn to the end"


def test_a_file_that_changes_while_it_is_taken_in_is_not_taken_in(
    inbox: Path, depot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = a_delivery(inbox)
    file = folder / "data" / planned("FS-01", "1")[0].file
    original = Depot.store_raw

    def still_uploading(self: Depot, source: Path, sha256: str) -> Path:
        if source == file:
            file.write_bytes(b"the upload goes on")
        return original(self, source, sha256)

    with monkeypatch.context() as patch:
        patch.setattr(Depot, "store_raw", still_uploading)
        summary = take_in_only(inbox, depot)
    assert summary.exit_code == 2
    assert "changed while it was taken in" in summary.text()
    assert tables(depot) == {}
    file.write_bytes(planned("FS-01", "1")[1])
    assert take_in_only(inbox, depot).exit_code == 0
    assert set(standings(depot, "brack-001").values()) == {"accepted"}


def test_a_fault_of_ours_in_one_delivery_does_not_keep_the_next_one_out(
    inbox: Path, depot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_delivery(inbox)
    a_delivery(inbox, 2, runners=("FS-02",))
    original = exchange.publish

    def broken(self: Depot, work: Path, delivery_id: str, decide: Any) -> None:
        if delivery_id == "brack-001":
            raise ZeroDivisionError("planted")
        original(self, work, delivery_id, decide)

    with monkeypatch.context() as patch:
        patch.setattr(exchange, "publish", broken)
        summary = take_in_only(inbox, depot)
    assert summary.exit_code == 3
    assert "ZeroDivisionError: planted" in summary.text()
    assert list(tables(depot)) == ["brack-002"]
    take_in_only(inbox, depot)
    assert list(tables(depot)) == ["brack-001", "brack-002"]


def test_a_disk_that_fills_up_while_the_warehouse_is_made_is_told_at_once_and_the_next_run_finishes(
    inbox: Path, depot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_delivery(inbox, names=("standing",))
    go(inbox, depot)
    a_delivery(inbox, 2, names=("standing",), runners=("FS-02",))
    opened = Path.open

    def full(path: Path, mode: str = "r", *others: Any, **named: Any) -> Any:
        if path.name != keys.WAREHOUSE or "w" not in mode:
            return opened(path, mode, *others, **named)
        with opened(path, "wb") as file:
            file.write(b"as far as it went")
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))

    clock = _Clock()
    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", full)
        patch.setattr(active, "time", clock)
        with pytest.raises(Unusable, match="The disk is full"):
            go(inbox, depot)
    assert clock.waited == [], "it is not tried again"
    assert list((depot / "work").iterdir()) == [], "what fills the disk is not left"
    assert go(inbox, depot).built
    assert ask(depot, "SELECT count(*) FROM deliveries") == [(2,)]


def test_a_trial_id_of_another_laboratory_is_returned_not_mixed(inbox: Path, depot: Path) -> None:
    """The other laboratory's bag carries brack's session and trial ids."""
    from demo_site_uploads.simulator.bags import bag_info, make_bag

    folder = a_delivery(inbox)
    take_in_only(inbox, depot)
    data = folder / "data"
    payload = {p.relative_to(data).as_posix(): p.read_bytes() for p in data.rglob("*") if p.is_file()}
    payload["trials.csv"] = payload["trials.csv"].replace(b",1,", b",2,").replace(b",2,\n", b",2,another lab\n")
    make_bag(inbox / "corrie" / "corrie-001", payload, bag_info("corrie", 1))
    go(inbox, depot)
    assert set(standings(depot, "corrie-001").values()) == {"returned"}
    seen = {f["seen"] for f in tables(depot)["corrie-001"]["findings"] if f["check_name"] == "keys_are_unique"}
    assert any("was used before by another site" in text for text in seen)
    assert not any("brack" in text.partition("was used before")[2] for text in seen), "which one is not its business"
    assert ask(depot, "SELECT DISTINCT site FROM trials") == [("brack",)]
