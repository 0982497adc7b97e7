"""What was measured is kept, cell by cell, so that a run that was ended goes on where it was.

A cell is measured anew once anything changes that can change its numbers: the sources of its measuring, of the studies
and of the statistics they use (comments and docstrings apart), its own description, or how many studies are asked for.
"""

from __future__ import annotations

import ast
import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path

from benchmarks.coverage.rates import Measured
from pipelines.source_form import plain_forms

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / ".measured" / "coverage"
#: Of the definitions only the settings of methods; what the others say of columns changes no number.
_LOOKED_AT = ("benchmarks.coverage.", "pipelines.science.", "schemas.processing", "schemas.plan", "schemas.compared")


def kept(cell: object, count: int, sources: str, measure: Callable[[], dict[str, Measured]]) -> dict[str, Measured]:
    """What ``measure`` finds of a cell, or found before. sources: ``sources_digest`` of its code, as it was loaded."""
    made_of = hashlib.sha256(f"{sources} {cell!r} {count}".encode()).hexdigest()[:24]
    place = FOLDER / f"{made_of}.json"
    if place.exists():
        told = json.loads(place.read_text(encoding="utf-8"))
        return {name: Measured(**own) for name, own in told.items()}
    found = measure()
    FOLDER.mkdir(parents=True, exist_ok=True)
    beside = place.with_suffix(".new")
    beside.write_text(json.dumps({name: asdict(own) for name, own in found.items()}), encoding="utf-8")
    beside.replace(place)
    return found


def sources_digest(module: str) -> str:
    """Hex digits over what a module and all it imports do, as far as that is looked at."""
    digest, seen, todo = hashlib.sha256(), set[str](), [module]
    while todo:
        if (name := todo.pop()) in seen or not name.startswith(_LOOKED_AT):
            continue
        seen.add(name)
        todo += _imported(_source(name))
    for name in sorted(seen):
        digest.update(f"{name}\0{plain_forms(_source(name))[0]}\n".encode())
    return digest.hexdigest()


def _source(module: str) -> str:
    place = ROOT / module.replace(".", "/")
    file = place / "__init__.py" if place.is_dir() else place.with_suffix(".py")
    return file.read_text(encoding="utf-8")


def _imported(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
