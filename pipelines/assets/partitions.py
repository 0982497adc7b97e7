"""Deliveries that Dagster was not told of, since another command took them in, become partitions like all others."""

import dagster as dg

from pipelines.assets.checks import way_of
from pipelines.assets.place import DELIVERY_PARTITIONS
from pipelines.depot.books.rows import REPEAT
from pipelines.depot.desk import Desk
from pipelines.taking_in.batch import Worked

_WHY = "Taken in by a command that Dagster did not carry out."


def known_partitions(instance: dg.DagsterInstance) -> set[str]:
    """``site/name`` of every delivery that Dagster knows."""
    return set(instance.get_dynamic_partitions(str(DELIVERY_PARTITIONS.name)))


def make_known(instance: dg.DagsterInstance, desk: Desk) -> list[str]:
    """A partition for each delivery of the books that has none, which shows how far it came; those that are new."""
    there = known_partitions(instance)
    new = {r.arrival: r for r in desk.books.deliveries.all() if r.status != REPEAT and r.arrival not in there}
    if new:
        instance.add_dynamic_partitions(str(DELIVERY_PARTITIONS.name), list(new))
    for arrival, record in new.items():
        for event in way_of(desk, Worked(arrival, _WHY, record)):
            instance.report_runless_asset_event(event)
    return list(new)
