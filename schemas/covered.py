"""A delivery as far as consent covers it: what checks may look at and findings may be made from. Pure.

Of rows that are not covered only their number is told, by the check of consent; what covers them is decided in
``schemas.consent``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache

from schemas.catalogue import tables_of
from schemas.consent import Consent
from schemas.model import Kind, Layer, Table
from schemas.privacy import RUNNER, SESSION, TRIAL
from schemas.received import Problem, Received

#: Kinds of problems that are about one row.
_OF_ROWS = ("cell", "key")


def as_covered(consent: Consent) -> Received:
    """The delivery with only the rows, the files and the problems that consent covers."""
    received = consent.received
    tables = {t.name: consent.rows(t).reset_index(drop=True) for t in tables_of(Layer.DELIVERY)}
    return replace(
        received,
        tables=received.tables | tables,
        files=tuple(f for f in received.files if f.path not in consent.hidden_files),
        problems=tuple(_problems(consent)),
        changed_trials=tuple(c for c in received.changed_trials if c.trial_id not in consent.withheld),
    )


def _problems(consent: Consent) -> Iterator[Problem]:
    """Problems of rows that are covered, and without any value those of rows that lead to nobody."""
    by_file = {table.file_name: table for table in tables_of(Layer.DELIVERY)}
    leads_nowhere = cache(consent.leads_nowhere)  # asked for each of many problems, of a table of many rows
    for problem in consent.received.problems:
        table = by_file.get(problem.file or "")
        if problem.kind not in _OF_ROWS or table is None:
            yield problem
        elif problem.row is None:
            if _is_covered(problem, consent):
                yield problem
        elif consent.covers(table)[problem.row]:
            yield problem
        elif leads_nowhere(table)[problem.row]:
            yield _without_value(problem, table)


def _is_covered(problem: Problem, consent: Consent) -> bool:
    """By the narrowest of the ids; one without any is about no row."""
    if problem.trial_id is not None:
        return problem.trial_id in consent.trials and problem.trial_id not in consent.withheld
    if problem.session_id is not None:
        return problem.session_id in consent.covered_sessions
    return problem.participant_id is None or problem.participant_id in consent.covered_runners


def _without_value(problem: Problem, table: Table) -> Problem:
    """The problem with what stood in the cell left out; of codes and texts nothing is told anyway but their form."""
    column = (problem.place or "").rpartition("column ")[2]
    if problem.kind != "cell" or column not in table.column_names:
        return problem
    if table.column(column).kind in (Kind.IDENTIFIER, Kind.TEXT):
        return problem
    return replace(
        problem, seen=f"{column} holds what it may not hold, in a row whose {_leading(table)} leads to nobody"
    )


def _leading(table: Table) -> str:
    by = table.rows.by if table.rows else None
    return by if by in (RUNNER, SESSION, TRIAL) else "code"
