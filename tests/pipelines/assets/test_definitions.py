"""The graph that Dagster runs is the one a run carries out; what it shows of deliveries and checks is honest."""

from __future__ import annotations

import itertools
import shutil
from pathlib import Path
from typing import Any

import dagster as dg
import pytest

from checks.registry import Subject, catalogue
from pipelines.assets import definitions
from pipelines.assets.checks import TAKEN_IN_CHECK, Ends, result_of, way_of
from pipelines.assets.definitions import defs
from pipelines.assets.graph import PER_DELIVERY
from pipelines.assets.inbox_sensor import inbox_sensor
from pipelines.assets.place import Place
from pipelines.assets.run import run
from pipelines.assets.serve import commands, environment
from pipelines.depot.storage import Depot
from pipelines.pool.query import ask
from pipelines.taking_in.batch import Worked
from pipelines.taking_in.summary import Failure
from tests.delivery_builders import STUDY, a_delivery, raw_files, tables, trial_id
from tests.pipelines.taking_in.a_place import exchange_labels, with_study

pytestmark = pytest.mark.filterwarnings("ignore::dagster.BetaWarning", "ignore::dagster.PreviewWarning")
KEYS = ["brack/brack-001", "brack/brack-002", "brack/brack-003"]


def partitions(first: str, last: str) -> dict[str, str]:
    return {"dagster/asset_partition_range_start": first, "dagster/asset_partition_range_end": last}


def job_at(place: Place) -> dg.JobDefinition:
    return dg.Definitions(
        assets=defs.assets,
        asset_checks=defs.asset_checks,
        jobs=defs.jobs,
        resources={**(defs.resources or {}), "place": place},
        executor=dg.in_process_executor,
    ).resolve_job_def("take_in")


def results_of(place: Place) -> dict[str, str]:
    with Depot(place.depot).opened() as books:
        return books.deliveries.results()


class Made:
    """What Dagster made of an inbox: a run that the sensor asked for, then one of a partition that was asked for."""

    def __init__(self, inbox: Path) -> None:
        self.inbox = Path(shutil.copytree(inbox, inbox.parent / "as_it_was"))
        self.place = Place(study=str(STUDY), inbox=str(inbox), depot=str(inbox.parent / "by_dagster"))
        job = job_at(self.place)
        with dg.DagsterInstance.ephemeral() as instance:
            asked = inbox_sensor(dg.build_sensor_context(instance=instance), place=self.place)
            assert isinstance(asked, dg.SensorResult)
            self.requests = asked.run_requests or []
            for request in asked.dynamic_partitions_requests or []:
                instance.add_dynamic_partitions(request.partitions_def_name, request.partition_keys)
            self.first = job.execute_in_process(instance=instance)
            self.rows = tables(Path(self.place.depot))
            self.again = inbox_sensor(dg.build_sensor_context(instance=instance), place=self.place)
            before = results_of(self.place)
            self.second = job.execute_in_process(instance=instance, tags=partitions(KEYS[1], KEYS[1]))
            self.judged_again = {name for name, word in results_of(self.place).items() if before[name] != word}
            broken = inbox / "brack" / "brack-003" / "bag-info.txt"
            broken.write_text(broken.read_text() + "Contact-Name: nobody\n")
            self.third = job.execute_in_process(
                instance=instance, tags=partitions(KEYS[1], KEYS[2]), raise_on_error=False
            )
            self.partitions = {name: instance.get_materialized_partitions(dg.AssetKey(name)) for name in PER_DELIVERY}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    inbox = tmp_path_factory.mktemp("dagster") / "inbox"
    a_delivery(inbox, runners=("FS-01", "FS-02"), withdrawn={"FS-02": 0}, faulty={"1": "heavy"})
    a_delivery(inbox, 2)
    broken = a_delivery(inbox, 3, names=("standing",))
    (broken / "data" / "participants.csv").write_text("changed")
    return Made(inbox)


