"""The command that begins a study. What it writes is in ``pipelines.beginning``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def init(
    folder: Annotated[Path, typer.Argument(help="The folder to make; a new one.")],
    title: Annotated[str | None, typer.Option("--title", help="Title of the study.")] = None,
    condition: Annotated[
        list[str] | None,
        typer.Option(
            "--condition", help="Footwear condition, as NAME or NAME=description; once for each, the reference first."
        ),
    ] = None,
    visit: Annotated[
        list[str] | None, typer.Option("--visit", help="Visit and its week, as NAME=WEEK; once for each.")
    ] = None,
    site: Annotated[
        list[str] | None, typer.Option("--site", help="Site, as NAME or NAME=description; once for each.")
    ] = None,
    prefix: Annotated[str | None, typer.Option("--prefix", help="What all codes of runners begin with.")] = None,
    muscle: Annotated[
        list[str] | None, typer.Option("--muscle", help="Muscle by its SENIAM name; once for each.")
    ] = None,
    changes_to: Annotated[
        list[str] | None,
        typer.Option("--changes-to", help="Condition that runners change over to; once for each."),
    ] = None,
    consent_form: Annotated[
        list[str] | None, typer.Option("--consent-form", help="Version of the consent form; once for each.")
    ] = None,
    runners: Annotated[
        int | None,
        typer.Option("--runners", min=1, help="Runners planned at each site, for every visit and condition."),
    ] = None,
    no_force: Annotated[bool, typer.Option("--no-force", help="No site has force plates.")] = False,
) -> None:
    """Begin a study: study file, a profile to fill in for each site, a plan. What is not given is asked at a terminal.

    Example: manystrides init my_study --title "Our study" --condition cushioned --condition thin_soled --visit week_0=0
    --site brack --prefix OS
    """
    import sys

    from pipelines.beginning.make import begin
    from pipelines.beginning.wanted import Given, completed

    given = Given(
        title,
        condition or (),
        visit or (),
        site or (),
        prefix,
        muscle or (),
        changes_to or (),
        consent_form or (),
        force=not no_force,
        planned=runners,
    )
    typer.echo(begin(folder, completed(given, typer.prompt if sys.stdin.isatty() else None)).text())
