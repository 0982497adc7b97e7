"""The CSV tables of a delivery, made from the invented runners, sessions and trials."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from demo_site_uploads.simulator.runner import RUNNERS, Runner
from schemas.delivery import (
    SENT_CHANNELS,
    SENT_CONSENTS,
    SENT_PARTICIPANTS,
    SENT_SESSIONS,
    SENT_TRIALS,
)
from schemas.delivery_beside import SENT_BREATHS, SENT_SYMPTOMS, SENT_WEEKS
from schemas.model import Table

Row = dict[str, Any]
SCOPES = ("motion", "force", "muscle", "metabolic", "pooling")
REQUIRED = (SENT_PARTICIPANTS, SENT_CONSENTS, SENT_SESSIONS, SENT_TRIALS)


@dataclass
class Rows:
    """Rows of the tables; faults in tables are planted by changing them."""

    participants: list[Row] = field(default_factory=list)
    consents: list[Row] = field(default_factory=list)
    sessions: list[Row] = field(default_factory=list)
    trials: list[Row] = field(default_factory=list)
    channels: list[Row] = field(default_factory=list)
    breaths: list[Row] = field(default_factory=list)
    weeks: list[Row] = field(default_factory=list)
    symptoms: list[Row] = field(default_factory=list)

    def by_table(self) -> dict[Table, list[Row]]:
        """Every table the delivery has: those it must have, and the others if they have rows."""
        of = {
            SENT_PARTICIPANTS: self.participants,
            SENT_CONSENTS: self.consents,
            SENT_SESSIONS: self.sessions,
            SENT_TRIALS: self.trials,
            SENT_CHANNELS: self.channels,
            SENT_BREATHS: self.breaths,
            SENT_WEEKS: self.weeks,
            SENT_SYMPTOMS: self.symptoms,
        }
        return {table: rows for table, rows in of.items() if rows or not table.optional}

    def files(self) -> dict[str, bytes]:
        """File name -> content."""
        return {str(table.file_name): csv_bytes(table, rows) for table, rows in self.by_table().items()}


def csv_bytes(table: Table, rows: Iterable[Mapping[str, Any]]) -> bytes:
    """UTF-8 CSV with the columns of the definition; None is an empty cell."""
    text, listed = io.StringIO(newline=""), list(rows)
    out = left_out(table, listed)
    writer = csv.DictWriter(text, [name for name in table.column_names if name not in out], lineterminator="\n")
    writer.writeheader()
    writer.writerows(listed)
    return text.getvalue().encode("utf-8")


def left_out(table: Table, rows: Iterable[Mapping[str, Any]]) -> set[str]:
    """Columns that may be left out and that no row names."""
    named = {name for row in rows for name in row}
    return {field.name for field in table.fields if field.may_be_left_out and field.name not in named}


def participant_row(runner: Runner) -> Row:
    """The runner as enrolled."""
    return {
        "participant_id": runner.participant_id,
        "birth_year": runner.birth_year,
        "sex": runner.sex,
        "stature_m": runner.stature_m,
        "mass_kg": RUNNERS[runner.participant_id].mass_kg,
        "leg_length_m": runner.leg_length_m,
        "habitual_footwear": runner.habitual_footwear,
        "weekly_distance_km_per_wk": runner.weekly_distance_km,
    }


def consent_rows(runner: Runner, withdrawn_on: int | None = None) -> list[Row]:
    """All scopes given on the day of enrolment, and perhaps taken back later."""
    given = [("given", 0)] if withdrawn_on is None else [("given", 0), ("withdrawn", withdrawn_on)]
    return [
        {
            "participant_id": runner.participant_id,
            "scope": scope,
            "event": event,
            "study_day": day,
            "form_version": "2",
        }
        for event, day in given
        for scope in SCOPES
    ]
