"""The command that tells the owner of a depot which trials are withheld. How they are found: ``pipelines.deciding``."""

from __future__ import annotations

from dataclasses import asdict

import typer

from pipelines.command.as_json import echo_json
from pipelines.command.options import DEFAULT_DEPOT, AsJson, DepotPath


def withheld(depot: DepotPath = DEFAULT_DEPOT, as_json: AsJson = False) -> None:
    """Show which trial stands behind each number of a withheld one, and why. For the owner of the depot.

    Nothing else names these trials: pass the answer on to their own laboratory only. Example: manystrides withheld
    """
    from pipelines.deciding.withheld import withheld_trials

    found = list(withheld_trials(depot))
    if as_json:
        echo_json([asdict(one) for one in found])
        return
    for one in found:
        typer.echo("\n    ".join((f"{one.name}  {one.trial_id}", *one.why)))
    if not found:
        typer.echo("No trial is withheld.")
