"""The tables of one delivery as assets, one partition per delivery, with the checks as asset checks.

One step makes them all, because a delivery is in the depot whole or not at all. Asset names are table names. What is
done is in ``pipelines.taking_in.run`` and ``pipelines.taking_in.stages``; here it is only called and shown.
"""

from collections.abc import Iterator

import dagster as dg
import pandas as pd

from pipelines.assets.checks import check_results, check_specs
from pipelines.assets.place import DELIVERY_PARTITIONS, Place
from pipelines.depot.books.rows import Record
from pipelines.depot.storage import Depot, read_table
from pipelines.judging.standings import DELIVERY_TABLES
from pipelines.taking_in.run import work_on
from schemas.convert.to_dagster import dagster_schema
from schemas.convert.words import table_comment
from schemas.model import Table

_PREVIEW_ROWS = 5


def _spec(table: Table) -> dg.AssetSpec:
    return dg.AssetSpec(
        table.name,
        description=table_comment(table),
        group_name=str(table.layer),
        partitions_def=DELIVERY_PARTITIONS,
        metadata={"dagster/column_schema": dagster_schema(table)},
        kinds={"parquet"},
    )


@dg.multi_asset(name="take_in_delivery", specs=[_spec(table) for table in DELIVERY_TABLES], check_specs=check_specs())
def delivery_tables(context: dg.AssetExecutionContext, place: Place) -> Iterator[dg.MaterializeResult]:
    """Receive, check, gate, store, judge and publish one delivery."""
    with place.writing() as desk:
        arrival = place.arrival(context.partition_key)
        record = work_on(desk, arrival, lambda done, of: None)
        context.log.info(f"{arrival.key} is {record.delivery_id}: {record.status}")
        results = check_results(desk.depot, record)
    for table in DELIVERY_TABLES:
        own = [result for result in results if result.asset_key == dg.AssetKey(table.name)]
        yield dg.MaterializeResult(
            asset_key=table.name, metadata=_metadata(desk.depot, record, table), check_results=own
        )


def _metadata(depot: Depot, record: Record, table: Table) -> dict[str, dg.MetadataValue]:
    path = depot.table_path(record.delivery_id, table)
    rows = read_table(path)
    return {
        "dagster/row_count": dg.MetadataValue.int(len(rows)),
        "delivery": dg.MetadataValue.text(f"{record.delivery_id}: {record.status}"),
        "path": dg.MetadataValue.path(path),
        "preview": dg.MetadataValue.md(_markdown(rows.head(_PREVIEW_ROWS))),
    }


def _markdown(rows: pd.DataFrame) -> str:
    """A few rows as a Markdown table; what a lab wrote cannot break out of its cell."""
    lines = [list(rows.columns), ["---"] * len(rows.columns), *rows.astype(object).to_numpy().tolist()]
    return "\n".join("| " + " | ".join(_cell(cell) for cell in line) + " |" for line in lines)


def _cell(value: object) -> str:
    plain = "" if value is None or value != value else " ".join(str(value).split())[:80]
    return plain.replace("|", "\\|").replace("<", "&lt;").replace("[", "\\[")
