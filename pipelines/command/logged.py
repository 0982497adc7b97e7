"""Commands that are logged: ``@logged`` gives a command the option --verbose and keeps its lines in the depot's log."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from typing import Annotated, Any

import typer

from pipelines import logs

Verbose = Annotated[bool, typer.Option("--verbose", help="Tell each step on standard error; nobody is named.")]


def logged(command: Callable[..., None]) -> Callable[..., None]:
    """The command with --verbose. One that has no parameter ``depot`` keeps no file."""
    own = inspect.signature(command, eval_str=True)
    more = inspect.Parameter("verbose", inspect.Parameter.KEYWORD_ONLY, default=False, annotation=Verbose)

    @functools.wraps(command)
    def answer(*given: Any, verbose: bool = False, **named: Any) -> None:
        from pipelines.depot.storage import Depot

        asked = own.bind(*given, **named).arguments
        depot = Depot(asked["depot"]).root if "depot" in asked else None
        with logs.kept(command.__name__, depot, verbose):
            command(*given, **named)

    answer.__signature__ = own.replace(parameters=[*own.parameters.values(), more])  # type: ignore[attr-defined]
    answer.__annotations__ = {**command.__annotations__, "verbose": Verbose}
    return answer
