"""The commands about texts that wait for a look. What a decision does is in ``pipelines.deciding.texts``."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from pipelines.command.as_json import echo_json
from pipelines.command.listing import Commands
from pipelines.command.options import DEFAULT_DEPOT, AsJson, DepotPath, Person

texts_app = typer.Typer(
    cls=Commands, help="Look at texts that are held, and say yes or no to each.", no_args_is_help=True
)

_Words = Annotated[list[str], typer.Argument(help="The words that stand before the texts in texts list.")]
_Why = Annotated[str, typer.Option("--why", help="Why, for the ledger; do not repeat the text.")]


@texts_app.command("list")
def list_texts(
    depot: DepotPath = DEFAULT_DEPOT,
    refused: Annotated[bool, typer.Option("--refused", help="Show those that were refused, too.")] = False,
    as_json: AsJson = False,
) -> None:
    """Show texts that wait for a look, each with the word to name it by and where it stands.

    Example: manystrides texts list --depot depot
    """
    from pipelines.deciding.texts import texts_of

    found = texts_of(depot, refused=refused)
    if as_json:
        echo_json([asdict(one) for one in found])
        return
    for one in found:
        typer.echo("\n".join(one.lines()))
    if not found:
        typer.echo("No text waits for a look.")


@texts_app.command("allow")
def allow(words: _Words, by: Person, why: _Why = "It tells of nobody.", depot: DepotPath = DEFAULT_DEPOT) -> None:
    """Let texts in, wherever they stand, now and later: they tell of nobody. They come in with the next run.

    Example: manystrides texts allow ef43075f --as Ann --depot depot
    """
    _decide(depot, words, by, why, allowed=True)


@texts_app.command("refuse")
def refuse(words: _Words, by: Person, why: _Why = "It may tell of somebody.", depot: DepotPath = DEFAULT_DEPOT) -> None:
    """Keep texts out for good; everything else of their trials stays as it is. Can be allowed later.

    Example: manystrides texts refuse ef43075f --as Ann --depot depot
    """
    _decide(depot, words, by, why, allowed=False)


def _decide(depot: str, words: list[str], by: str, why: str, *, allowed: bool) -> None:
    from pipelines.deciding.texts import decide, now

    chosen = decide(depot, words, now(why, by), allowed=allowed)
    what = "allowed" if allowed else "refused"
    typer.echo(f"{len(chosen)} {'text' if len(chosen) == 1 else 'texts'} {what}; it counts from the next run.")
