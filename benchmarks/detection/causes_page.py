"""The page docs/reference/named_causes.md, from the counts kept beside it and from nothing else."""

from __future__ import annotations

import json
from typing import Any

from benchmarks.detection.measure import interval
from benchmarks.detection.page import REFERENCE

PAGE, RESULTS = REFERENCE / "named_causes.md", REFERENCE / "named_causes.json"
_MADE = "<!-- Made by `python -m benchmarks.detection.causes --full --write`; changes by hand are lost. -->"


def kept() -> dict[str, Any]:
    """The counts as they were last written."""
    return dict(json.loads(RESULTS.read_text(encoding="utf-8")))


def write(result: dict[str, Any]) -> None:
    """Keep the counts and write the page from them."""
    RESULTS.write_text(json.dumps(result, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")
    PAGE.write_text(page(result), encoding="utf-8", newline="\n")


def page(result: dict[str, Any]) -> str:
    """The whole page."""
    lines = [*_intro(result), *_missed(result["plants"]), *_wholes(result["whole"]), *_plants(result["plants"])]
    return "\n".join([*lines, "", _MADE]) + "\n"


def _sum(rows: list[dict[str, Any]], what: str) -> int:
    return sum(int(row[what]) for row in rows)


def _intro(result: dict[str, Any]) -> list[str]:
    plants, wholes = result["plants"], result["whole"]
    found, named, strictly, alone = (_sum(plants, what) for what in ("found", "named", "strictly", "alone"))
    low, high = interval(named, found)
    return [
        "# How often the named cause is the true one",
        "",
        "One judgement per trial names the likeliest cause of its findings and folds what follows from it",
        "([what follows from what](causes.md)). Measured like the checks themselves: one fault is planted alone, in",
        "the size that matters, the trial goes the way of a delivery through every check, and what is named first is",
        "compared with what was planted. Trials in which the fault's own check found nothing are not counted here;",
        "they are in [how well the checks see](detection.md). These are rates of simulated trials.",
        "",
        f"- **Single faults of {len(plants)} kinds**: the planted one is named first in {named} of {found} trials",
        f"  ({100 * named / found:.1f} %, 95 % interval {100 * low:.1f} to {100 * high:.1f}; the aim is 95 %), and",
        f"  nothing else is to be mended in {alone}. Without faults that two checks name equally well: {strictly}.",
        f"- **Findings of one such fault**: {_sum(plants, 'findings') / found:.2f} on average, of which",
        f"  {_sum(plants, 'causes') / found:.2f} are shown as something to mend.",
        f"- **Faults of a whole recording**: named in {_sum(wholes, 'named')} of {_sum(wholes, 'found')} trials;",
        f"  {_sum(wholes, 'findings') / _sum(wholes, 'found'):.1f} findings on average, of which",
        f"  {_sum(wholes, 'causes') / _sum(wholes, 'found'):.1f} are shown as something to mend.",
        "",
    ]


def _missed(rows: list[dict[str, Any]]) -> list[str]:
    missed = [row for row in rows if row["found"] and row["named"] < 0.95 * row["found"]]
    lines = ["## Where another cause is named", ""]
    for row in missed:
        others = ", ".join(f"{name} ({times})" for name, times in row["others"].items())
        lines.append(f"- {_said(row)}: named in {row['named']} of {row['found']}; also named: {others or 'nothing'}.")
    return [*lines, *([] if missed else ["Nowhere in this measurement."]), ""]


def _wholes(rows: list[dict[str, Any]]) -> list[str]:
    lines = [
        "## Faults of a whole recording",
        "",
        "Whatever check they are there for; a row says which checks a person who knows the fault would want to read",
        "first, and what was named. Where nothing is wanted no check names the fault, and its findings stand side by",
        "side.",
        "",
        "| Fault | Named | Findings | To mend | Named first |",
        "|---|---|---|---|---|",
    ]
    for row in rows:
        first = ", ".join(f"{name} ({times})" for name, times in row["first"].items()) or "nothing was found"
        count = max(1, row["found"])
        lines.append(
            f"| {row['fault']} | {row['named']} of {row['found']} | {row['findings'] / count:.1f} | "
            f"{row['causes'] / count:.1f} | {first} |"
        )
    return [*lines, ""]


def _plants(rows: list[dict[str, Any]]) -> list[str]:
    lines = [
        "## Every planted fault",
        "",
        "| Fault | Trials | Named first | Nothing else to mend | Findings | To mend |",
        "|---|---|---|---|---|---|",
    ]
    for row in rows:
        count = max(1, row["found"])
        lines.append(
            f"| {_said(row)} | {row['found']} | {row['named']} | {row['alone']} | {row['findings'] / count:.1f} | "
            f"{row['causes'] / count:.1f} |"
        )
    return lines


def _said(row: dict[str, Any]) -> str:
    return str(row["fault"]).replace("{size}", "...")
