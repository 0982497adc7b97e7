"""The commands that prove, copy and put back a whole depot. How: ``pipelines.depot.verify`` and ``backup``."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipelines.command.as_json import echo_json
from pipelines.command.options import (
    DEFAULT_DEPOT,
    DEFAULT_INBOX,
    DEFAULT_STUDY,
    Actor,
    AsJson,
    DepotPath,
    InboxPath,
    StudyPath,
)

if TYPE_CHECKING:
    from pipelines.depot.verify import Fault

HeadFile = Annotated[
    Path | None, typer.Option("--head", help="File with a head of the ledger, as `ledger head --to` wrote it.")
]


def verify(
    depot: DepotPath = DEFAULT_DEPOT,
    head: HeadFile = None,
    repair: Annotated[
        bool, typer.Option("--repair", help="Correct what has a source: inbox, backup, raw files.")
    ] = False,
    source: Annotated[
        Path | None, typer.Option("--from", help="With --repair: a backup made by `manystrides backup`.")
    ] = None,
    study: StudyPath = DEFAULT_STUDY,
    inbox: InboxPath = DEFAULT_INBOX,
    actor: Actor = None,
    as_json: AsJson = False,
) -> None:
    """Hash everything the depot holds and compare it with books, ledger and register. Exit code 1 for faults.

    Example: manystrides verify --depot depot --repair --from backups/depot-2026-05-03T10-00-00
    """
    from pipelines.depot.ledger import whoami
    from pipelines.depot.reached import read_head
    from pipelines.depot.storage import Depot
    from pipelines.depot.verify import verify as look

    place = Depot(depot)
    by, exported = actor or whoami(), read_head(head) if head is not None else None
    if not repair:
        with place.still(by):
            found = look(place, exported)
        if as_json:
            echo_json({"faults": _plain(found)})
            raise typer.Exit(1 if found else 0)
        _tell(found)
        if not found:
            typer.echo(f"The depot {place.root} is whole: every file has the checksum that the books tell.")
        raise typer.Exit(1 if found else 0)
    from pipelines.assets.repairing import repair as mend
    from pipelines.taking_in.repairing import Sources

    done = mend(study, place, by, Sources(inbox if inbox.is_dir() else None, source), exported)
    if as_json:
        echo_json({"faults": _plain(done.found), "mended": done.mended, "left": _plain(done.left)})
        raise typer.Exit(1 if done.left else 0)
    _tell(done.found)
    for line in done.mended:
        typer.echo(f"Corrected: {line}")
    if done.left:
        typer.echo(f"Left, without a source: {len(done.left)}", err=True)
        _tell(done.left)
    else:
        typer.echo(f"The depot {place.root} is whole.")
    raise typer.Exit(1 if done.left else 0)


def backup(
    target: Annotated[
        Path, typer.Argument(help="Folder of backups, better on another disk; a new folder is made in it.")
    ],
    depot: DepotPath = DEFAULT_DEPOT,
    actor: Actor = None,
) -> None:
    """Copy a depot as it is at one moment, whether or not a run goes on. Warehouse and pages are made again from it.

    Example: manystrides backup backups --depot depot
    """
    from pipelines.depot.backup import back_up
    from pipelines.depot.ledger import whoami
    from pipelines.depot.storage import Depot

    typer.echo(back_up(Depot(depot), target, actor or whoami()).text())


def restore(
    source: Annotated[Path, typer.Argument(help="One backup, as `manystrides backup` made it.")],
    depot: DepotPath = DEFAULT_DEPOT,
    actor: Actor = None,
    yes: Annotated[
        bool,
        typer.Option("--yes", help="Fall back on the register of the backup if the depot's own is lost."),
    ] = False,
) -> None:
    """Make a depot from a backup. Withdrawals since then, which the register beside the depot lists, are kept.

    Without that register withdrawals since then are not known; nothing is then put back without --yes.

    Example: manystrides restore backups/depot-2026-05-03T10-00-00 --depot restored
    """
    from pipelines.depot.backup import restore as put_back
    from pipelines.depot.ledger import whoami
    from pipelines.depot.storage import Depot

    typer.echo(put_back(source, Depot(depot), actor or whoami(), fall_back=yes).text())


def _plain(faults: list[Fault]) -> list[dict[str, object]]:
    return [asdict(fault) for fault in faults]


def _tell(faults: list[Fault]) -> None:
    for fault in faults:
        typer.echo(fault.line(), err=True)
