"""Whether the tables of a delivery can be read, fit their definitions, each other and the study file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from checks.delivery.bag import NOT_OPENED, faults_of, ids_of, known, of_kind
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from schemas.catalogue import TABLES, tables_of
from schemas.model import Layer, Reference, Table
from schemas.received import Received
from schemas.study import Study

if TYPE_CHECKING:
    import pandas as pd


@check(
    about=Subject.DELIVERY,
    weight=Weight.STOPS,
    seen="{problem}.",
    expected="{wanted}.",
    remedy="Save the table as CSV with commas and UTF-8, with exactly the columns of its definition in the first line, "
    "and make the bag again.",
    words=("problem", "wanted"),
)
def tables_can_be_read(delivery: Received) -> Looked:
    """Every table the study needs is there, is CSV in UTF-8 and has the columns of its definition.

    Without them nobody knows who ran in which shoes; a guessed column would be worse than none.
    """
    problems = of_kind(delivery, "table", "column")
    harmless = faults_of(of_kind(delivery, "descriptor", "blank"))  # the tables can be read in spite of these
    faults = faults_of(problems) + [{**fault, "weight": Weight.NOTES} for fault in harmless]
    if not faults and not delivery.files:
        return nothing(NOT_OPENED)
    return looked(max(1, len(delivery.tables)), faults)


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="{problem}.",
    expected="{wanted}.",
    remedy="Correct the cell and send the rows it touches again. Numbers have a decimal point and no unit; "
    "a value that is not known is left empty where the table allows it.",
    words=("problem", "wanted"),
)
def cells_fit_their_columns(delivery: Received) -> Looked:
    """Every cell has the type, the range or the word its column asks for.

    A cell that is bent to fit, 1,75 read as 175, goes into every number computed from it; so it is sent back instead.
    """
    rows = sum(len(frame) for frame in delivery.tables.values())
    faults = faults_of(of_kind(delivery, "cell"))
    return looked(max(rows, len(faults)), faults) if rows or faults else nothing("the tables have no rows")


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="{problem}.",
    expected="{wanted}.",
    remedy="Keep the row that is right and delete the other; if both are real, give one of them an id of "
    "its own, here and in the tables that refer to it.",
    words=("problem", "wanted"),
)
def keys_are_unique(delivery: Received) -> Looked:
    """No two rows of a table have the same key.

    With two rows for one session nobody can say which mass belongs to its trials.
    """
    rows = sum(len(frame) for frame in delivery.tables.values())
    faults = faults_of(of_kind(delivery, "key"))
    return looked(max(rows, len(faults)), faults) if rows or faults else nothing("the tables have no rows")


def _frames(delivery: Received) -> Iterator[tuple[Table, pd.DataFrame]]:
    """The delivery's tables with their definitions."""
    for table in tables_of(Layer.DELIVERY):
        if (frame := delivery.tables.get(table.name)) is not None:
            yield table, frame


def _row_name(table: Table, row: pd.Series) -> str:
    return ", ".join(f"{name} {row[name]}" for name in table.key if known(row[name])) or "a row without a key"


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="{target} has no row for {column} {value}, named in {referring}.",
    expected="Every row refers to rows that are in the same delivery.",
    remedy="Add the row for {value} to {target}, or correct the {column} in the rows that refer to it.",
    words=("target", "column", "value", "referring"),
)
def rows_refer_to_rows_that_exist(delivery: Received) -> Looked:
    """Every session belongs to a runner in the tables, every trial to a session, and so on.

    A trial without its session has no mass, no visit and no runner, so nothing can be divided by anything.
    """
    examined = 0
    unread = {problem.file for problem in of_kind(delivery, "table")}
    loose: dict[tuple[Any, ...], dict[str, Any]] = {}
    for table, frame in _frames(delivery):
        for reference in table.references:
            target = delivery.tables.get(reference.table)
            if target is None or (target.empty and TABLES[reference.table].file_name in unread):
                continue  # of a table that could not be read another check tells
            there = _keys(target, reference.table_columns)
            values = list(frame[list(reference.columns)].itertuples(index=False, name=None))
            for row, value in enumerate(values):
                if all(known(part) for part in value):
                    examined += 1
                    if value not in there:
                        _collect(loose, table, frame.iloc[row], reference, value)
    faults = [{**fault, "referring": _counted(fault["referring"])} for fault in loose.values()]
    return looked(examined, faults) if examined else nothing("no row refers to another")


def _collect(
    loose: dict[tuple[Any, ...], dict[str, Any]],
    table: Table,
    row: pd.Series,
    reference: Reference,
    value: tuple[Any, ...],
) -> None:
    """Add one loose row to the fault of what it refers to, so that a missing runner is one fault and not twenty.

    Rows of trials have a fault each: it is the trial that goes back.
    """
    ids = {name: id_ for name, id_ in ids_of(row).items() if name != "trial_id" or table.name == "sent_trials"}
    if reference.table == "sent_participants":
        ids = {"participant_id": value[0]}  # reaches all trials of the runner
    column, shown = ", ".join(reference.columns), ", ".join(str(part) for part in value)
    fault = loose.setdefault(
        (reference.table, value, ids.get("trial_id")),
        {
            **ids,
            "column": column,
            "value": shown,
            "target": TABLES[reference.table].file_name,
            "referring": Counter(),
            "file": table.file_name,
            "place": _row_name(table, row) if "trial_id" in ids else f"{column} {shown}",
        },
    )
    fault["referring"][table.file_name] += 1


