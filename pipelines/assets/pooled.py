"""What is made from all deliveries together: the warehouse and the pages."""

import dagster as dg

from checks.registry import Subject
from pipelines.assets.checks import specs_about, whole_site_results
from pipelines.assets.place import Place
from pipelines.judging.standings import DELIVERY_TABLES
from pipelines.taking_in.run import build_pages_stage, build_warehouse_stage


@dg.asset(
    deps=[table.name for table in DELIVERY_TABLES],
    group_name="pooled",
    kinds={"duckdb"},
    check_specs=specs_about(Subject.SITE, "warehouse"),
)
def warehouse(place: Place) -> dg.MaterializeResult:
    """The DuckDB file that answers questions: newest accepted version of every trial, all labs, with comments."""
    with place.writing() as desk:
        rows = build_warehouse_stage(desk)
        results = whole_site_results(desk.depot)
    counts = "\n".join(["| table | rows |", "| --- | --- |", *(f"| {name} | {n} |" for name, n in rows.items())])
    return dg.MaterializeResult(
        metadata={"path": dg.MetadataValue.path(desk.depot.warehouse), "rows": dg.MetadataValue.md(counts)},
        check_results=results,
    )


@dg.asset(deps=[warehouse], group_name="pooled", kinds={"html"})
def pages(place: Place) -> dg.MaterializeResult:
    """Overview, a page per site, a fix sheet per returned trial."""
    with place.writing() as desk:
        folder = build_pages_stage(desk)
    return dg.MaterializeResult(metadata={"path": dg.MetadataValue.path(folder)})
