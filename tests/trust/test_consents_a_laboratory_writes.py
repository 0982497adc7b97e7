"""The real way of deliveries whose consents are missing, malformed or narrower than their files: what is kept and told."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from demo_site_uploads.simulator.tables import consent_rows, csv_bytes, participant_row
from pipelines.assets.deciding import withdraw
from pipelines.assets.run import run
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot
from schemas.delivery import SENT_CONSENTS, SENT_PARTICIPANTS, SENT_SESSIONS
from tests.delivery_builders import STUDY, a_delivery, leaving, planned, raw_files, tables, take_in_only, trial_id

RUNNER, SILENT = "FS-01", "FS-02"
GIVEN = consent_rows(planned(RUNNER, "standing")[0].session.runner)
FILE = hashlib.sha256(planned(RUNNER, "standing")[1]).hexdigest()


def taken_in(folder: Path, consents: list[dict[str, Any]], trial: str = "standing", **files: bytes) -> Depot:
    """A delivery of one trial with these consents, taken in; files: other tables, by name."""
    replaced = {"consents.csv": csv_bytes(SENT_CONSENTS, consents)} | {f"{n}.csv": data for n, data in files.items()}
    a_delivery(folder / "inbox", names=(trial,), replace_files=replaced)
    depot = Depot(folder / "depot")
    take_in_only(folder / "inbox", depot.root)
    return depot


def named_in_the_open(depot: Depot, *words: str) -> list[Path]:
    """Live files with one of the words, less the list of a bag's files, which is shown nowhere."""
    return [path for path in files_with(depot, words)[1] if path.parent.name != "bag"]


def closed_files(depot: Depot) -> set[str]:
    return {path.name for path in (depot.root / "closed").rglob("*") if path.is_file()}


def standings(depot: Depot) -> list[str]:
    return [row["standing"] for row in tables(depot.root)["brack-001"]["standings"]]


#: Lines beside full consent, by the runner they are about; all but the last withhold the runner.
LINES = {
    "FS-01": {"event": "revoked"},
    "FS-02": {"event": "zurückgezogen"},
    "FS-03": {"event": "Withdrawn"},
    "FS-04": {"event": "withdrawn", "participant_id": "fs-04"},
    "FS-05": {"event": "withdrawn", "participant_id": "  FS-05 "},
    "FS-06": {"event": "withdrawn", "scope": "everything"},
    "FS-07": {"event": "withdrawn", "study_day": "2026-03-02"},
    "FS-08": {"event": "given", "study_day": "second visit"},
    "FS-09": {"event": "", "scope": "motion"},
    "FS-10": {"event": "given", "study_day": "0"},
}
UNDERSTOOD = ("FS-04", "FS-05")


def test_a_line_that_is_not_understood_withholds_the_runner_and_is_told(tmp_path: Path) -> None:
    events = []
    for runner, line in LINES.items():
        given = consent_rows(planned(runner, "standing")[0].session.runner)
        events += [*given, {**given[0], **line}]
    replaced = {"consents.csv": csv_bytes(SENT_CONSENTS, events)}
    a_delivery(tmp_path / "inbox", runners=tuple(LINES), names=("standing",), replace_files=replaced)
    depot = Depot(tmp_path / "depot")
    run(STUDY, tmp_path / "inbox", depot.root, "tester", workers=1)
    *withheld, clear = LINES
    rows = tables(depot.root)["brack-001"]
    assert {row["participant_id"] for row in rows["standings"]} == {None, clear}
    assert [row["standing"] for row in rows["standings"]].count("withheld") == len(withheld)
    files = {hashlib.sha256(planned(runner, "standing")[1]).hexdigest() for runner in withheld}
    assert not files & raw_files(depot.root)
    assert files <= closed_files(depot)
    assert named_in_the_open(depot, *withheld) == []
    told = [f["seen"] for f in rows["findings"] if f["weight"] == "withholds"]
    assert sum("a line of consents.csv" in seen for seen in told) == len(withheld) - len(UNDERSTOOD)
    assert sum("not in force on the day" in seen for seen in told) == len(UNDERSTOOD)


def test_a_quote_that_swallows_lines_stops_the_delivery(tmp_path: Path) -> None:
    """The withdrawal stands inside a cell of another line, where nobody would look for it."""
    withdrawal = f"2\n{RUNNER},pooling,withdrawn,0,2\n"
    other = {"participant_id": SILENT, "scope": "pooling", "event": "given", "study_day": 0, "form_version": withdrawal}
    depot = taken_in(tmp_path, [*GIVEN, other])
    assert standings(depot) == []
    rows = tables(depot.root)["brack-001"]
    told = [(f["file"], f["place"], f["seen"]) for f in rows["findings"] if f["weight"] == "stops"]
    assert any(
        file == "consents.csv" and place == f"line {len(GIVEN) + 2}" and "line break" in seen
        for file, place, seen in told
    ), told
    assert FILE not in raw_files(depot.root)


