"""Options that several commands share, with their defaults."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

_DEPOT = typer.Option("--depot", help="Folder that holds everything.")
_STUDY = typer.Option("--study", help="Study file.")
_INBOX = typer.Option("--inbox", help="Folder with one folder per laboratory.")
StudyPath = Annotated[Path, _STUDY]
InboxPath = Annotated[Path, _INBOX]
DepotPath = Annotated[str, _DEPOT]
DEFAULT_STUDY = Path("demo_site_uploads/study.yaml")
DEFAULT_INBOX = Path("demo_site_uploads/inbox")
DEFAULT_DEPOT = "depot"
AsJson = Annotated[bool, typer.Option("--json", help="Print the answer for scripts, as JSON.")]
Person = Annotated[str, typer.Option("--as", help="Name of the person who decides it, for the ledger.")]
Actor = Annotated[str | None, typer.Option("--as", help="Who does this, for the ledger; your user name if left out.")]
