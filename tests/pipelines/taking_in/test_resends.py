"""A trial that comes again: what differs, which version counts, and that the reason is kept without naming the runner."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipelines.assets.run import run
from pipelines.deciding.texts import decide, now, texts_of
from pipelines.depot.storage import Depot
from pipelines.taking_in.resends import PARTS, parts_of, without_ids
from schemas.consent import Consent
from schemas.received import PayloadFile
from tests.builders import a_study
from tests.checks.received_builders import RUNNER, SESSION, a_row
from tests.checks.received_builders import a_delivery as received_delivery
from tests.delivery_builders import STUDY, a_delivery, trial_id
from tests.depot_books import ledger_lines

STANDING = trial_id("standing")


def sent(shas: dict[str, str] | None = None, **tables: Any) -> Consent:
    """A delivery of one trial, T1, with the checksums of its files."""
    shas = {"trials/T1.c3d": "a" * 64, **(shas or {})}
    received = received_delivery(**{"sent_trials": [a_row("T1")], **tables})
    files = tuple(PayloadFile(path, 1, sha) for path, sha in shas.items())
    return Consent.of(replace(received, files=files), a_study())


CHANNEL = {"trial_id": "T1", "label": "emg", "role": "muscle", "unit_code": "mV"}


@pytest.mark.parametrize(
    ("other", "part"),
    [
        (sent({"trials/T1.c3d": "b" * 64}), "its file"),
        (sent({"T1.edf": "b" * 64}, sent_trials=[a_row("T1", sidecar="T1.edf")]), "its second file"),
        (sent(sent_trials=[a_row("T1", condition="unshod")]), "its row of trials.csv"),
        (sent(sent_sessions=[{**SESSION, "mass_kg": 61.4}]), "its row of sessions.csv"),
        (sent(sent_participants=[{**RUNNER, "stature_m": 1.72}]), "its runner's row of participants.csv"),
        (sent(sent_channels=[CHANNEL]), "its rows of channels.csv"),
    ],
    ids=PARTS,
)
def test_a_change_is_seen_in_the_part_it_was_made_in(other: Consent, part: str) -> None:
    before, after = parts_of(sent())["T1"], parts_of(other)["T1"]
    assert [name for name, a, b in zip(PARTS, before, after, strict=True) if a != b] == [part]


@pytest.mark.parametrize(
    "same",
    [
        sent(sent_trials=[a_row("T1", comment="again", resend_reason="asked for")]),
        sent({"again/T1.c3d": "a" * 64}, sent_trials=[a_row("T1", file="again/T1.c3d")]),
        sent(sent_participants=[{**RUNNER, "habitual_footwear": "shod"}]),
    ],
    ids=["comment and reason", "another path for the same bytes", "what nothing is computed from"],
)
def test_what_changes_no_outcome_is_no_change(same: Consent) -> None:
    assert parts_of(same)["T1"] == parts_of(sent())["T1"]


def test_ids_are_left_out_of_what_the_ledger_is_told() -> None:
    told = without_ids("FS-01-w0-1 of FS-01 was exchanged with FS-011, not FS-01a.", ["FS-01", "FS-01-w0-1"])
    assert told == "(an id) of (an id) was exchanged with FS-011, not FS-01a."
    assert without_ids("nothing to leave out", []) == "nothing to leave out"


def go(inbox: Path, depot: Path) -> str:
    return run(STUDY, inbox, depot, "tester", workers=1).text()


def versions(depot: Path) -> list[tuple[str, str, bool]]:
    """Delivery, standing and whether it was replaced, of every version of the standing trial."""
    return ask(
        depot,
        f"SELECT delivery_id, standing, superseded FROM standings WHERE trial_id = '{STANDING}' ORDER BY delivery_id",
    )


def ask(depot: Path, sql: str) -> list[tuple[Any, ...]]:
    with duckdb.connect(str(Depot(depot).warehouse), read_only=True) as connection:
        return connection.execute(sql).fetchall()


def test_a_change_without_a_reason_goes_back_and_the_accepted_version_stays(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, 1, names=("standing",))
    a_delivery(inbox, 2, names=("standing",), faulty={"standing": "as good"})
    a_delivery(inbox, 3, names=("standing",), runners=("FS-01", "FS-02"))  # the first version again, unchanged
    go(inbox, depot)
    assert versions(depot) == [
        ("brack-001", "accepted", True),
        ("brack-002", "returned", True),
        ("brack-003", "accepted", False),
    ]
    ((seen,),) = ask(depot, "SELECT seen FROM findings WHERE check_name = 'changed_trials_say_why'")
    assert "brack-001" in seen
    assert "(its file)" in seen
    assert not any("resends" in line["details"] for line in ledger_lines(depot))


def test_a_returned_change_does_not_take_the_accepted_version_out_of_the_pool(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, 1, names=("standing",))
    a_delivery(inbox, 2, names=("standing",), faulty={"standing": "as good"})
    go(inbox, depot)
    assert versions(depot) == [("brack-001", "accepted", False), ("brack-002", "returned", False)]
    assert ask(depot, "SELECT delivery_id FROM trials") == [("brack-001",)]

    reason = f"Export of {STANDING} repeated: the plate's calibration had been entered wrongly."
    a_delivery(inbox, 3, names=("standing",), faulty={"standing": "as good"}, reasons={"standing": reason})
    go(inbox, depot)
    assert versions(depot)[-1] == ("brack-003", "accepted", False)
    assert ask(depot, "SELECT delivery_id FROM trials") == [("brack-003",)]
    (waits,) = texts_of(str(depot))
    assert waits.text == reason
    mark = f"({len(reason)} characters held for a look, text {waits.word[:8]})"
    assert ask(depot, "SELECT resend_reason FROM standings WHERE delivery_id = 'brack-003'") == [(mark,)]
    decide(str(depot), [waits.word], now("It tells of nobody.", "Ann"), allowed=True)
    assert "Somebody decided on a text" in go(inbox, depot)
    assert ask(depot, "SELECT resend_reason FROM standings WHERE delivery_id = 'brack-003'") == [(reason,)]
    lines = [line for line in ledger_lines(depot) if "resends" in line["details"]]
    assert [line["details"]["resends"][0]["why"] for line in lines] == [mark, reason.replace(STANDING, "(an id)")]
    assert "FS-01" not in json.dumps(lines)
    assert "Nothing new" in go(inbox, depot)


def test_the_order_of_arrival_does_not_decide_which_version_counts(tmp_path: Path) -> None:
    inbox, depot = tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, 2, names=("standing",), faulty={"standing": "as good"})
    go(inbox, depot)
    assert versions(depot) == [("brack-002", "accepted", False)]
    a_delivery(inbox, 1, names=("standing",))
    text = go(inbox, depot)
    assert "An earlier delivery has come" in text
    assert versions(depot) == [("brack-001", "accepted", False), ("brack-002", "returned", False)]
    assert "Nothing new" in go(inbox, depot)
