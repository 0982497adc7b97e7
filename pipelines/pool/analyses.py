"""Tables that need the whole pool: change-over weeks, cautions, and contrasts between conditions.

They are computed from the warehouse's own tables while it is built. The methods are in ``pipelines.science``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from pipelines.pool.views import NUMERIC
from schemas import outcomes_study as tables
from schemas.convert.to_arrow import to_arrow_table
from schemas.convert.to_duckdb import quote_name
from schemas.model import Field, Kind, Table
from schemas.outcomes_muscle import MUSCLE_AMPLITUDES, MUSCLE_BURSTS
from schemas.outcomes_signals import FOOTFALL_JOINTS

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from schemas.processing import Processing

#: Tables that are made here and not read from deliveries.
ANALYSIS_TABLES: tuple[Table, ...] = (
    tables.TRANSITION_WEEKS,
    tables.TRANSITION_CAUTIONS,
    tables.RUNNER_CONTRASTS,
    tables.SITE_CONTRASTS,
    tables.POOLED_CONTRASTS,
)
_ABOUT = "trial_id, participant_id, site, visit, condition"
_ENERGY = ("metabolic_power_w_per_kg", "energy_cost_j_per_kg_m", "oxygen_cost_ml_per_kg_km")


def fill_analyses(
    connection: duckdb.DuckDBPyConnection, processing: Processing, code_version: str, study_version: str
) -> None:
    """Compute and insert every table of ``ANALYSIS_TABLES``."""
    stamp = {"code_version": code_version, "study_version": study_version}
    for table, frame in _transition(connection, processing):
        _insert(connection, table, frame.assign(**stamp))
    for table, frame in _contrasts(connection, processing):
        _insert(connection, table, frame.assign(**stamp))


def _transition(connection: duckdb.DuckDBPyConnection, processing: Processing) -> Iterator[tuple[Table, pd.DataFrame]]:
    from pipelines.science.change_over.cautions import cautions
    from pipelines.science.change_over.weeks import compute_transition

    weeks = connection.sql("SELECT * FROM reported_weeks").df()
    symptoms = connection.sql("SELECT * FROM reported_symptoms").df()
    found = compute_transition(weeks, symptoms, processing)
    yield tables.TRANSITION_WEEKS, found
    yield tables.TRANSITION_CAUTIONS, cautions(found, processing)


def _contrasts(connection: duckdb.DuckDBPyConnection, processing: Processing) -> Iterator[tuple[Table, pd.DataFrame]]:
    import pandas as pd

    from pipelines.science.statistics.contrasts import pooled_contrasts, runner_contrasts, site_contrasts

    values = pd.concat(list(_values(connection)), ignore_index=True)
    within = runner_contrasts(values, processing)
    yield tables.RUNNER_CONTRASTS, within
    yield tables.SITE_CONTRASTS, site_contrasts(within, processing)
    yield tables.POOLED_CONTRASTS, pooled_contrasts(within, processing)


def _values(connection: duckdb.DuckDBPyConnection) -> Iterator[pd.DataFrame]:
    """Every numeric outcome in long form, a row per footfall (or per bout), with what tells it apart."""
    from pipelines.science.statistics.contrasts import long_form

    numeric = [f.name for f in NUMERIC]
    yield long_form(_joined(connection, "footfalls", numeric), numeric)
    for table, outcomes, apart in (
        (FOOTFALL_JOINTS, _reals(FOOTFALL_JOINTS), ("joint", "plane", "angle_against")),
        (MUSCLE_AMPLITUDES, ["amplitude_fraction"], ("muscle", "side", "analysis_window", "normalisation")),
        (MUSCLE_BURSTS, ["onset_before_contact_s", "offset_after_contact_s"], ("muscle", "side", "onset_method")),
    ):
        yield long_form(_joined(connection, table.name, [*outcomes, *apart]), outcomes, apart)
    bouts = connection.sql(
        "SELECT concat_ws('/', e.session_id, e.condition, e.bout) AS trial_id, s.participant_id, s.site, s.visit, "
        f"e.condition, {', '.join(_ENERGY)} FROM energy_bouts e JOIN sessions s USING (session_id)"
    ).df()
    yield long_form(bouts, _ENERGY)


def _joined(connection: duckdb.DuckDBPyConnection, table: str, columns: Iterable[str]) -> pd.DataFrame:
    """Rows of an outcome table with runner, site, visit and condition of their trial."""
    listed = ", ".join(f"o.{quote_name(name)}" for name in columns)
    return connection.sql(f"SELECT {_ABOUT}, {listed} FROM {quote_name(table)} o JOIN trials t USING (trial_id)").df()


def _reals(table: Table) -> list[str]:
    def is_outcome(field: Field) -> bool:
        return field.kind is Kind.REAL and field.nullable

    return [field.name for field in table.fields if is_outcome(field)]


def _insert(connection: duckdb.DuckDBPyConnection, table: Table, frame: pd.DataFrame) -> None:
    connection.register("rows", to_arrow_table(table, frame[list(table.column_names)]))
    connection.execute(f"INSERT INTO {quote_name(table.name)} BY NAME SELECT * FROM rows")
    connection.unregister("rows")
