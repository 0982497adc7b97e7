"""The warehouse: complete, commented, swapped in one step, shut off; and views that do not pseudo-replicate."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from pipelines.assets.run import run
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.pool.build import build_warehouse
from pipelines.pool.filling import warehouse_tables
from pipelines.pool.query import ask, open_read_only
from pipelines.pool.views import all_views
from pipelines.study.file import load_study
from schemas.convert.words import column_comment
from tests.delivery_builders import STUDY, a_delivery, trial_id


@pytest.fixture(scope="module")
def depot(tmp_path_factory: pytest.TempPathFactory) -> Depot:
    folder = tmp_path_factory.mktemp("warehouse")
    a_delivery(folder / "inbox", runners=("FS-01", "FS-02"), names=("standing", "1", "2"))
    a_delivery(folder / "inbox", 2, runners=("FS-03",), faulty={"1": "heavy"})
    run(STUDY, folder / "inbox", folder / "depot", "tester", workers=1)
    return Depot(folder / "depot")


@pytest.fixture
def connection(depot: Depot) -> Iterator[duckdb.DuckDBPyConnection]:
    with open_read_only(depot.warehouse) as connection:
        yield connection


def test_every_table_is_there_with_its_columns_types_key_and_words(connection: duckdb.DuckDBPyConnection) -> None:
    for table in warehouse_tables():
        columns = connection.execute(
            "SELECT column_name, comment, is_nullable FROM duckdb_columns() WHERE table_name = ? ORDER BY column_index",
            [table.name],
        ).fetchall()
        assert columns == [(f.name, column_comment(f), f.nullable) for f in table.fields]
        about = connection.execute("SELECT comment FROM duckdb_tables() WHERE table_name = ?", [table.name]).fetchall()
        assert about[0][0].startswith(f"One row is {table.one_row_is}")


def test_every_view_and_each_of_its_columns_has_words(connection: duckdb.DuckDBPyConnection) -> None:
    views = connection.execute("SELECT view_name, comment FROM duckdb_views() WHERE NOT internal").fetchall()
    assert {name for name, _ in views} == {v.name for v in all_views()} | {"about_this_warehouse"}
    assert all(comment for _, comment in views)
    for name, _ in views:
        columns = connection.execute(
            "SELECT column_name, comment FROM duckdb_columns() WHERE table_name = ?", [name]
        ).fetchall()
        assert columns
        assert [column for column, comment in columns if not comment] == [], name


def test_only_accepted_trials_their_sessions_and_runners_are_in(connection: duckdb.DuckDBPyConnection) -> None:
    runners = {r for (r,) in connection.execute("SELECT participant_id FROM runners").fetchall()}
    assert runners == {"FS-01", "FS-02", "FS-03"}, "FS-03 has an accepted standing trial"
    trials = {t for (t,) in connection.execute("SELECT DISTINCT trial_id FROM footfalls").fetchall()}
    assert trials == {trial_id(name, runner) for name in ("1", "2") for runner in ("FS-01", "FS-02")}
    dimensions = [connection.execute(f"SELECT count(*) FROM {t}").fetchall()[0][0] for t in ("sites", "visits")]
    study = load_study(STUDY).study
    assert dimensions == [len(study.sites), len(study.visits)]


def test_means_of_trials_and_runners_are_those_of_the_footfalls(connection: duckdb.DuckDBPyConnection) -> None:
    """Recomputed with the standard library, footfalls first within trials, then trials within runners."""
    rows = connection.execute(
        "SELECT participant_id, trial_id, contact_time_s, impact_peak_bw FROM footfalls JOIN trials USING (trial_id)"
    ).fetchall()
    by_trial: dict[tuple[str, str], list[float]] = defaultdict(list)
    for runner, trial, contact, _ in rows:
        by_trial[runner, trial].append(contact)
    seen = dict(connection.execute("SELECT trial_id, contact_time_s FROM trial_means").fetchall())
    assert seen == pytest.approx({trial: statistics.fmean(v) for (_, trial), v in by_trial.items()})
    by_runner: dict[str, list[float]] = defaultdict(list)
    for (runner, _), values in by_trial.items():
        by_runner[runner].append(statistics.fmean(values))
    seen = dict(connection.execute("SELECT participant_id, contact_time_s FROM runner_condition_means").fetchall())
    assert seen == pytest.approx({runner: statistics.fmean(v) for runner, v in by_runner.items()})
    overall = connection.execute("SELECT runner_count, contact_time_s FROM condition_overview").fetchall()
    assert overall == [(2, pytest.approx(statistics.fmean(seen.values())))]
    spread = connection.execute(
        "SELECT trial_id, sd_value FROM outcome_spread WHERE outcome = 'contact_time_s'"
    ).fetchall()
    assert dict(spread) == pytest.approx({trial: statistics.stdev(v) for (_, trial), v in by_trial.items()})


def test_a_long_trial_weighs_no_more_than_a_short_one() -> None:
    """One runner: ten footfalls of 0.2 s in one trial, two of 0.3 s in the other; the runner's mean is 0.25 s."""
    sql = {view.name: view.sql for view in all_views()}
    given = {"participant_id": "'p'", "site": "'x'", "visit": "'v'", "condition": "'c'"}
    full = next(view for view in all_views() if view.name == "footfalls_full")
    own = ("trial_id", "contact_time_s")
    rest = ", ".join(f"{given.get(name, 'NULL::DOUBLE')} AS {name}" for name in full.columns if name not in own)
    footfalls = "SELECT 'a' AS trial_id, 0.2 AS contact_time_s FROM range(10) UNION ALL SELECT 'b', 0.3 FROM range(2)"
    with duckdb.connect() as connection:
        connection.execute(f"CREATE VIEW footfalls_full AS SELECT {', '.join(own)}, {rest} FROM ({footfalls})")
        connection.execute(f"CREATE VIEW trial_means AS {sql['trial_means']}")
        connection.execute(f"CREATE VIEW runner_condition_means AS {sql['runner_condition_means']}")
        answer = connection.execute(
            "SELECT contact_time_s, trial_count, footfall_count FROM runner_condition_means"
        ).fetchall()
    assert answer == [(pytest.approx(0.25), 2, 12)]