def test_a_word_of_consent_in_the_wrong_column_is_not_understood(tmp_path: Path) -> None:
    depot = taken_in(tmp_path, [*GIVEN, {**GIVEN[0], "form_version": "withdrawn"}])
    assert standings(depot) == ["withheld"]


#: Versions of the form in every line of a runner, and what is told of them; the study names 1, 2 and 3.
FORMS = {
    "FS-01": ("9", "holds version 9, which the study does not name"),
    "FS-02": ("not signed yet", "holds words that are no version of the form"),
    "FS-03": ("", "holds nothing"),
    "FS-04": ("3", None),
}


def test_a_form_that_the_study_does_not_know_gives_nothing_and_is_told_by_its_place(tmp_path: Path) -> None:
    events = [
        {**row, "form_version": form}
        for runner, (form, _) in FORMS.items()
        for row in consent_rows(planned(runner, "standing")[0].session.runner)
    ]
    replaced = {"consents.csv": csv_bytes(SENT_CONSENTS, events)}
    a_delivery(tmp_path / "inbox", runners=tuple(FORMS), names=("standing",), replace_files=replaced)
    depot = Depot(tmp_path / "depot")
    run(STUDY, tmp_path / "inbox", depot.root, "tester", workers=1)
    rows = tables(depot.root)["brack-001"]
    withheld = [runner for runner, (_, seen) in FORMS.items() if seen]
    assert [r["participant_id"] for r in rows["standings"] if r["standing"] == "accepted"] == ["FS-04"]
    assert [r["standing"] for r in rows["standings"]].count("withheld") == len(withheld)
    assert not raw_files(depot.root) & {hashlib.sha256(planned(r, "standing")[1]).hexdigest() for r in withheld}
    assert named_in_the_open(depot, *withheld, "not signed yet") == []
    told = [f["seen"] for f in rows["findings"] if f["weight"] == "withholds"]
    for runner in withheld:
        line = 2 + next(n for n, row in enumerate(events) if row["participant_id"] == runner)
        lines = f"lines {line}, {line + 1} and {line + 2}"
        place = f"({lines}, column form_version: form_version {FORMS[runner][1]}; expected: "
        assert [seen for seen in told if place in seen] != [], (place, told)
    assert sum("consent_forms: 1, 2, 3" in seen for seen in told) == 3
    assert {seen.count("expected:") for seen in told} == {1}, "said once for all lines"


def test_of_a_runner_without_consent_findings_tell_no_value(tmp_path: Path) -> None:
    first = planned(RUNNER, "standing")[0].session
    people = [participant_row(first.runner), participant_row(first.runner) | {"participant_id": SILENT}]
    people[1] |= {"stature_m": 2.2137, "mass_kg": 191.37, "leg_length_m": 0.4137}
    session = first.row() | {"participant_id": SILENT, "session_id": "S-silent", "mass_kg": 31.37}
    depot = taken_in(
        tmp_path,
        GIVEN,
        participants=csv_bytes(SENT_PARTICIPANTS, people),
        sessions=csv_bytes(SENT_SESSIONS, [first.row(), session]),
    )
    run(STUDY, tmp_path / "inbox", depot.root, "tester", workers=1)
    assert standings(depot) == ["accepted"]
    values = ("2.2137", "2.21", "191.37", "191.4", "0.41", "31.4", "31.37")
    assert named_in_the_open(depot, SILENT, "S-silent", *values) == []
    seen = {f["file"]: f["seen"] for f in tables(depot.root)["brack-001"]["findings"] if "not shown" in f["seen"]}
    lack = "not in force for the runner on that day."
    assert seen == {
        "participants.csv": f"Consent is not shown for 1 row of participants.csv: {lack}",
        "sessions.csv": f"Consent is not shown for 1 row of sessions.csv: {lack}",
    }


def test_a_file_with_channels_that_may_be_muscles_is_kept_apart_whatever_the_tables_say(tmp_path: Path) -> None:
    """The treadmill's recordings hold foot switches, of which channels.csv, not being there, says nothing."""
    recording = hashlib.sha256(planned(RUNNER, "1")[1]).hexdigest()
    whole = taken_in(tmp_path / "all", GIVEN, "1")
    assert recording in raw_files(whole.root)
    without = taken_in(tmp_path / "less", [row for row in GIVEN if row["scope"] != "muscle"], "1")
    assert standings(without) == standings(whole) == ["accepted"]
    assert recording not in raw_files(without.root)
    assert recording in closed_files(without)
    withdraw(STUDY, whole.root, leaving(RUNNER, "muscle"))
    assert standings(whole) == ["accepted"]
    assert recording not in raw_files(whole.root)
    assert {row["trial_id"] for row in tables(whole.root)["brack-001"]["trials"]} == {trial_id("1")}
