"""Whether ``datapackage.json`` describes the payload it lies in (Frictionless Data Package). Reads nothing else."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pipelines.intake.paths import path_fault
from schemas.catalogue import tables_of
from schemas.model import Layer, Table
from schemas.received import Problem
from schemas.said import said

NAME = "datapackage.json"
MOST_BYTES = 4 << 20


def write_descriptor(payload_dir: Path, name: str, title: str) -> Path:
    """Write ``datapackage.json`` for the delivery tables that lie in ``payload_dir``; returns its path."""
    from schemas.convert.to_frictionless import data_package

    present = [t for t in tables_of(Layer.DELIVERY) if (payload_dir / str(t.file_name)).is_file()]
    path = payload_dir / NAME
    left_out = {t.name: _left_out(t, payload_dir / str(t.file_name)) for t in present}
    text = json.dumps(data_package(present, name, title, left_out), indent=2, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")
    return path


def _left_out(table: Table, path: Path) -> set[str]:
    """Columns that the table's file need not have and does not have."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as lines:
        header = {cell.strip() for cell in next(csv.reader(lines), [])}
    return {field.name for field in table.fields if field.may_be_left_out and field.name not in header}


def descriptor_problems(payload_dir: Path) -> Iterator[Problem]:
    """Problems of kind "descriptor": missing, not readable, a table not listed, a listed file not there."""
    path = payload_dir / NAME
    if path.is_symlink() or not path.is_file():
        yield _problem(f"{NAME} is missing", "a Frictionless Data Package descriptor beside the tables")
        return
    descriptor = _read(path)
    resources = descriptor.get("resources") if isinstance(descriptor, dict) else None
    if not isinstance(resources, list) or not all(isinstance(r, dict) for r in resources):
        yield _problem(f"{NAME} is not a Data Package descriptor", "a JSON object with a list of resources")
        return
    listed: set[str] = set()
    for number, resource in enumerate(resources, start=1):
        named = resource.get("path")
        paths = [named] if isinstance(named, str) else named if isinstance(named, list) else []
        if not paths or not all(isinstance(p, str) for p in paths):
            yield _problem(f"resource {number} has no path", "the path of its file in the payload")
            continue
        listed.update(paths)
        for one in paths:
            if path_fault(one) or not (payload_dir / one).is_file():
                yield _problem(f"resource {number} lists {said(one)}, which is not there", "files of the payload")
    for table in tables_of(Layer.DELIVERY):
        if (payload_dir / str(table.file_name)).is_file() and table.file_name not in listed:
            yield _problem(f"{table.file_name} is not listed as a resource", "every table listed")


def _read(path: Path) -> Any:
    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
        return json.loads(data.decode("utf-8-sig")) if len(data) <= MOST_BYTES else None
    except (OSError, ValueError, RecursionError):
        return None


def _problem(seen: str, expected: str) -> Problem:
    return Problem("descriptor", seen, expected, NAME)