@pytest.fixture(scope="module")
def by_run(made: Made, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a run made of the same inbox. Nobody may write into it."""
    depot = tmp_path_factory.mktemp("by_run") / "depot"
    run(STUDY, made.inbox, depot, "tester", workers=1)
    return depot


def test_one_run_does_all_that_is_due_and_then_nothing_is(made: Made) -> None:
    assert len(made.requests) == 1
    assert made.first.success
    assert isinstance(made.again, dg.SkipReason)
    steps = [e.step_key for e in made.first.all_events if e.event_type_value == "STEP_SUCCESS"]
    assert steps[:4] == ["take_in_deliveries", "taken_out", "depot", "build_warehouse"]
    assert set(steps[4:]) == {"checks_of_deliveries", "pages", "withdrawals", "told"}
    assert steps.index("withdrawals") > steps.index("pages")


def test_what_is_due_still_after_a_run_is_tried_again_later_and_a_run_that_failed_is_not_repeated(
    tmp_path: Path,
) -> None:
    a_delivery(tmp_path / "inbox", names=("standing",))
    place = Place(study=str(STUDY), inbox=str(tmp_path / "inbox"), depot=str(tmp_path / "depot"))
    with dg.DagsterInstance.ephemeral() as instance:

        def asked() -> dg.RunRequest | str:
            told = inbox_sensor(dg.build_sensor_context(instance=instance), place=place)
            if isinstance(told, dg.SkipReason):
                return str(told.skip_message)
            assert isinstance(told, dg.SensorResult)
            (request,) = told.run_requests or []
            return request

        first = asked()
        assert isinstance(first, dg.RunRequest)
        instance.add_run(
            dg.DagsterRun(
                "take_in",
                "0" * 8 + "-0000-4000-8000-" + "0" * 12,
                tags=dict(first.tags),
                status=dg.DagsterRunStatus.SUCCESS,
            )
        )
        again = asked()
        assert isinstance(again, dg.RunRequest)
        assert str(again.run_key).startswith(f"{first.run_key}-"), "one key an hour"
        instance.add_run(
            dg.DagsterRun(
                "take_in",
                "1" * 8 + "-0000-4000-8000-" + "0" * 12,
                tags=dict(first.tags),
                status=dg.DagsterRunStatus.FAILURE,
            )
        )
        assert "start it again by hand" in str(asked())


def test_it_leaves_the_same_files_as_a_run(made: Made, by_run: Path) -> None:
    assert made.rows == tables(by_run)
    assert raw_files(Path(made.place.depot)) == raw_files(by_run)
    sql = "SELECT * EXCLUDE (received_utc) FROM deliveries UNION ALL BY NAME SELECT * FROM footfalls ORDER BY ALL"
    by_dagster, by_run = (ask(Depot(d).warehouse, sql).to_pylist() for d in (made.place.depot, by_run))
    assert by_dagster == by_run
    assert (Depot(made.place.depot).root / "pages").joinpath("index.html").exists()


def test_a_delivery_is_shown_as_far_as_it_came_and_a_stopped_one_never_as_made(made: Made) -> None:
    assert made.partitions == {
        "received": set(KEYS),
        "gated": set(KEYS[:2]),
        "judged_trials": set(KEYS[:2]),
        "delivery_tables": set(KEYS[:2]),
    }
    told = {e.partition: e for e in made.first.get_asset_check_evaluations() if e.check_name == TAKEN_IN_CHECK}
    assert {key: e.passed for key, e in told.items()} == dict(zip(KEYS, (True, True, False), strict=True))
    stopped = told[KEYS[2]]
    assert stopped.severity is dg.AssetCheckSeverity.ERROR
    assert "Stopped" in str(stopped.description)


def test_a_partition_that_is_asked_for_is_judged_again_and_no_other(made: Made) -> None:
    assert made.second.success
    assert made.judged_again == {"brack-002"}
    events: list[Any] = made.second.get_asset_materialization_events()
    (received,) = (e for e in events if e.asset_key == dg.AssetKey("received"))
    assert received.partition == KEYS[1]
    assert received.materialization.metadata["why"].value == "Asked for."


def test_what_a_command_took_in_is_there_as_partitions_and_one_is_judged_again_when_asked_for(
    made: Made, by_run: Path, tmp_path: Path
) -> None:
    shutil.copytree(by_run.parent, tmp_path / "by_command")
    place = Place(study=str(STUDY), inbox=str(made.inbox), depot=str(tmp_path / "by_command" / "depot"))
    with dg.DagsterInstance.ephemeral() as instance:
        said = inbox_sensor(dg.build_sensor_context(instance=instance), place=place)
        assert isinstance(said, dg.SkipReason), said
        assert set(instance.get_dynamic_partitions("delivery")) == set(KEYS)
        shown = {name: instance.get_materialized_partitions(dg.AssetKey(name)) for name in PER_DELIVERY}
        assert shown == {"received": set(KEYS)} | {name: set(KEYS[:2]) for name in list(PER_DELIVERY)[1:]}
        before = results_of(place)
        again = job_at(place).execute_in_process(instance=instance, tags=partitions(KEYS[1], KEYS[1]))
        assert again.success
        assert {name for name, word in results_of(place).items() if before[name] != word} == {"brack-002"}
        stopped = job_at(place).execute_in_process(
            instance=instance, tags=partitions(KEYS[2], KEYS[2]), raise_on_error=False
        )
        assert not stopped.success


def test_a_partition_that_is_asked_for_lets_no_waiting_change_count_without_a_yes(
    made: Made, by_run: Path, tmp_path: Path
) -> None:
    shutil.copytree(by_run.parent, tmp_path / "held")
    exchange_labels(with_study(tmp_path))
    depot = tmp_path / "held" / "depot"
    place = Place(study=str(tmp_path / "study.yaml"), inbox=str(made.inbox), depot=str(depot))
    before, rows = results_of(place), tables(depot)
    with dg.DagsterInstance.ephemeral() as instance:
        instance.add_dynamic_partitions("delivery", KEYS)

        def asked(**config: bool) -> dg.ExecuteInProcessResult:
            return job_at(place).execute_in_process(
                instance=instance,
                tags=partitions(KEYS[1], KEYS[1]),
                asset_selection=[dg.AssetKey(name) for name in PER_DELIVERY],
                run_config={"ops": {"take_in_deliveries": {"config": config}}},
                raise_on_error=False,
            )

        refused = asked()
        assert not refused.success
        (failure,) = (e for e in refused.all_events if e.event_type_value == "STEP_FAILURE")
        told = str(failure.event_specific_data)
        assert "NOT PUBLISHED" in told
        assert f"{trial_id('1')} of brack-002: accepted -> returned" in told
        assert not refused.get_asset_materialization_events()
        assert (results_of(place), tables(depot)) == (before, rows)
        assert asked(yes=True).success
    assert {name for name, word in results_of(place).items() if before[name] != word} == {"brack-002"}


def test_a_run_for_partitions_fails_if_one_is_stopped_and_shows_the_others_as_made(made: Made) -> None:
    assert not made.third.success
    events: list[Any] = made.third.get_asset_materialization_events()
    through = {(e.asset_key.to_user_string(), e.partition) for e in events}
    assert through == {(name, KEYS[1]) for name in PER_DELIVERY} | {("received", KEYS[2])}


def test_a_delivery_that_could_not_be_worked_on_is_shown_as_failed_without_the_words_of_the_fault(made: Made) -> None:
    failed = Worked(KEYS[0], "new", failure=Failure("brack-001", "KeyError: 'Berthold'", ours=True))
    with made.place.reading() as desk:
        (event,) = way_of(desk, failed)
    assert isinstance(event, dg.AssetCheckEvaluation)
    assert (event.passed, event.partition, event.severity) == (False, KEYS[0], dg.AssetCheckSeverity.ERROR)
    assert "KeyError" in str(event.description)
    assert "Berthold" not in str(event.description)


def test_each_check_is_shown_over_all_deliveries_so_that_none_hides_another(made: Made) -> None:
    shown = {e.check_name: e for e in made.first.get_asset_check_evaluations() if e.check_name != TAKEN_IN_CHECK}
    assert set(shown) == set(catalogue())
    about_sites = {s.name for s in catalogue().values() if s.about is Subject.SITE}
    assert {name for name, e in shown.items() if e.asset_key == dg.AssetKey("site_checks")} == about_sites
    errors = {name for name, e in shown.items() if not e.passed and e.severity is dg.AssetCheckSeverity.ERROR}
    assert errors == {
        "mean_vertical_force_is_body_weight",
        "consent_covers_the_trial",
        "bag_is_complete_and_unchanged",  # these three in the delivery that was stopped
        "tables_can_be_read",
        "rows_refer_to_rows_that_exist",
        "changed_trials_say_why",
    }
    heavy = shown["mean_vertical_force_is_body_weight"]
    assert heavy.metadata["found_in"].value == {"brack-001": 1}


def test_a_skipped_check_is_never_shown_as_passed(made: Made) -> None:
    for name, e in ((e.check_name, e) for e in made.first.get_asset_check_evaluations()):
        if str(e.description).startswith("skipped"):
            assert (e.passed, e.severity) == (False, dg.AssetCheckSeverity.WARN), name
    spec = next(iter(catalogue().values()))
    never = result_of(spec, Ends(), "depot")
    assert (never.passed, never.description) == (False, "skipped: it never ran")


def test_what_dagster_loads_is_short_and_valid() -> None:
    source = Path(definitions.__file__).read_text(encoding="utf-8")
    assert len(source.splitlines()) < 60
    dg.Definitions.validate_loadable(defs)
    assert [s.name for s in defs.sensors or []] == ["inbox_sensor"]


def test_the_graph_is_drawn_as_the_deliveries_go() -> None:
    way = [*PER_DELIVERY, "taken_out", "depot", "warehouse", "site_checks", "pages", "withdrawals", "release"]
    graph = defs.resolve_asset_graph()
    for before, after in itertools.pairwise(way):
        assert dg.AssetKey(before) in graph.get(dg.AssetKey(after)).parent_keys
    assert all(graph.get(dg.AssetKey(name)).is_partitioned for name in PER_DELIVERY)
    assert graph.get(dg.AssetKey("received")).backfill_policy == dg.BackfillPolicy.single_run()


def test_the_web_page_is_for_this_machine_only_and_sends_nothing(tmp_path: Path) -> None:
    settings = environment(STUDY, tmp_path / "inbox", Depot(tmp_path / "depot"))
    assert settings["DAGSTER_DISABLE_TELEMETRY"] == "yes"
    assert settings["DAGSTER_HOME"] == str(tmp_path / "depot" / "dagster")
    assert "enabled: false" in (tmp_path / "depot" / "dagster" / "dagster.yaml").read_text()
    web, daemon = commands(3000)
    assert web[web.index("--host") + 1] == "127.0.0.1"
    assert "--host" not in daemon
