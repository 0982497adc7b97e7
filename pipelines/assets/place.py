"""Where study file, inbox and depot are, and the bench that a run works at, as Dagster resources."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import dagster as dg

from pipelines.assets.run import at_work
from pipelines.depot.desk import Desk
from pipelines.depot.ledger import whoami
from pipelines.depot.storage import Depot
from pipelines.study.file import load_study
from pipelines.taking_in.batch import Bench
from pipelines.taking_in.due import refuse_missing
from pipelines.taking_in.opening import open_desk
from pipelines.taking_in.still_arriving import settle_seconds

#: One partition per delivery; its key is ``site/name`` in the inbox.
DELIVERY_PARTITIONS = dg.DynamicPartitionsDefinition(name="delivery")
_WAIT_S = 3600.0  # runs take turns at the depot


class Place(dg.ConfigurableResource):
    """Paths of study file, inbox and depot."""

    study: str
    inbox: str
    depot: str

    @property
    def inbox_path(self) -> Path:
        """The inbox."""
        return Path(self.inbox)

    @contextmanager
    def reading(self) -> Iterator[Desk]:
        """A desk to ask at; nothing may be written."""
        with open_desk(Depot(self.depot), load_study(self.study), "dagster") as desk:
            yield desk

    @contextmanager
    def writing(self) -> Iterator[Bench]:
        """The bench, while this run is the depot's only writer."""
        refuse_missing(self.inbox_path)
        place, actor = (Path(self.study), self.depot), f"{whoami()} (dagster)"
        with at_work(
            *place, actor, self.inbox_path, wait_s=_WAIT_S, by_dagster=True, settle_s=settle_seconds()
        ) as bench:
            yield bench


@dg.resource(required_resource_keys={"place"}, description="The depot, held by one run from its beginning to its end.")
def opened_bench(context: dg.InitResourceContext) -> Iterator[Bench]:
    """Made once per run, so that recovery comes first whatever the run is asked to do."""
    with context.resources.place.writing() as bench:
        yield bench
