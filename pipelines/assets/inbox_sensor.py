"""The job that takes in one delivery, and the sensor that starts it for what is new in the inbox."""

import dagster as dg

from pipelines.assets.place import DELIVERY_PARTITIONS, Place
from pipelines.depot.desk import Desk
from pipelines.depot.storage import Depot
from pipelines.study.file import load_study
from pipelines.taking_in.run import is_due, open_desk, stale

take_in_job = dg.define_asset_job(
    "take_in",
    selection=dg.AssetSelection.all(),
    description="Takes in one delivery, then builds warehouse and pages.",
)


@dg.sensor(job=take_in_job, minimum_interval_seconds=30)
def inbox_sensor(context: dg.SensorEvaluationContext, place: Place) -> dg.SensorResult | dg.SkipReason:
    """Ask for a run for each delivery that is new, has changed, or was judged by older code or study."""
    arrivals = place.arrivals()
    with open_desk(Depot(place.depot), load_study(place.study)) as desk:
        due = _due(desk, place)
        versions = f"{desk.stamp.code_version} {desk.stamp.study_version}"
    if not due:
        return dg.SkipReason("Nothing new in the inbox.")
    there = set(context.instance.get_dynamic_partitions(str(DELIVERY_PARTITIONS.name)))
    new = [key for key in due if key not in there]
    return dg.SensorResult(
        run_requests=[
            dg.RunRequest(run_key=f"{key} {arrivals[key].signature()} {versions}", partition_key=key) for key in due
        ],
        dynamic_partitions_requests=[DELIVERY_PARTITIONS.build_add_request(new)] if new else [],
    )


def _due(desk: Desk, place: Place) -> list[str]:
    """Partition keys of arrivals that are due, in order."""
    older = {r.delivery_id for r in stale(desk)}
    found = []
    for arrival in place.arrivals().values():
        before = desk.books.arrivals.known(arrival.site, arrival.name)
        if is_due(desk, arrival) or (before and before.delivery_id in older):
            found.append(arrival.key)
    return found
