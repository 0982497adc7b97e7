"""The command that makes a kit for a laboratory. What is in it: ``pipelines.lab.kit``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipelines.command.options import DEFAULT_STUDY, StudyPath


def kit(
    site: Annotated[str, typer.Argument(help="The site, as the study file names it.")],
    to: Annotated[Path, typer.Option("--to", help="The zip to write; a new file.")],
    study: StudyPath = DEFAULT_STUDY,
    wheel: Annotated[
        Path | None, typer.Option("--wheel", help="Enclose this wheel of manystrides, as make wheel makes it.")
    ] = None,
) -> None:
    """Write one zip with all a site needs: settings, tables to fill in, how to install, check, pack and send.

    Example: manystrides kit brack --to kit-brack.zip --study demo_site_uploads/study.yaml
    """
    from pipelines.lab.kit.kit import write_kit

    made = write_kit(study, site, to, wheel)
    typer.echo(f"{made.path}: kit {made.version} of {site}, {len(made.files)} files. It begins with START_HERE.txt.")
    if made.lacks:
        typer.echo(f"NOT FINISHED: {made.lacks}")
    if wheel is None:
        typer.echo("It holds no program: enclose one with --wheel (make wheel), or tell the site where to get it.")
