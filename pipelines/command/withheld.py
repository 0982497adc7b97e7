"""The command that tells the owner of a depot which trials are withheld. How they are found: ``pipelines.deciding``."""

from __future__ import annotations

import typer

from pipelines.command.options import DEFAULT_DEPOT, DepotPath


def withheld(depot: DepotPath = DEFAULT_DEPOT) -> None:
    """Show which trial stands behind each number of a withheld one, and why. For the owner of the depot.

    Nothing else names these trials: pass the answer on to their own laboratory only. Example: manystrides withheld
    """
    from pipelines.deciding.withheld import withheld_trials

    any_line = False
    for line in withheld_trials(depot):
        any_line = True
        typer.echo(line)
    if not any_line:
        typer.echo("No trial is withheld.")