def _counted(rows: Counter[str]) -> str:
    return " and ".join(f"{count} row{'s' if count > 1 else ''} of {file}" for file, count in rows.items())


def _keys(frame: pd.DataFrame, columns: tuple[str, ...]) -> set[tuple[Any, ...]]:
    return set(frame[list(columns)].itertuples(index=False, name=None))


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="In {file} the {column} is '{word}'.",
    expected="One of the study's {study_list}: {words}.",
    remedy="Write the word as the study file spells it, in small letters and with underscores, and send "
    "the rows it touches again. A new word has to be added to the study file first; ask the data manager.",
    words=("column", "word", "study_list", "words"),
)
def words_are_in_the_study_file(delivery: Received, study: Study) -> Looked:
    """Conditions, visits and muscles are those of the study file.

    A condition spelt in two ways becomes two conditions, and both fall out of the comparison.
    """
    faults, examined = [], 0
    for table, frame in _frames(delivery):
        for field in table.fields:
            if not field.study_list:
                continue
            column, words = frame[field.name], study.words(field.study_list)
            examined += int(column.notna().sum())
            for _, row in frame[column.notna() & ~column.isin(words)].iterrows():
                faults.append(
                    {
                        **ids_of(row),
                        "column": field.name,
                        "word": str(row[field.name]),
                        "study_list": field.study_list,
                        "words": ", ".join(words) or "none yet",
                        "file": table.file_name,
                        "place": f"{_row_name(table, row)}, column {field.name}",
                    }
                )
    return looked(examined, faults) if examined else nothing("no table holds a word of the study file")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Runner {runner} weighs {session_kg:.1f} kg in session {session} and weighed "
    "{enrolled_kg:.1f} kg at enrolment, {off_percent:+.0f} %.",
    expected="Within {change_percent:g} % of the mass at enrolment.",
    remedy="Compare both with the paper record: exchanged rows, pounds for kilograms, or two figures "
    "exchanged. If both are right, leave them as they are.",
    words=("runner", "session_kg", "session", "enrolled_kg", "off_percent"),
    limits={"change_percent": Limit("%", "common practice for ten weeks")},
)
def session_mass_is_near_enrolment_mass(delivery: Received, *, change_percent: float = 10.0) -> Looked:
    """A runner's mass on the day is near the mass at enrolment.

    Every force is divided by it; a slip of the pen makes a runner land harder.
    """
    people = delivery.tables.get("sent_participants")
    enrolled = dict(zip(people["participant_id"], people["mass_kg"], strict=True)) if people is not None else {}
    faults, examined = [], 0
    sessions = delivery.tables.get("sent_sessions")
    for _, row in sessions.iterrows() if sessions is not None else ():
        before, now = enrolled.get(row["participant_id"]), row["mass_kg"]
        if not known(before) or not known(now) or not before:
            continue
        examined += 1
        off = 100 * (float(now) / float(before) - 1)
        if abs(off) > change_percent + 1e-9:  # 66 kg is not more than a tenth above 60 kg
            faults.append(
                {
                    **ids_of(row),
                    "runner": row["participant_id"],
                    "session": row["session_id"],
                    "session_kg": float(now),
                    "enrolled_kg": float(before),
                    "off_percent": off,
                    "file": "sessions.csv",
                    "place": f"session_id {row['session_id']}, column mass_kg",
                }
            )
    return looked(examined, faults) if examined else nothing("no session has both masses")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Session {session} has no standing trial in condition '{condition}'.",
    expected="One standing trial in each condition that was run in the session.",
    remedy="If it was recorded, add its row to trials.csv and send it; the running trials need not be sent "
    "again; if that of another session of the runner serves, name that session in standing_session_id. Without it the "
    "foot-strike angle of this condition stays empty.",
    words=("session", "condition"),
)
def running_conditions_have_a_standing_trial(delivery: Received) -> Looked:
    """Each condition run in a session has a static calibration trial (standing) in it, there or where a row says.

    Angles are counted from standing posture, and a shoe lifts the heel; the angle of one shoe must not be taken from
    the posture in another.
    """
    trials = delivery.tables.get("sent_trials")
    if trials is None:
        return nothing("no trials are listed")
    stood = _keys(trials[trials["kind"] == "standing"], ("session_id", "condition"))
    run = trials[(trials["kind"] == "running") & trials["session_id"].notna() & trials["condition"].notna()]
    faults = []
    for _, row in run.iterrows():
        session = row["standing_session_id"] if known(row["standing_session_id"]) else row["session_id"]
        if (session, row["condition"]) not in stood:
            place = f"session_id {session}, condition {row['condition']}"
            told = {"session": session, "condition": row["condition"]}
            faults.append({**ids_of(row), **told, "file": "trials.csv", "place": place})
    return looked(len(run), faults) if len(run) else nothing("no running trial")
