"""A withdrawal that a kill left is carried out by Dagster before anything else, by the same steps as by a command."""

from __future__ import annotations

from pathlib import Path

import dagster as dg
import pytest

from pipelines.assets import deciding
from pipelines.assets.deciding import withdraw
from pipelines.assets.definitions import defs
from pipelines.assets.inbox_sensor import inbox_sensor
from pipelines.assets.place import Place
from pipelines.assets.run import run
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot
from tests.delivery_builders import STUDY, a_delivery, leaving
from tests.depot_books import ledger_lines

pytestmark = pytest.mark.filterwarnings("ignore::dagster.BetaWarning", "ignore::dagster.PreviewWarning")
LEAVES = "FS-02"


class KilledError(BaseException):
    """As a kill ends a command."""


def die(*_: object) -> None:
    raise KilledError


@pytest.fixture
def killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Place:
    """A depot from which a runner withdrew by a command that was killed at once; a new delivery lies in the inbox."""
    place = Place(study=str(STUDY), inbox=str(tmp_path / "inbox"), depot=str(tmp_path / "depot"))
    a_delivery(tmp_path / "inbox", names=("standing",), runners=("FS-01", LEAVES))
    run(STUDY, place.inbox_path, place.depot, "tester", workers=1)
    with monkeypatch.context() as patch:
        patch.setattr(deciding, "carry_out", die)
        with pytest.raises(KilledError):
            withdraw(STUDY, place.depot, leaving(LEAVES))
    a_delivery(tmp_path / "inbox", 2, names=("standing",), runners=("FS-03",))
    return place


def test_the_sensor_asks_for_it_first_and_once_and_the_run_does_nothing_else(killed: Place) -> None:
    graph = dg.Definitions(
        assets=defs.assets,
        asset_checks=defs.asset_checks,
        jobs=defs.jobs,
        resources={**(defs.resources or {}), "place": killed},
        executor=dg.in_process_executor,
    )
    with dg.DagsterInstance.ephemeral() as instance:

        def asked_for() -> dg.RunRequest:
            told = inbox_sensor(dg.build_sensor_context(instance=instance), place=killed)
            assert isinstance(told, dg.SensorResult)
            (request,) = told.run_requests or []
            assert isinstance(request, dg.RunRequest)
            return request

        first = asked_for()
        assert first.job_name == "carry_out_withdrawals"
        job = graph.resolve_job_def("carry_out_withdrawals")
        done = job.execute_in_process(instance=instance, tags=dict(first.tags), run_config=first.run_config)
        assert done.success
        assert asked_for().job_name == "take_in"
    depot = Depot(killed.depot)
    assert depot.delivery_ids() == ["brack-001"], "what came is left for another run"
    assert files_with(depot, [LEAVES])[1] == []
    assert [line["what"] for line in ledger_lines(depot.root)][-1] == "withdrawal_carried_out"
    with depot.opened() as books:
        assert books.jobs.open() == []


def test_a_withdrawal_without_anything_to_judge_is_told_as_done(killed: Place) -> None:
    first = withdraw(STUDY, killed.depot, leaving("FS-09", not_yet_delivered=True))
    assert (first.exit_code, first.deliveries, first.files_removed) == (0, (), 0)
    assert "was not finished and is carried out now" in first.text(), "what the kill left"
    waits = withdraw(STUDY, killed.depot, leaving("FS-08", not_yet_delivered=True, grace_days=3))
    assert "Withheld from now on" in waits.text()
