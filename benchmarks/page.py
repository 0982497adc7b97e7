"""The page docs/reference/speed.md, from the results kept beside it and from nothing else."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path

from benchmarks.measured import Part, Row

REFERENCE = Path(__file__).resolve().parents[1] / "docs" / "reference"
PAGE, RESULTS = REFERENCE / "speed.md", REFERENCE / "speed.json"


def kept(path: Path = RESULTS) -> dict[str, Part]:
    """The parts as they were last written, by name; none if nothing was."""
    if not path.exists():
        return {}
    return {name: _part(one) for name, one in json.loads(path.read_text(encoding="utf-8")).items()}


def write(parts: Mapping[str, Part], page_path: Path = PAGE, results: Path = RESULTS) -> None:
    """Keep the parts and write the page from them."""
    plain = {name: asdict(part) for name, part in parts.items()}
    results.write_text(json.dumps(plain, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")
    page_path.write_text(page(parts), encoding="utf-8", newline="\n")


def page(parts: Mapping[str, Part]) -> str:
    """The whole page."""
    lines = [
        "# What it costs",
        "",
        "Measured by `make benchmark`. Two things that are compared are run in turn in the same process, and the ratio",
        "is the median over many rounds, so that it says more than the times do; times are those of one machine, which",
        "is named. Where an aim is missed it says so.",
    ]
    for part in parts.values():
        lines += ["", f"## {part.title}", "", "| What | Found | Aim |", "|---|---|---|"]
        lines += [f"| {row.what} | {_number(row.found)} {row.unit} | {_aim(row)} |" for row in part.rows]
        lines += ["", *(f"- {note}" for note in part.notes), f"- Measured on: {', '.join(part.machine)}."]
    made = "<!-- Made by `python -m benchmarks --write`; changes by hand are lost. -->"
    return "\n".join([*lines, "", made]) + "\n"


def told(part: Part) -> list[str]:
    """A part as lines for a terminal."""
    width = max((len(row.what) for row in part.rows), default=0)
    rows = [f"  {row.what:{width}} {_number(row.found):>8} {row.unit:6} {_aim(row)}".rstrip() for row in part.rows]
    return [part.title, *rows, *(f"  - {note}" for note in part.notes)]


def _aim(row: Row) -> str:
    if row.aim is None:
        return ""
    bound = "at least" if row.at_least else "at most"
    return f"{bound} {row.aim:g}: {'reached' if row.is_reached else '**missed**'}"


def _number(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def _part(one: Mapping[str, object]) -> Part:
    rows = one["rows"]
    assert isinstance(rows, list)
    words = {name: tuple(one[name]) for name in ("notes", "machine")}  # type: ignore[arg-type]
    return Part(str(one["title"]), rows=tuple(Row(**row) for row in rows), **words)
