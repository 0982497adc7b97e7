"""A code in consents.csv that is nobody's and nearly a runner's withholds the runner it may mean, and is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from demo_site_uploads.simulator.tables import consent_rows, csv_bytes
from pipelines.assets.deciding import release
from pipelines.assets.run import run
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from schemas.delivery import SENT_CONSENTS, SENT_PARTICIPANTS, SENT_SESSIONS, SENT_TRIALS
from tests.delivery_builders import STUDY, a_delivery, planned, tables, take_in_only

GIVEN = [row for runner in ("FS-01", "FS-02") for row in consent_rows(planned(runner, "standing")[0].session.runner)]


def taken_in(folder: Path, number: int, rows: list[dict], *, empty: bool = False) -> Depot:
    replaced = {"consents.csv": csv_bytes(SENT_CONSENTS, rows)}
    if empty:
        replaced |= {str(t.file_name): csv_bytes(t, []) for t in (SENT_PARTICIPANTS, SENT_SESSIONS, SENT_TRIALS)}
    a_delivery(folder / "inbox", number, runners=("FS-01", "FS-02"), names=("standing",), replace_files=replaced)
    depot = Depot(folder / "depot")
    take_in_only(folder / "inbox", depot.root)
    return depot


def accepted(depot: Depot, name: str = "brack-001") -> set[str]:
    rows = tables(depot.root)[name]["standings"]
    return {row["participant_id"] for row in rows if row["standing"] == "accepted"}


def told(depot: Depot, name: str = "brack-001") -> str:
    return " ".join(row["seen"] for row in tables(depot.root)[name]["findings"])


@pytest.mark.parametrize("code", ["FS01", "FS-O1", "FS-011", "01"])
def test_a_withdrawal_under_a_near_code_withholds_the_runner(tmp_path: Path, code: str) -> None:
    line = {**GIVEN[0], "participant_id": code, "scope": "pooling", "event": "withdrawn"}
    depot = taken_in(tmp_path, 1, [*GIVEN, line])
    assert "FS-01" not in accepted(depot)
    assert "did you mean" in told(depot)


def test_consent_given_under_a_near_code_does_not_count_and_is_told_as_what_it_may_be(tmp_path: Path) -> None:
    rows = [row | {"participant_id": row["participant_id"].replace("FS-01", "FS01")} for row in GIVEN]
    depot = taken_in(tmp_path, 1, rows)
    assert accepted(depot) == {"FS-02"}
    assert "has a code that is nearly the runner's: did you mean it?" in told(depot)


def test_a_withdrawal_under_a_near_code_in_a_later_delivery_reaches_the_earlier_one(tmp_path: Path) -> None:
    depot = taken_in(tmp_path, 1, GIVEN)
    assert accepted(depot) == {"FS-01", "FS-02"}
    line = {**GIVEN[0], "participant_id": "FS01", "scope": "pooling", "event": "withdrawn"}
    taken_in(tmp_path, 2, [line], empty=True)
    assert accepted(depot) == {"FS-02"}


def test_a_withdrawal_under_a_near_code_that_came_first_waits_for_the_runner(tmp_path: Path) -> None:
    line = {**GIVEN[0], "participant_id": "FS01", "scope": "pooling", "event": "withdrawn"}
    taken_in(tmp_path, 1, [line], empty=True)
    depot = taken_in(tmp_path, 2, GIVEN)
    assert accepted(depot, "brack-002") == {"FS-02"}
    assert take_in_only(tmp_path / "inbox", depot.root).text().startswith("Nothing new")


@pytest.mark.parametrize("separator", [";", ","])
def test_a_withdrawal_in_a_line_that_is_no_row_withholds_the_runner_of_the_earlier_delivery(
    tmp_path: Path, separator: str
) -> None:
    depot = taken_in(tmp_path, 1, GIVEN)
    header = "participant_id,scope,event,study_day,form_version\n"
    lines = f"{header}FS-01,pooling,withdrawn,0\nFS-02,pooling,given,0\n# XQ-77 is still to come\n"
    a_delivery(tmp_path / "inbox", 2, replace_files={"consents.csv": lines.replace(",", separator).encode()})
    take_in_only(tmp_path / "inbox", depot.root)
    assert accepted(depot) == {"FS-02"}


def test_a_word_of_withdrawal_in_the_version_of_the_form_counts_against(tmp_path: Path) -> None:
    depot = taken_in(tmp_path, 1, [{**GIVEN[0], "form_version": "2, withdrawn by letter"}, *GIVEN[1:]])
    assert accepted(depot) == {"FS-02"}


def test_a_consents_table_that_nobody_can_read_keeps_a_release_from_being_frozen(tmp_path: Path) -> None:
    depot = taken_in(tmp_path, 1, GIVEN)
    a_delivery(tmp_path / "inbox", 2, replace_files={"consents.csv": b"PK\x03\x04 a workbook"})
    told = run(STUDY, tmp_path / "inbox", depot.root, "tester", workers=1).text()
    assert "A WITHDRAWAL MAY BE IN consents.csv of brack-002" in told
    assert "consents.csv of <a" in (depot.root / "pages" / "index.html").read_text()
    with (
        depot.writing("an older one"),
        depot.opened(to_write=True) as books,
        books.transaction(),
    ):  # noted nothing of it
        books.writer().exec_driver_sql("DELETE FROM delivery_stamps WHERE what = 'consents_unread'")
    with pytest.raises(Unusable, match="a withdrawal may be in it"):
        release(STUDY, depot.root, "first", "tester")
    assert release(STUDY, depot.root, "first", "tester", consents="Nobody withdraws in it.").entry.trial_count == 2


def test_a_stopped_delivery_that_came_mended_under_another_name_keeps_no_release_back(tmp_path: Path) -> None:
    depot = taken_in(tmp_path, 1, GIVEN)
    a_delivery(tmp_path / "inbox", 2, replace_files={"consents.csv": b"PK\x03\x04 a workbook"})
    run(STUDY, tmp_path / "inbox", depot.root, "tester", workers=1)
    a_delivery(tmp_path / "inbox", 2, arrives_as="mended", runners=("FS-03",), names=("standing",))
    told = run(STUDY, tmp_path / "inbox", depot.root, "tester", workers=1).text()
    assert "MAY BE IN" not in told
    assert "could not be read, and a withdrawal" not in (depot.root / "pages" / "index.html").read_text()
    assert release(STUDY, depot.root, "first", "tester").entry.trial_count == 3


def test_a_withdrawal_under_a_code_of_nobody_is_told_by_the_run_and_on_the_overview(tmp_path: Path) -> None:
    line = {**GIVEN[0], "participant_id": "XQ-77", "scope": "pooling", "event": "withdrawn"}
    rows = csv_bytes(SENT_CONSENTS, [*GIVEN, line])
    a_delivery(
        tmp_path / "inbox", 1, runners=("FS-01", "FS-02"), names=("standing",), replace_files={"consents.csv": rows}
    )
    told = run(STUDY, tmp_path / "inbox", tmp_path / "depot", "tester", workers=1).text()
    assert "A CODE THAT IS NOBODY'S, brack-001" in told
    assert "XQ-77" not in told
    assert "under a code that is no runner" in (tmp_path / "depot" / "pages" / "index.html").read_text()
