"""The commands about the ledger: read it, prove that it is whole. How it is kept is in ``pipelines.depot.ledger``."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipelines.command.as_json import echo_json
from pipelines.command.listing import Commands
from pipelines.command.options import DEFAULT_DEPOT, AsJson, DepotPath
from pipelines.command.wholeness import HeadFile
from pipelines.errors import Unusable

if TYPE_CHECKING:
    from pipelines.depot.ledger import Entry
    from pipelines.depot.storage import Depot

ledger_app = typer.Typer(cls=Commands, help="Read who did what to which delivery, and prove it.", no_args_is_help=True)


@ledger_app.command("show")
def show_ledger(
    depot: DepotPath = DEFAULT_DEPOT,
    delivery: Annotated[str | None, typer.Option("--delivery", help="Only lines about this delivery.")] = None,
    tombstone: Annotated[
        str | None, typer.Option("--tombstone", help="Only lines about this tombstone of a runner who withdrew.")
    ] = None,
    by: Annotated[str | None, typer.Option("--by", help="Only what this person did.")] = None,
    since: Annotated[
        str | None, typer.Option("--since", help="Only from this day or moment on, ISO 8601, UTC.")
    ] = None,
    until: Annotated[str | None, typer.Option("--until", help="Only up to this day or moment, ISO 8601, UTC.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object per line, with hashes.")] = False,
) -> None:
    """Show lines of the ledger, the oldest first.

    Example: manystrides ledger show --delivery corrie-002 --depot depot
    """
    from pipelines.depot.ledger import Wanted

    if delivery is not None and tombstone is not None:
        raise Unusable("Both --delivery and --tombstone were given.", "one of them.", "Leave one out.")
    about = f"tombstone-{tombstone.removeprefix('tombstone-')}" if tombstone is not None else delivery
    wanted = Wanted(about, by, _moment(since, "--since"), _moment(until, "--until", end=True))
    place = _depot(depot)
    shown = False
    with place.opened() as books:
        for entry in books.ledger.entries(wanted):
            shown = True
            typer.echo(entry.line() if as_json else "\n".join(_told(entry)))
    if not shown:
        which = "The ledger has no line yet." if wanted == Wanted() else "The ledger has no line that is asked for."
        typer.echo(which, err=as_json)  # lines of JSON are read by a program


@ledger_app.command("head")
def head_of_ledger(
    depot: DepotPath = DEFAULT_DEPOT,
    to: Annotated[
        Path | None, typer.Option("--to", help="Write it to this file as well, to be kept elsewhere.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show how far the ledger reaches: number and hash of its last line. Keep it where the depot's owner cannot write.

    Sign the file if you like, with gpg or ssh-keygen -Y; `ledger verify --head` and `verify --head` compare.

    Example: manystrides ledger head --depot depot --to heads/2026-05.txt
    """
    from pipelines.depot.disk import write_bytes
    from pipelines.depot.new_files import refuse_place
    from pipelines.depot.reached import line

    if to is not None:
        refuse_place(to)
    place = _depot(depot)
    with place.opened() as books:
        head, word = books.ledger.head(), books.word()
    now = datetime.now(UTC).isoformat(timespec="seconds")
    text = f"Depot: {word}\nAt: {now}\n{line(head)}\n"
    if as_json:
        echo_json({"depot": word, "utc": now, **asdict(head)})
    else:
        typer.echo(text, nl=False)
    if to is not None:
        write_bytes(to, text.encode())


@ledger_app.command("verify")
def verify_ledger(depot: DepotPath = DEFAULT_DEPOT, head: HeadFile = None, as_json: AsJson = False) -> None:
    """Check that no line of the ledger was changed, removed or inserted. Exit code 1 if one was.

    Compared are the chain of lines, and how far the ledger had reached when the warehouse was last built, when each
    release was frozen, when the last command ended (the register beside the depot), and as --head says. Keep the
    head that is printed somewhere else: nobody can then replace the ledger as a whole.

    Example: manystrides ledger verify --depot depot
    """
    from pipelines.depot.proof import ledger_problems
    from pipelines.depot.reached import line, read_head

    place = _depot(depot)
    with place.opened() as books:
        exported = read_head(head) if head is not None else None
        problems, last = ledger_problems(place, exported), books.ledger.head()
    if as_json:
        echo_json({"problems": problems, **asdict(last)})
        raise typer.Exit(1 if problems else 0)
    for problem in problems:
        typer.echo(f"{place.root}, ledger: {problem}", err=True)
    if not problems:
        typer.echo(f"The ledger of {place.root} is whole: {last.sequence} lines.\n{line(last)}")
    raise typer.Exit(1 if problems else 0)


def _depot(path: str) -> Depot:
    from pipelines.depot.storage import Depot

    depot = Depot(path)
    if not depot.exists:
        raise Unusable("There is no ledger here.", "a depot.", "Name the depot with --depot.", file=depot.root)
    return depot


def _moment(text: str | None, option: str, *, end: bool = False) -> str | None:
    """A day or moment as the ledger writes them; a day counts from its beginning, or to its end."""
    if text is None:
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise Unusable(
            f"{option} says {text!r}.", "a day such as 2026-03-02, or 2026-03-02T14:30.", f"Correct {option}."
        ) from None
    if end and len(text) <= len("2026-03-02"):
        found = datetime.combine(found, time.max)
    found = found.replace(tzinfo=UTC) if found.tzinfo is None else found.astimezone(UTC)
    return found.isoformat(timespec="milliseconds")


def _told(entry: Entry) -> Iterator[str]:
    yield f"{entry.sequence:>6}  {entry.utc[:19].replace('T', ' ')}  {entry.actor}: {entry.what} {entry.about}"
    yield f"        {entry.why}"
    if not isinstance(entry.details, dict):
        yield "        DAMAGED: what else the line told cannot be read; run manystrides ledger verify."
        return
    told = {key: value for key, value in entry.details.items() if key not in ("fingerprint", "result", "settings")}
    if told:
        yield "        " + "; ".join(f"{key}: {_plain(value)}" for key, value in told.items())


def _plain(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{number} {name}" for name, number in value.items())
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
