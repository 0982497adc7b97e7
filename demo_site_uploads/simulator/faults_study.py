"""Planted faults in the tables of a study: breathing gas, people, visits, the weekly log. Rows in, changed rows out.

Every fault has a size. What size matters, and is planted, stands with each: the smallest that changes a result, or the
one that the mistake has in life. People and sessions made here have no recordings, so nothing else is drawn into it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from demo_site_uploads.simulator.breathing import Bout
from demo_site_uploads.simulator.runner import RUNNERS
from demo_site_uploads.simulator.tables import Row, Rows, consent_rows, participant_row

OXYGEN, CARBON = "oxygen_uptake_ml_per_min", "carbon_dioxide_output_ml_per_min"
LIKE = "FS-01"  # whose body and economy the people made here have, unless they are given their own

# --- people and sessions that are only in tables ---------------------------------------------------------------------


def enrol(rows: Rows, participant_id: str, **changes: Any) -> None:
    """A runner with all consents. The smallest slip that matters is in the limits; the usual one swaps two figures."""
    rows.participants.append(participant_row(RUNNERS[LIKE]) | {"participant_id": participant_id} | changes)
    rows.consents += consent_rows(replace(RUNNERS[LIKE], participant_id=participant_id))


def visit(rows: Rows, session_id: str, participant_id: str, site: str, **changes: Any) -> Row:
    """A session without recordings."""
    day = {"brack": 0, "corrie": 2, "tarn": 4}[site]
    session = {
        "session_id": session_id,
        "participant_id": participant_id,
        "visit": "week_0",
        "study_day": day,
        "mass_kg": RUNNERS[LIKE].mass_kg,
        "surface": "runway" if site == "corrie" else "treadmill",
        "set_speed_m_per_s": 3.0,
    } | changes
    rows.sessions.append(session)
    return session


# --- breathing gas ---------------------------------------------------------------------------------------------------


def gas(session: Row, site: str, condition: str, bout: int = 1) -> list[Row]:
    """A good bout of a session, run at 3 m/s whatever the table says of speed."""
    mass = RUNNERS[LIKE].mass_kg
    return Bout(session["session_id"], LIKE, session["visit"], site, condition, 3.0, mass, bout).rows()


def cut_after(rows: list[Row], seconds: float) -> list[Row]:
    """The bout was broken off. It matters below warm-up and plateau, 300 s here."""
    return [row for row in rows if row["elapsed_s"] <= seconds]


def scaled(rows: list[Row], oxygen: float = 1.0, carbon: float = 1.0, digits: int = 0) -> list[Row]:
    """Gases times factors: 1.21 is body temperature for standard, 1/mass mL/(kg.min), 0.6 a sensor far off.

    Any factor shifts the energy cost by as much; a carbon dioxide sensor 0.6 off shifts it by 7 %.
    """
    return [
        row | {OXYGEN: round(row[OXYGEN] * oxygen, digits), CARBON: round(row[CARBON] * carbon, digits)} for row in rows
    ]


def lost_between(rows: list[Row], from_s: float, to_s: float) -> list[Row]:
    """The mask was off. It matters from half a minute; in the plateau it leaves the cost empty."""
    return [row for row in rows if not from_s < row["elapsed_s"] < to_s]


def held(rows: list[Row], from_s: float, count: int) -> list[Row]:
    """The analyser hung: ``count`` samples repeat the first. From four it cannot be chance; a hang lasts a minute."""
    first = next(i for i, row in enumerate(rows) if row["elapsed_s"] >= from_s)
    same = {name: rows[first][name] for name in (OXYGEN, CARBON)}
    return rows[:first] + [row | same for row in rows[first : first + count]] + rows[first + count :]


def pasted_later(rows: list[Row], first: int, count: int, after: int) -> list[Row]:
    """``count`` rows from ``first`` stand ``after`` rows further down. One row is enough to show that rows were moved."""
    moved = rows[first : first + count]
    rest = rows[:first] + rows[first + count :]
    return rest[: first + after] + moved + rest[first + after :]


def with_cells(rows: list[Row], **cells: Any) -> list[Row]:
    """The same rows with other cells: a copy under another condition, or a heart rate that belongs to nobody running."""
    return [row | cells for row in rows]


# --- weekly log and questionnaire ------------------------------------------------------------------------------------


def log(rows: Rows, participant_id: str, minutes: Mapping[int, tuple[float, float]]) -> None:
    """Weeks with minutes in cushioned and thin-soled shoes."""
    rows.weeks += [
        {"participant_id": participant_id, "week": week, "condition": condition, "running_min": value}
        for week, pair in minutes.items()
        for condition, value in zip(("cushioned", "thin_soled"), pair, strict=True)
    ]


def answered(rows: Rows, participant_id: str, weeks: Mapping[int, tuple[int | None, ...]]) -> None:
    """Weeks with the points of the four questions."""
    rows.symptoms += [
        {"participant_id": participant_id, "week": week}
        | {f"question_{n}_points": value for n, value in enumerate(points, 1)}
        for week, points in weeks.items()
    ]
