"""Consent that is taken back counts whatever it comes with: in a delivery that is stopped, and in one without data."""

from __future__ import annotations

from pathlib import Path

import pytest

from demo_site_uploads.simulator.bags import bag_info, descriptor, make_bag
from demo_site_uploads.simulator.tables import Rows, consent_rows
from pipelines.taking_in.summary import Summary
from tests.delivery_builders import a_delivery, planned, tables, take_in_only
from tests.depot_books import records

RUNNER = "FS-01"


@pytest.fixture
def place(tmp_path: Path) -> Path:
    a_delivery(tmp_path / "inbox", names=("standing",))
    assert standings(tmp_path, go(tmp_path)) == {"accepted"}
    return tmp_path


def go(place: Path) -> Summary:
    return take_in_only(place / "inbox", place / "depot")


def standings(place: Path, done: Summary) -> set[str]:
    assert done.exit_code == 0
    return {row["standing"] for row in tables(place / "depot")["brack-001"]["standings"]}


def a_bag_of_consents(place: Path, event: str, *, stopped: bool = False) -> None:
    rows = Rows()
    rows.consents += [
        row | {"event": event, "study_day": 0} for row in consent_rows(planned(RUNNER, "standing")[0].session.runner)
    ]
    payload = rows.files() | {"datapackage.json": descriptor("test")}
    if stopped:
        payload["trials.csv"] = b"no such table\n1\n"
    make_bag(place / "inbox" / "brack" / "brack-002", payload, bag_info("brack", 2))


def test_a_delivery_that_is_stopped_for_something_else_still_takes_consent_away(place: Path) -> None:
    a_bag_of_consents(place, "withdrawn", stopped=True)
    assert standings(place, go(place)) == {"withheld"}
    assert [record.status for record in records(place / "depot")] == ["taken_in", "stopped"]


def test_a_delivery_that_is_stopped_gives_no_consent(tmp_path: Path) -> None:
    a_delivery(tmp_path / "inbox", names=("standing",), withdrawn={RUNNER: 0})
    assert standings(tmp_path, go(tmp_path)) == {"withheld"}
    a_bag_of_consents(tmp_path, "given", stopped=True)
    assert standings(tmp_path, go(tmp_path)) == {"withheld"}


def test_a_delivery_of_nothing_but_consents_counts(place: Path) -> None:
    a_bag_of_consents(place, "withdrawn")
    assert standings(place, go(place)) == {"withheld"}
