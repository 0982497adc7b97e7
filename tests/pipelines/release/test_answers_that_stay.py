"""An answer that allows for what no release tells of runners stays in the depot with it."""

from __future__ import annotations

import duckdb

from pipelines.release.contents import leaving_rows
from schemas.outcomes_planned import PLANNED_CONTRASTS


def test_an_answer_that_allows_for_mass_or_sex_does_not_leave_and_the_others_do() -> None:
    """Beside the differences of its runners, trying all assignments of two sexes to nine runners left the true one."""
    with duckdb.connect() as connection:
        connection.execute("ATTACH ':memory:' AS pooled")
        connection.execute(
            "CREATE TABLE pooled.planned_contrasts AS SELECT 'contact_time_s' AS outcome, "
            "unnest(['none', 'sex', 'mass, sex']) AS covariates_kept_back"
        )
        kept = f"FROM pooled.planned_contrasts WHERE {leaving_rows(connection, PLANNED_CONTRASTS)}"
        assert connection.execute(f"SELECT covariates_kept_back {kept}").fetchall() == [("none",)]
