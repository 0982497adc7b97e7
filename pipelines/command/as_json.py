"""How a command prints its answer for scripts, and why there is none."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import Any, NoReturn

import typer

from pipelines.errors import Unusable


def echo_json(answer: Any) -> None:
    """Print one JSON value on one line; what JSON has no form for as text, and a number that is none as null.

    Escaped: a screen may obey or refuse some characters.
    """
    typer.echo(json.dumps(_plain(answer), allow_nan=False))


def end_with(code: int, text: str, problem: Unusable | None = None) -> NoReturn:
    """End the command with ``code`` and tell why on standard error; whoever asked for JSON gets it in parts."""
    typer.echo(text, err=True)
    if "--json" in sys.argv[1:]:
        parts = {part: getattr(problem, part, None) for part in ("file", "place", "seen", "expected", "remedy")}
        echo_json({"error": {"text": text, **parts}, "exit_code": code})
    sys.exit(code)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(name): _plain(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Path) or not isinstance(value, str | int | bool | None):
        return str(value)
    return value
