"""The command that writes the report of the planned answers. What stands on it is in ``pipelines.pages.report``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipelines.command.options import DEFAULT_DEPOT, DepotPath


def report(
    to: Annotated[Path, typer.Option("--to", help="The new .html file.")] = Path("report.html"),
    warehouse: Annotated[
        Path | None,
        typer.Option("--warehouse", help="Of this warehouse.duckdb, for example of a release, and not the depot's."),
    ] = None,
    depot: DepotPath = DEFAULT_DEPOT,
) -> None:
    """Write the planned answers with their figures as one page that needs nothing else, bound to the warehouse.

    Example: manystrides report --to report.html --depot depot
    """
    from pipelines.depot.storage import Depot
    from pipelines.pages.report import write_report

    typer.echo(f"The report is {write_report(warehouse or Depot(depot).warehouse, to)}")
