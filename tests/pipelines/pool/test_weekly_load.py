"""The view of weekly loads, over three small tables."""

from __future__ import annotations

import duckdb
import pytest

from pipelines.pool.weekly_load import MADE_OF, columns, weekly_load
from schemas.catalogue import TABLES
from schemas.convert.to_duckdb import quote_name

PER_KM = (
    "footfalls_per_km, impacts_per_km, impact_peaks_bw_per_km, active_peaks_bw_per_km, achilles_impulse_bw_s_per_km"
)


@pytest.fixture
def connection() -> duckdb.DuckDBPyConnection:
    made = duckdb.connect()
    for name in MADE_OF:
        listed = ", ".join(
            f"{quote_name(f.name)} {'DOUBLE' if f.unit and f.name != 'week' else 'INTEGER' if f.name == 'week' else 'VARCHAR'}"
            for f in TABLES[name].fields
        )
        made.execute(f"CREATE TABLE {name} ({listed})")
    for trial, condition, speed, per_km in (
        ("a", "shod", 2.0, (1000, 500, 800, 2000, 700)),
        ("b", "shod", 4.0, (800, 300, 600, 1800, 900)),
        ("c", "bare", 2.5, (1100, 0, 0, 2200, None)),
    ):
        made.execute("INSERT INTO trials (trial_id, participant_id, condition) VALUES (?, 'R', ?)", [trial, condition])
        made.execute(
            f"INSERT INTO trial_outcomes (trial_id, speed_m_per_s, {PER_KM}) VALUES (?, ?, ?, ?, ?, ?, ?)",
            [trial, speed, *per_km],
        )
    return made


def weeks(connection: duckdb.DuckDBPyConnection, *rows: tuple[int, str, float]) -> list[dict]:
    for week, condition, minutes in rows:
        connection.execute(
            "INSERT INTO reported_weeks (participant_id, week, condition, running_min) VALUES ('R', ?, ?, ?)",
            [week, condition, minutes],
        )
    found = connection.execute(f"{weekly_load()} ORDER BY week")
    names = [column[0] for column in found.description]
    assert names == list(columns())
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def test_a_week_is_as_far_as_its_minutes_at_the_runners_own_speed_and_loads_accordingly(connection) -> None:
    first, second = weeks(connection, (1, "shod", 100.0), (2, "shod", 50.0), (2, "bare", 20.0))
    # shod 3.0 m/s, 900 footfalls per km; bare 2.5 m/s, 1100 per km
    assert first["distance_km"] == pytest.approx(18.0)
    assert first["footfall_count"] == pytest.approx(18 * 900)
    assert first["impact_peaks_bw"] == pytest.approx(18 * 700)
    assert first["achilles_impulse_bw_s"] == pytest.approx(18 * 800)
    assert second["running_min"] == 70
    assert second["distance_km"] == pytest.approx(9 + 3)
    assert second["active_peaks_bw"] == pytest.approx(9 * 1900 + 3 * 2200)
    assert second["active_peaks_bw_until_then"] == pytest.approx(18 * 1900 + 9 * 1900 + 3 * 2200)
    # barefoot no moment is known, so the tendon's load of that week and of all until then is not
    assert second["achilles_impulse_bw_s"] is None
    assert second["achilles_impulse_bw_s_until_then"] is None
    assert first["achilles_impulse_bw_s_until_then"] == first["achilles_impulse_bw_s"]


def test_a_week_without_a_report_or_in_footwear_never_measured_ends_what_is_added_up(connection) -> None:
    rows = weeks(
        connection, (1, "shod", 60.0), (2, "other", 10.0), (3, "shod", 60.0), (5, "bare", 10.0), (5, "other", 0.0)
    )
    assert [row["distance_km"] is None for row in rows] == [False, True, False, False]
    assert [row["distance_km_until_then"] is None for row in rows] == [False, True, True, True]
    assert rows[3]["distance_km"] == pytest.approx(1.5)  # footwear that was not run in needs no trial