def test_completeness_shows_the_empty_cells_of_the_plan_too(connection: duckdb.DuckDBPyConnection) -> None:
    rows = connection.execute("SELECT * FROM completeness").fetchall()
    study = load_study(STUDY).study
    assert len(rows) == len(study.sites) * len(study.visits) * len(study.conditions)
    assert rows[0][:3] == ("brack", "week_0", "cushioned")
    assert rows[0][3:] == (2, 4, 1, 0)
    assert all(set(row[3:]) == {0} for row in rows[1:])
    assert list(dict.fromkeys(row[1] for row in rows)) == ["week_0", "week_5", "week_10"], "in the order of the plan"


def test_a_depot_without_deliveries_gives_empty_tables(tmp_path: Path) -> None:
    depot = Depot(tmp_path)
    built = build_warehouse(depot, load_study(STUDY), "0", {}, {})
    # whole sites were looked at, and every check says that there was nothing to judge; so does every planned comparison
    told = {"check_runs", "analysis_plans", "planned_contrasts", "planned_curves", "planned_dose_responses"}
    told |= {"planned_participants"}
    assert {name for name, rows in built.rows.items() if rows} == {"sites", "visits", "conditions"} | told
    with open_read_only(depot.warehouse) as connection:
        for view in all_views():
            connection.execute(f"SELECT * FROM {view.name}").fetchall()


def test_a_reader_with_the_warehouse_open_keeps_reading_while_it_is_rebuilt(tmp_path: Path) -> None:
    depot, study = Depot(tmp_path), load_study(STUDY)
    build_warehouse(depot, study, "old", {}, {})
    sql = "SELECT code_version FROM about_this_warehouse"
    with open_read_only(depot.warehouse) as reader:
        assert reader.execute(sql).fetchall() == [("old",)]
        cursor = reader.execute("SELECT * FROM range(300000) r, conditions")
        first = cursor.fetchmany(10)
        build_warehouse(depot, study, "new", {}, {})
        assert len(first) + len(cursor.fetchall()) == 900000
        assert reader.execute(sql).fetchall() == [("old",)]
        assert reader.execute("SELECT count(*) FROM visits").fetchall() == [(3,)]
    assert ask(depot.warehouse, sql).to_pylist() == [{"code_version": "new"}]
    assert [p.name for p in tmp_path.rglob("*") if p != depot.work] == ["warehouse.duckdb"]


def test_a_build_that_fails_leaves_the_old_warehouse(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    depot = Depot(tmp_path)
    build_warehouse(depot, load_study(STUDY), "first", {}, {})
    before = depot.warehouse.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("os.replace", full)
        with pytest.raises(OSError, match="No space"):
            build_warehouse(depot, load_study(STUDY), "other", {}, {})
    assert depot.warehouse.read_bytes() == before
    build_warehouse(depot, load_study(STUDY), "other", {}, {})
    assert list(depot.work.iterdir()) == []


@pytest.mark.parametrize(
    "sql",
    [
        "SELECT * FROM read_csv('/etc/passwd')",
        "SELECT * FROM '/etc/passwd'",
        "COPY (SELECT 1) TO '{tmp}/out.csv'",
        "ATTACH '{tmp}/other.duckdb'",
        "EXPORT DATABASE '{tmp}/all'",
        "INSTALL httpfs",
        "LOAD httpfs",
        "SET enable_external_access = true",
        "SET lock_configuration = false",
        "DROP TABLE footfalls",
        "INSERT INTO visits VALUES ('x', 1)",
        "SELECT * FROM a_frame_of_the_program",
        "SELECT 1; DROP VIEW completeness",
        "SELEKT 1",
        "",
    ],
)
def test_a_question_can_change_nothing_and_reach_nothing(depot: Depot, tmp_path: Path, sql: str) -> None:
    a_frame_of_the_program = pd.DataFrame({"a": [1]})
    before = depot.warehouse.read_bytes()
    if sql:
        with pytest.raises(Unusable):
            ask(depot.warehouse, sql.format(tmp=tmp_path))
    else:
        assert ask(depot.warehouse, sql).num_rows == 0
    assert list(tmp_path.iterdir()) == []
    assert depot.warehouse.read_bytes() == before
    assert len(a_frame_of_the_program) == 1


def test_two_columns_of_one_name_are_both_shown(depot: Depot, capsys: pytest.CaptureFixture[str]) -> None:
    from pipelines.pool.query import print_answer

    print_answer(ask(depot.warehouse, "SELECT 'left' AS a, 'right' AS a, NULL AS b, '[red]x' AS c"))
    out = capsys.readouterr().out
    assert all(word in out for word in ("left", "right", "–", "[red]x", "1 row."))


def test_something_that_is_no_warehouse_is_refused_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "warehouse.duckdb").write_bytes(b"not a database" * 1000)
    with pytest.raises(Unusable, match="manystrides run"):
        ask(tmp_path / "warehouse.duckdb", "SELECT 1")
