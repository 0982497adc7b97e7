"""What a delivery takes from others: when that changes it is judged again, for the true reason, and no other is."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from demo_site_uploads.simulator.bags import bag_info, descriptor, make_bag
from demo_site_uploads.simulator.tables import Rows, consent_rows, participant_row
from pipelines.assets.run import plan
from pipelines.taking_in.due import (
    CONSENTS_CHANGED,
    OTHERS_CHANGED,
    REFERENCES_CHANGED,
    STANDING_CAME,
    Due,
    in_turn,
)
from tests.delivery_builders import STUDY, a_delivery, planned, tables, take_in_only
from tests.depot_books import ledger_lines
from tests.pipelines.depot.books.rows import a_record


def go(place: Path) -> dict[str, str]:
    """What a run did: delivery -> why."""
    summary = take_in_only(place / "inbox", place / "depot", place / "study.yaml")
    assert summary.exit_code == 0, summary.text()
    return {done.record.delivery_id: done.why for done in summary.done}


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session in two deliveries: in the first its trial in the reference condition, in the second another trial."""
    place = tmp_path_factory.mktemp("leaning")
    shutil.copytree(STUDY.parent / "sites", place / "sites")
    shutil.copyfile(STUDY, place / "study.yaml")
    a_delivery(place / "inbox", 1, channels=True)
    a_delivery(place / "inbox", 2, names=("1",), condition="thin_soled", channels=True)
    go(place)
    return place


@pytest.fixture
def place(taken_in: Path, tmp_path: Path) -> Path:
    return shutil.copytree(taken_in, tmp_path / "place")


def given(place: Path, delivery: str) -> dict[tuple[str, str], float]:
    rows = tables(place / "depot")[delivery]["muscle_references"]
    return {(row["muscle"], row["side"]): row["reference_uv"] for row in rows}


def used(place: Path, delivery: str) -> dict[tuple[str, str], float]:
    rows = tables(place / "depot")[delivery]["muscle_amplitudes"]
    return {(row["muscle"], row["side"]): row["reference_uv"] for row in rows if row["reference_uv"] is not None}


def test_muscle_references_of_another_delivery_are_used_and_followed_when_a_newer_one_comes(place: Path) -> None:
    first = given(place, "brack-001")
    assert first
    assert given(place, "brack-002") == {}
    assert used(place, "brack-001") == used(place, "brack-002") == first
    a_delivery(place / "inbox", 3, names=("2",), channels=True)
    assert go(place) == {"brack-003": "new", "brack-002": REFERENCES_CHANGED}
    newer = given(place, "brack-003")
    assert used(place, "brack-002") == newer != first
    assert used(place, "brack-001") == first, "it has its own"
    assert go(place) == {}


def test_a_name_on_the_list_judges_all_again_and_a_comment_in_it_judges_nothing(place: Path) -> None:
    names = place / "names.txt"
    names.write_text("# who works here\nBertholdina Quux\n", encoding="utf-8")
    told = plan(place / "study.yaml", place / "inbox", place / "depot", "tester", workers=1)
    assert "brack-001: The list of names changed.\n" in told
    assert "quux" not in told.lower()
    assert go(place) == dict.fromkeys(("brack-001", "brack-002"), "The list of names changed.")
    names.write_text("# nobody new\n\nbertholdina   QUUX\n", encoding="utf-8")
    assert go(place) == {}
    assert b"quux" not in (place / "depot" / "books.sqlite").read_bytes().lower()
    names.unlink()
    assert go(place).keys() == {"brack-001", "brack-002"}


def copies_told(place: Path, delivery: str) -> list[str]:
    findings = tables(place / "depot")[delivery]["findings"]
    return [f["trial_id"] for f in findings if "byte for byte" in f["seen"]]


def test_a_trial_that_was_the_copy_of_one_that_is_withheld_now_is_judged_again(place: Path) -> None:
    trial, _ = planned("FS-02", "1")
    copied = {trial.file: planned("FS-01", "1")[1]}
    a_delivery(place / "inbox", 3, runners=("FS-02",), replace_files=copied)
    assert go(place) == {"brack-003": "new"}
    assert copies_told(place, "brack-003") == [trial.trial_id]
    a_delivery(place / "inbox", 4, names=("standing",), withdrawn={"FS-01": 0})
    told = go(place)
    assert told.pop("brack-003") == OTHERS_CHANGED
    assert told == {"brack-004": "new", "brack-001": CONSENTS_CHANGED, "brack-002": CONSENTS_CHANGED}
    assert copies_told(place, "brack-003") == []
    assert copies_told(place, "brack-001") == [], "it came first"


def test_who_leans_on_a_later_delivery_is_judged_again_after_it_and_once(tmp_path: Path) -> None:
    shutil.copytree(STUDY.parent / "sites", tmp_path / "sites")
    study = Path(shutil.copyfile(STUDY, tmp_path / "study.yaml"))
    a_delivery(tmp_path / "inbox", 1, names=("1",))
    a_delivery(tmp_path / "inbox", 2, names=("standing",))
    assert go(tmp_path) == {"brack-002": "new", "brack-001": STANDING_CAME}
    study.write_text(study.read_text().replace("contact_threshold_n: 20 ", "contact_threshold_n: 21 "))
    lines = len(ledger_lines(tmp_path / "depot"))
    assert set(go(tmp_path).values()) == {"Settings changed: processing.contact_threshold_n."}
    told = [(line["what"], line["about"]) for line in ledger_lines(tmp_path / "depot")[lines:]]
    assert told == [("taken_in", "brack-002"), ("taken_in", "brack-001")]


def a_later_run(inbox: Path, number: int) -> None:
    """A run of the second visit, of which trials.csv says that the standing trial of the first serves it."""
    trial, content = planned("FS-01", "1", "week_5")
    first = planned("FS-01", "standing")[0].session
    rows = Rows(
        participants=[participant_row(first.runner)],
        consents=consent_rows(first.runner),
        sessions=[first.row(), trial.session.row()],
        trials=[trial.row(1) | {"standing_session_id": first.session_id}],
    )
    payload = rows.files() | {"datapackage.json": descriptor("test"), trial.file: content}
    make_bag(inbox / "brack" / f"brack-{number:03d}", payload, bag_info("brack", number))


def test_a_standing_trial_serves_a_run_of_another_visit_that_names_its_session(tmp_path: Path) -> None:
    shutil.copytree(STUDY.parent / "sites", tmp_path / "sites")
    shutil.copyfile(STUDY, tmp_path / "study.yaml")

    def angles() -> set[bool]:
        footfalls = tables(tmp_path / "depot")["brack-001"]["footfalls"]
        return {row["foot_strike_angle_deg"] is not None for row in footfalls}

    a_later_run(tmp_path / "inbox", 1)
    go(tmp_path)
    assert angles() == {False}
    a_delivery(tmp_path / "inbox", 2, names=("standing",))
    assert go(tmp_path) == {"brack-002": "new", "brack-001": STANDING_CAME}
    assert angles() == {True}
    assert go(tmp_path) == {}


def test_deliveries_that_take_from_each_other_come_in_their_order() -> None:
    due = [Due(a_record(f"brack-00{n}"), "why") for n in (1, 2, 3)]
    assert in_turn(due, {}) == due
    assert in_turn(due, {"brack-001": {"brack-003", "corrie-009"}}) == [due[1], due[2], due[0]]
    assert in_turn(due, {"brack-001": {"brack-002"}, "brack-002": {"brack-001"}}) == [due[2], due[0], due[1]]
