"""The command that plans the next study. What it rests on is in ``pipelines.pool.planning``."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated

import typer

from pipelines.command.as_json import echo_json
from pipelines.command.options import DEFAULT_DEPOT, AsJson, DepotPath
from pipelines.errors import Unusable

_SITES = (2, 3, 4, 5, 6, 8, 10, 12)


def power(
    outcome: Annotated[str, typer.Argument(help="Name of the outcome, as in pooled_contrasts.")],
    effect: Annotated[float, typer.Option("--effect", help="Smallest true difference to be found, in its unit.")],
    condition: Annotated[str, typer.Option("--condition", help="Condition that is asked about.")],
    visit: Annotated[str, typer.Option("--visit", help="Visit that is asked about.")],
    against: Annotated[
        str | None, typer.Option("--against", help="Condition it is compared with; not for contrast visit.")
    ] = None,
    contrast: Annotated[str, typer.Option("--contrast", help="condition, visit or interaction.")] = "condition",
    aim: Annotated[float, typer.Option("--aim", help="Power to reach.")] = 0.8,
    between_site_sd: Annotated[
        float | None,
        typer.Option("--between-site-sd", min=0, help="What sites differ by, instead of what the pool tells."),
    ] = None,
    to: Annotated[Path | None, typer.Option("--to", help="Draw the curves into this .svg file as well.")] = None,
    depot: DepotPath = DEFAULT_DEPOT,
    as_json: AsJson = False,
) -> None:
    """Say how many sites and runners the next study needs, from what sites and runners of this pool differ by.

    Example: manystrides power contact_time_s --effect 0.005 --condition thin_soled --against cushioned --visit week_0
    """
    from pipelines.depot.storage import Depot
    from pipelines.pool.planning import components_of

    _refuse(effect, aim, contrast, against, to)
    if between_site_sd is not None and not math.isfinite(between_site_sd):
        raise Unusable(
            f"--between-site-sd is {between_site_sd:g}.",
            "a standard deviation, 0 or more, for example 0.004.",
            "Correct it.",
        )
    reference = condition if contrast == "visit" else str(against)
    asked = {"outcome": outcome, "contrast": contrast, "visit": visit, "condition": condition}
    place = Depot(depot)
    known = components_of(place.warehouse, asked | {"reference_condition": reference}, between_site_sd)
    if as_json:
        echo_json(known.plain(effect, aim, _SITES))
    else:
        typer.echo(known.text(effect, aim, _SITES))
    if to is not None:
        from pipelines.depot.disk import write_bytes
        from pipelines.depot.new_files import refuse_place
        from pipelines.pages.charts.power import power_chart

        drawn = power_chart(outcome, effect, known.components, _SITES, aim, most=40)
        write_bytes(refuse_place(to), str(drawn).encode())
        typer.echo(f"\nThe curves are drawn in {to}.", err=as_json)


def _refuse(effect: float, aim: float, contrast: str, against: str | None, to: Path | None) -> None:
    if contrast not in ("condition", "visit", "interaction"):
        raise Unusable(f"--contrast says {contrast!r}.", "condition, visit or interaction.", "Correct it.")
    if effect == 0:
        raise Unusable("--effect is 0.", "a difference that matters.", "No study can find a difference of nothing.")
    if not math.isfinite(effect):
        raise Unusable(f"--effect is {effect:g}.", "a difference in the outcome's unit.", "Correct it.")
    if not 0.05 < aim < 1:
        raise Unusable(f"--aim is {aim:g}.", "a power between 0.05 and 1, for example 0.8.", "Correct it.")
    if against is None and contrast != "visit":
        raise Unusable("There is no --against.", "the condition it is compared with.", "Name it.")
    if to is not None and to.suffix != ".svg":
        raise Unusable(f"--to names {to.name}.", "a file that ends in .svg.", "Name another file.")
