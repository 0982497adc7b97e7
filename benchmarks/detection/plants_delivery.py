"""Faults of deliveries: packing, files, tables, words, consent. Most are there or not; a mass is off by a size."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant, Sending
from benchmarks.detection.sending import Sent, clean
from benchmarks.detection.specimens import Case
from demo_site_uploads.simulator.tables import Rows

PART = 0.25  # a delivery takes as long as several trials, and its faults are plain


def _rows(change: Callable[[Rows, float, np.random.Generator], None]) -> Sending:
    """A plant that changes rows of the tables."""

    def send(case: Case, size: float, chance: np.random.Generator) -> Sent:
        return clean(case).spoilt(lambda rows: change(rows, size, chance))

    return send


def _member_outside(case: Case, size: float, chance: np.random.Generator) -> Sent:
    sent = clean(case).delivery
    name = str(chance.choice(["../../escaped.txt", "/tmp/escaped.txt", "..\\escaped.txt"]))
    zip_name = sent.arrives_as.removesuffix(".zip") + ".zip"
    return Sent(replace(sent, arrives_as=zip_name, more={name: b"Invented: a member outside the folder.\n"}))


def _byte_changed(case: Case, size: float, chance: np.random.Generator) -> Sent:
    def change(folder: Path) -> None:
        files = sorted(p for p in (folder / "data").rglob("*") if p.is_file())
        path = files[int(chance.integers(len(files)))]
        content = bytearray(path.read_bytes())
        for place in chance.choice(len(content), int(size), replace=False):
            content[place] ^= 1 << int(chance.integers(8))
        path.write_bytes(content)

    return clean(case).tampered(change)


def _site_or_number_lost(case: Case, size: float, chance: np.random.Generator) -> Sent:
    sent = clean(case).delivery
    kind = int(chance.integers(3))
    other = {"brack": "corrie", "corrie": "tarn", "tarn": "brack"}[sent.inbox]
    changes: tuple[dict[str, str | None], ...] = ({"inbox": other}, {"site": None}, {"site": "nowhere"})
    return Sent(replace(sent, **changes[kind]))  # type: ignore[arg-type]


def _trial_file(files: dict[str, bytes], chance: np.random.Generator) -> str:
    return str(chance.choice(sorted(name for name in files if name.endswith(".c3d"))))


def _file_forgotten(case: Case, size: float, chance: np.random.Generator) -> Sent:
    def change(files: dict[str, bytes]) -> None:
        del files[_trial_file(files, chance)]

    return clean(case).with_payload(change)


def _stray_file(case: Case, size: float, chance: np.random.Generator) -> Sent:
    def change(files: dict[str, bytes]) -> None:
        files[str(chance.choice(["trials/take-7.txt", "notes.txt", "trials/again.c3d"]))] = b"Invented: a stray file.\n"

    return clean(case).with_payload(change)


def _column_lost(case: Case, size: float, chance: np.random.Generator) -> Sent:
    def change(files: dict[str, bytes]) -> None:
        table, column = [("sessions.csv", "mass_kg"), ("trials.csv", "kind"), ("participants.csv", "sex")][
            int(chance.integers(3))
        ]
        lines = [line.split(b",") for line in files[table].splitlines()]
        lost = lines[0].index(column.encode())
        files[table] = b"".join(b",".join(c for i, c in enumerate(x) if i != lost) + b"\n" for x in lines)

    return clean(case).with_payload(change)


def _consent_missing(rows: Rows, size: float, chance: np.random.Generator) -> None:
    kind = int(chance.integers(3))
    needed = str(chance.choice(["motion", "pooling"]))
    if kind == 0:
        rows.consents = [row for row in rows.consents if row["scope"] != needed]
    elif kind == 1:  # given only after the session
        for row in rows.consents:
            row["study_day"] = 500 if row["scope"] == needed else row["study_day"]
        rows.sessions[0]["study_day"] = 100
    else:
        given = next(row for row in rows.consents if row["scope"] == needed)
        rows.consents.append({**given, "event": "withdrawn", "study_day": given["study_day"]})


def _name_in_a_comment(rows: Rows, size: float, chance: np.random.Generator) -> None:
    row = rows.trials[int(chance.integers(len(rows.trials)))]
    row["comment"] = "Runner: Nora Fellsider, late"


def _cell_misfit(rows: Rows, size: float, chance: np.random.Generator) -> None:
    kind = int(chance.integers(4))
    if kind == 0:
        rows.sessions[0]["mass_kg"] = "61,5 kg"
    elif kind == 1:
        rows.trials[0]["trial_order"] = "third"
    elif kind == 2:
        rows.participants[0]["stature_m"] = 175
    else:
        rows.trials[0]["kind"] = "jogging"


def _doubled(rows: Rows, size: float, chance: np.random.Generator) -> None:
    table: list[dict[str, object]] = (rows.sessions, rows.participants, rows.trials)[int(chance.integers(3))]
    table.append(dict(table[int(chance.integers(len(table)))]))


def _loose(rows: Rows, size: float, chance: np.random.Generator) -> None:
    if chance.random() < 0.5:
        rows.participants.clear()
    else:
        rows.trials[-1]["session_id"] = "FS-99-w0-nowhere"


def _word_unknown(rows: Rows, size: float, chance: np.random.Generator) -> None:
    if chance.random() < 0.5:
        rows.trials[-1]["condition"] = str(chance.choice(["barefoot", "Cushioned", "thin soled"]))
    else:
        rows.sessions[0]["visit"] = "week 0"


def _mass_off(rows: Rows, size: float, chance: np.random.Generator) -> None:
    row = rows.sessions[0]
    row["mass_kg"] = round(float(row["mass_kg"]) * (1 + size / 100 * chance.choice([-1, 1])), 1)


def _standing_lacks(rows: Rows, size: float, chance: np.random.Generator) -> None:
    run = next(row for row in rows.trials if row["kind"] == "running")
    rows.trials = [r for r in rows.trials if r["kind"] == "running" or r["condition"] != run["condition"]]


def _present(check_name: str, what: str, why: str, send: Sending, **more: object) -> Plant:
    return Plant(check_name, what, "", PRESENT, 1.0, why, send=send, share_of_trials=PART, **more)  # type: ignore[arg-type]


PLANTS = (
    _present(
        "archive_unpacks_safely", "a member of the archive would be written outside the delivery's folder",
        "one such member is enough to write over something", _member_outside,
    ),
    Plant(
        "bag_is_complete_and_unchanged", "{size} bits of one file changed on the way", "1", (1.0, 8.0), 1.0,
        "one bit can be a digit of a mass", send=_byte_changed, share_of_trials=PART,
    ),
    _present(
        "bag_info_names_site_and_number", "the bag names no laboratory, an unknown one, or lies in another's inbox",
        "axes and labels would be those of another laboratory", _site_or_number_lost,
    ),
    _present(
        "trial_files_are_in_the_bag", "the file of one trial was forgotten",
        "one file forgotten is one trial lost", _file_forgotten,
    ),
    _present(
        "every_file_is_named_in_a_table", "a file that no table names lies in the bag",
        "a recording without a row is a recording nobody will use", _stray_file,
    ),
    _present(
        "consent_covers_the_trial", "consent was not given, given too late, or taken back",
        "nothing may be used without it", _rows(_consent_missing),
    ),
    _present(
        "texts_identify_nobody", "the comment of one trial holds a name",
        "one name is enough; how many wordings are found is measured by python -m benchmarks.identifiers",
        _rows(_name_in_a_comment),
    ),
    _present(
        "tables_can_be_read", "a column of a table is missing", "a guessed column would be worse than none", _column_lost,
    ),
    _present(
        "cells_fit_their_columns", "a cell holds a word, a unit, or a number out of its range",
        "it goes into every number computed from it", _rows(_cell_misfit),
    ),
    _present("keys_are_unique", "a row stands twice", "nobody can say which of the two holds", _rows(_doubled)),
    _present(
        "rows_refer_to_rows_that_exist", "the runner's or the session's row is missing",
        "a trial without its session has no mass and no visit", _rows(_loose),
    ),
    _present(
        "words_are_in_the_study_file", "a condition or a visit is spelt otherwise",
        "one condition becomes two", _rows(_word_unknown),
    ),
    Plant(
        "session_mass_is_near_enrolment_mass", "the mass of the session is {size} off that at enrolment", "%",
        (5.0, 12.0, 20.0, 55.0), 12.0,
        "every force is divided by it; ten weeks of training change it by less", send=_rows(_mass_off),
        share_of_trials=PART,
    ),
    _present(
        "running_conditions_have_a_standing_trial", "there is no standing trial in the condition that was run",
        "angles cannot be counted from standing", _rows(_standing_lacks),
    ),
)  # fmt: skip
