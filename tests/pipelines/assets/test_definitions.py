"""Dagster does the same as a run: same files, with the checks and counts shown."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import dagster as dg
import pytest

from checks.registry import Subject, catalogue
from pipelines.assets import definitions
from pipelines.assets.definitions import defs
from pipelines.assets.inbox_sensor import inbox_sensor
from pipelines.assets.place import Place
from pipelines.assets.serve import command, environment
from pipelines.depot.storage import Depot
from pipelines.judging.standings import DELIVERY_TABLES
from pipelines.pool.query import ask
from pipelines.taking_in.run import run
from tests.delivery_builders import STUDY, a_delivery, raw_files, tables, trial_id

pytestmark = pytest.mark.filterwarnings("ignore::dagster.BetaWarning", "ignore::dagster.PreviewWarning")


@pytest.fixture(scope="module")
def inbox(tmp_path_factory: pytest.TempPathFactory) -> Path:
    inbox = tmp_path_factory.mktemp("dagster") / "inbox"
    a_delivery(inbox, runners=("FS-01", "FS-02"), withdrawn={"FS-02": 0}, faulty={"1": "heavy"})
    a_delivery(inbox, 2)
    broken = a_delivery(inbox, 3, names=("standing",))
    (broken / "data" / "participants.csv").write_text("changed")
    return inbox


@pytest.fixture(scope="module")
def made(inbox: Path) -> tuple[Place, dict[str, dg.ExecuteInProcessResult]]:
    """Every partition the sensor asks for, materialized in order."""
    place = Place(study=str(STUDY), inbox=str(inbox), depot=str(inbox.parent / "by_dagster"))
    job = dg.Definitions(
        assets=defs.assets, jobs=defs.jobs, resources={"place": place}, executor=dg.in_process_executor
    ).resolve_job_def("take_in")
    with dg.DagsterInstance.ephemeral() as instance:
        asked = inbox_sensor(dg.build_sensor_context(instance=instance), place=place)
        assert isinstance(asked, dg.SensorResult)
        assert asked.dynamic_partitions_requests is not None
        assert asked.run_requests is not None
        for request in asked.dynamic_partitions_requests:
            instance.add_dynamic_partitions(request.partitions_def_name, request.partition_keys)
        keys = [str(r.partition_key) for r in asked.run_requests]
        results = {key: job.execute_in_process(instance=instance, partition_key=key) for key in keys}
        again = inbox_sensor(dg.build_sensor_context(instance=instance), place=place)
        assert isinstance(again, dg.SkipReason), "nothing is due after it was taken in"
    return place, results


Made = tuple[Place, dict[str, dg.ExecuteInProcessResult]]


def test_a_materialized_partition_leaves_the_same_files_as_a_run(made: Made, inbox: Path) -> None:
    place, results = made
    assert list(results) == ["brack/brack-001", "brack/brack-002", "brack/brack-003"]
    assert all(result.success for result in results.values())
    other = inbox.parent / "by_run"
    run(STUDY, inbox, other, "tester", workers=1)
    assert tables(Path(place.depot)) == tables(other)
    assert raw_files(Path(place.depot)) == raw_files(other)
    sql = "SELECT * EXCLUDE (received_utc) FROM deliveries UNION ALL BY NAME SELECT * FROM footfalls ORDER BY ALL"
    by_dagster, by_run = (ask(Depot(d).warehouse, sql).to_pylist() for d in (place.depot, other))
    assert by_dagster == by_run
    assert Depot(place.depot).pages.joinpath("index.html").exists()
    assert "Nothing new" in run(STUDY, inbox, place.depot, "tester", workers=1).text()


def test_each_table_is_materialized_with_rows_columns_and_a_preview(made: Made) -> None:
    _, results = made
    events: list[Any] = results["brack/brack-002"].get_asset_materialization_events()
    by_name = {e.asset_key.to_user_string(): e.materialization.metadata for e in events}
    assert set(by_name) == {t.name for t in DELIVERY_TABLES} | {"warehouse", "pages"}
    assert by_name["standings"]["dagster/row_count"].value == 2
    assert trial_id("1") in by_name["standings"]["preview"].value
    specs = {s.key.to_user_string(): s for s in defs.resolve_all_asset_specs()}
    for table in DELIVERY_TABLES:
        schema = specs[table.name].metadata["dagster/column_schema"]
        assert [c.name for c in schema.columns] == list(table.column_names)


def test_each_check_is_an_asset_check_with_how_it_ended(made: Made) -> None:
    _, results = made
    first = {e.check_name: e for e in results["brack/brack-001"].get_asset_check_evaluations()}
    assert set(first) == set(catalogue())
    on_warehouse = {name for name, e in first.items() if e.asset_key == dg.AssetKey("warehouse")}
    assert on_warehouse == {s.name for s in catalogue().values() if s.about is Subject.SITE}
    failed = {name: e.severity for name, e in first.items() if not e.passed}
    assert failed == {
        "mean_vertical_force_is_body_weight": dg.AssetCheckSeverity.ERROR,
        "consent_covers_the_trial": dg.AssetCheckSeverity.ERROR,
    }
    assert first["archive_unpacks_safely"].description == "skipped: nothing to look at (1 times)"
    stopped = {e.check_name: e for e in results["brack/brack-003"].get_asset_check_evaluations()}
    assert not stopped["bag_is_complete_and_unchanged"].passed
    assert stopped["sides_alternate"].description == "not run: the delivery was stopped"


def test_what_dagster_loads_is_short_and_valid() -> None:
    source = Path(definitions.__file__).read_text(encoding="utf-8")
    assert len(source.splitlines()) < 60
    dg.Definitions.validate_loadable(defs)
    assert [s.name for s in defs.sensors or []] == ["inbox_sensor"]


def test_the_web_page_is_for_this_machine_only_and_sends_nothing(tmp_path: Path) -> None:
    settings = environment(STUDY, tmp_path / "inbox", Depot(tmp_path / "depot"))
    assert settings["DAGSTER_DISABLE_TELEMETRY"] == "yes"
    assert settings["DAGSTER_HOME"] == str(tmp_path / "depot" / "dagster")
    assert "enabled: false" in (tmp_path / "depot" / "dagster" / "dagster.yaml").read_text()
    words = command(3000)
    assert words[words.index("--host") + 1] == "127.0.0.1"
