"""What checks of whole sites look at, read from the warehouse while it is built: pooled values, equipment by session.

All accepted trials in their newest version. The checks are in ``checks.site.whole``, ``checks.site.measures`` and
``checks.site.drift``; running them and keeping what came of it is in ``site_checks``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from checks.site.drift import FORCE_SCALE, MARKER_SCALE, SECOND_CLOCK
from pipelines.science.statistics.control_chart import BASELINE_SESSIONS, control_chart
from schemas.equipment import ALL_PLATES, CAMERAS
from schemas.equipment import SECOND_CLOCK as SECOND_CLOCK_DEVICE

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

#: Quantity -> its unit as it reads after a number.
QUANTITY_UNITS = {FORCE_SCALE: "", MARKER_SCALE: "", SECOND_CLOCK: "ppm"}

# What each quantity is in a session. Trials of one session are averaged; a clock fit counts by its precision.
_READ = (
    "SELECT session_id, avg({column}) AS measured_value FROM equipment_readings JOIN trials USING (trial_id) "
    "WHERE device = '{device}' GROUP BY session_id"
)
_FORCE_SCALE = _READ.format(column="scale_ratio", device=ALL_PLATES)
_MARKER_SCALE = _READ.format(column="marker_scale_ratio", device=CAMERAS)
_SECOND_CLOCK = (
    "SELECT session_id, sum(clock_drift_ppm / clock_drift_error_ppm ** 2) / sum(1 / clock_drift_error_ppm ** 2) "
    f"AS measured_value FROM equipment_readings JOIN trials USING (trial_id) WHERE device = '{SECOND_CLOCK_DEVICE}' "
    "AND clock_drift_ppm IS NOT NULL AND clock_drift_error_ppm > 0 GROUP BY session_id"
)
_QUANTITIES = {FORCE_SCALE: _FORCE_SCALE, MARKER_SCALE: _MARKER_SCALE, SECOND_CLOCK: _SECOND_CLOCK}

#: Everything that ``pooled_tables`` reads, of footfalls their means in each trial.
LOOKED_AT = (
    "made_from.trial_values",
    "trials",
    "runners",
    "sessions",
    "equipment_readings",
    "(SELECT delivery_id, site, delivery_number FROM deliveries SEMI JOIN trials USING (delivery_id))",
)

# a session stands where it first came: a trial that is sent again does not move it
_SESSIONS = """
SELECT s.site, s.session_id, arg_min(d.delivery_id, (d.delivery_number, d.delivery_id)) AS delivery_id,
  min(d.delivery_number) AS delivery_number, any_value(s.study_day) AS study_day
FROM sessions s JOIN trials t USING (session_id) JOIN deliveries d ON d.delivery_id = t.delivery_id
GROUP BY s.site, s.session_id
"""


# with ``at_speed``, as in contrasts: runners are compared at one set speed, or else each at a single one of their own
_MEANS = {
    "as_set": "SELECT *, format('{:.1f} m/s', set_speed_m_per_s) AS at_speed FROM runner_condition_means",
    "own": "SELECT *, 'own speed' AS at_speed FROM runner_condition_means "
    "QUALIFY min(set_speed_m_per_s) OVER own = max(set_speed_m_per_s) OVER own "
    "WINDOW own AS (PARTITION BY participant_id, site, visit)",
}


def pooled_tables(connection: duckdb.DuckDBPyConnection, speeds: str = "as_set") -> dict[str, pd.DataFrame]:
    """The tables that checks of whole sites take as ``outcomes``, in an order that is the same in every build.

    speeds: ``processing.contrasts.speeds`` of the study.
    """
    return {
        "runner_means": connection.sql(
            f"SELECT * FROM ({_MEANS[speeds]}) ORDER BY site, visit, condition, at_speed, participant_id"
        ).df(),
        "runners": connection.sql(
            "SELECT d.site, r.* FROM runners r JOIN deliveries d ON d.delivery_id = r.delivery_id "
            "ORDER BY d.site, participant_id"
        ).df(),
        "sessions": connection.sql("SELECT * FROM sessions ORDER BY site, participant_id, study_day, session_id").df(),
        "device_sessions": device_sessions(connection),
    }


def device_sessions(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Rows of ``site_control_points`` less centre, limits and versions: each quantity of each site by session."""
    import pandas as pd

    parts = [
        connection.sql(
            f"SELECT site, {_text(quantity)} AS quantity, row_number() OVER (PARTITION BY site "
            "ORDER BY delivery_number, study_day, session_id) AS point_number, session_id, delivery_id, "
            f"measured_value, {_text(QUANTITY_UNITS[quantity])} AS unit_code "
            f"FROM ({sql}) JOIN ({_SESSIONS}) USING (session_id) "
            "WHERE measured_value IS NOT NULL AND isfinite(measured_value) ORDER BY site, point_number"
        ).df()
        for quantity, sql in _QUANTITIES.items()
    ]
    rows: pd.DataFrame = pd.concat(parts, ignore_index=True)
    return rows


def control_points(sessions: pd.DataFrame) -> pd.DataFrame:
    """The same with centre and limits of each site's own chart; these are null while a site has too few sessions."""
    import pandas as pd

    parts = []
    for _, own in sessions.groupby(["site", "quantity"], sort=True):
        chart = control_chart(own["measured_value"].to_numpy(float))
        limits = (chart.centre, chart.lower, chart.upper) if chart else (None, None, None)
        named = dict(zip(("centre_value", "lower_limit_value", "upper_limit_value"), limits, strict=True))
        parts.append(own.assign(**named, is_baseline=own["point_number"] <= BASELINE_SESSIONS))
    columns = ["centre_value", "lower_limit_value", "upper_limit_value", "is_baseline"]
    return pd.concat(parts, ignore_index=True) if parts else sessions.assign(**dict.fromkeys(columns))


def _text(word: str) -> str:
    return f"'{word}'"
