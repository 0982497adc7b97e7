"""The command that makes a parcel for a laboratory. What is in it: ``pipelines.pages.parcel``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipelines.command.options import DEFAULT_DEPOT, DEFAULT_STUDY, DepotPath, StudyPath


def send(
    site: Annotated[str, typer.Argument(help="The site, as the study file names it.")],
    to: Annotated[Path, typer.Option("--to", help="The zip to write; a new file.")],
    study: StudyPath = DEFAULT_STUDY,
    depot: DepotPath = DEFAULT_DEPOT,
) -> None:
    """Write one zip for a site: its page, fix sheets, returns as CSV and a letter. Nothing is sent anywhere.

    Nothing of another site is in it. Example: manystrides send brack --to brack-returns.zip --depot depot
    """
    from pipelines.depot.storage import Depot
    from pipelines.pages.parcel import write_parcel
    from pipelines.study.file import load_study

    written = write_parcel(Depot(depot).warehouse, load_study(study), site, to)
    typer.echo(f"{written}: made from the newest warehouse. Look at it, then send it yourself; letter.txt is the mail.")
