"""Where study file, inbox and depot are, as a Dagster resource; and the desk that assets work at."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import dagster as dg

from pipelines.depot.arrivals import Arrival, find_arrivals
from pipelines.depot.desk import Desk
from pipelines.depot.ledger import whoami
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.identity.word_list import names_beside
from pipelines.study.file import load_study
from pipelines.taking_in.run import open_desk

#: One partition per delivery; its key is ``site/name`` in the inbox.
DELIVERY_PARTITIONS = dg.DynamicPartitionsDefinition(name="delivery")
_WAIT_S = 3600.0  # steps of several runs take turns at the depot


class Place(dg.ConfigurableResource):
    """Paths of study file, inbox and depot."""

    study: str
    inbox: str
    depot: str

    @contextmanager
    def writing(self) -> Iterator[Desk]:
        """The desk, while this step is the depot's only writer."""
        actor = f"{whoami()} (dagster)"
        depot = Depot(self.depot)
        with depot.writing(actor, _WAIT_S), open_desk(depot, load_study(self.study), actor) as desk:
            yield desk

    def arrivals(self) -> dict[str, Arrival]:
        """What lies in the inbox, by partition key."""
        found, _ = find_arrivals(Path(self.inbox), names_beside(Path(self.study)))
        return {arrival.key: arrival for arrival in found}

    def arrival(self, key: str) -> Arrival:
        """The arrival of a partition. Raises Unusable if it is not in the inbox any more."""
        if key not in (found := self.arrivals()):
            raise Unusable(
                f"There is no {key} in the inbox.",
                "a bag folder or a .zip of that name.",
                "Put it back, or delete the partition.",
                file=self.inbox,
            )
        return found[key]
