"""How a command prints its answer for scripts."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import typer


def echo_json(answer: Any) -> None:
    """Print one JSON value on one line; what JSON has no form for as text, and a number that is none as null.

    Escaped: a screen may obey or refuse some characters.
    """
    typer.echo(json.dumps(_plain(answer), allow_nan=False))


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
