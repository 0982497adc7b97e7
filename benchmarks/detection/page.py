"""The page docs/reference/detection.md, from the results kept beside it and from nothing else."""

from __future__ import annotations

import json
from pathlib import Path

from benchmarks.detection.imperfections import IMPERFECTIONS
from benchmarks.detection.measure import Result, false_alarms, interval, wrong_findings
from checks.detected import RESULTS
from checks.registry import catalogue

REFERENCE = Path(__file__).resolve().parents[2] / "docs" / "reference"
PAGE = REFERENCE / "detection.md"
AIM, MOST_FALSE = 0.95, 0.01
_KINDS = {
    "running": "running trials",
    "standing": "standing trials",
    "reference_contraction": "contractions",
    "delivery": "deliveries",
    "site": "whole laboratories",
}
#: Real recordings in the order of the columns.
_REAL = ("one step", "belt", "eight plates")
_UNITS = {"1": "", "": "", "{BW}": " body weights", "Cel": " degrees C", "{count}": ""}


def kept() -> Result:
    """The results as they were last written."""
    return dict(json.loads(RESULTS.read_text(encoding="utf-8")))


def write(result: Result) -> None:
    """Keep the results and write the page from them."""
    RESULTS.write_text(json.dumps(result, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")
    PAGE.write_text(page(result), encoding="utf-8", newline="\n")


def merged(old: Result, new: Result) -> Result:
    """The old results with the plants of the newly measured checks put in; clean trials if they were looked at."""
    again = {row["check"] for row in new["plants"]}
    rows = [row for row in old["plants"] if row["check"] not in again] + new["plants"]
    order = {name: i for i, name in enumerate(catalogue())}
    rows.sort(key=lambda row: order.get(row["check"], len(order)))
    return {**old, **{k: v for k, v in new.items() if v}, "plants": rows}


def page(result: Result) -> str:
    """The whole page."""
    lines = [*_intro(result), *_aims(result), *_table(result), *_sizes(result), *_clean(result)]
    made = "<!-- Made by `python -m benchmarks.detection --full --write`; changes by hand are lost. -->"
    return "\n".join([*lines, "", made]) + "\n"


def _intro(result: Result) -> list[str]:
    kinds = result["clean"]["kinds"]
    of_trials = ", ".join(f"{count} {_KINDS[kind]}" for kind, count in kinds.items())
    return [
        "# How well the checks see",
        "",
        "Every check is measured: the fault it is there for is planted in several sizes into clean trials, the",
        "trial is written as the laboratory writes it, read again and checked the way a delivery is. Counted is",
        "whether the check that answers for the fault found it.",
        "",
        "- **Size that matters**: from here on the fault spoils an outcome; the reason stands with each check. The",
        f"  aim is to find at least {100 * AIM:.0f} % there.",
        f"- **False alarms**: clean data that the check looked at ({of_trials}), and in how",
        f"  many of them it found something. The aim is below {100 * MOST_FALSE:.0f} %.",
        "- **Intervals** are 95 % by Clopper and Pearson: what chance leaves open, and nothing else. They do not say",
        "  how far simulated trials are from real ones.",
        "- **Real runs**: the same fault in three real running trials, one step on two plates (300 Hz force), 8 s",
        "  on a belt, one pass over eight plates, and the smallest size from which on it is found in each. Three",
        "  trials give no rate; but a limit that holds on simulated trials alone shows here.",
        "",
    ]


def _aims(result: Result) -> list[str]:
    missed = [row for row in result["plants"] if _rate_that_matters(row) < AIM]
    lines = ["## Where the aims are missed", ""]
    for row in missed:
        at = _at(row)
        lines.append(
            f"- {row['check']}, {_said(row, row['matters'])}: found in {at['found']} of {at['trials']} trials."
        )
    false = {n: (k, of) for n, (k, of) in false_alarms(result).items() if of and k / of >= MOST_FALSE}
    lines += [f"- {name}: {k} false alarms in {of} clean trials." for name, (k, of) in false.items()]
    if not missed and not false:
        lines.append("Nowhere in this measurement.")
    return [*lines, ""]


def _table(result: Result) -> list[str]:
    false = false_alarms(result)
    lines = [
        "## Every check",
        "",
        "| Check | Weight | Fault, in the size that matters | Found | 95 % interval | Real runs: one step | belt "
        "| eight plates | False alarms |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for name, spec in catalogue().items():
        rows = [row for row in result["plants"] if row["check"] == name]
        if not rows:
            empty = " |" * 6
            lines.append(
                f"| [{name}](checks/{name}.md) | {spec.weight} | not measured{empty} {_alarms(*false[name])} |"
            )
        for row in rows:
            at = _at(row)
            low, high = interval(at["found"], at["trials"])
            cells = (
                f"[{name}](checks/{name}.md)", str(spec.weight), _said(row, row["matters"]),
                f"{at['found']} of {at['trials']}", f"{low:.2f} to {high:.2f}", *_real(row), _alarms(*false[name]),
            )  # fmt: skip
            lines.append(f"| {' | '.join(cells)} |")
    return [*lines, ""]


def _sizes(result: Result) -> list[str]:
    lines = ["## By size", "", "Bold is the size that matters.", ""]
    lines += ["| Check and fault | Found, by size | Why this size matters |", "|---|---|---|"]
    for row in result["plants"]:
        if len(row["sizes"]) == 1:
            found = f"{row['sizes'][0]['found']} of {row['sizes'][0]['trials']}"
        else:
            found = "; ".join(_one_size(row, one) for one in row["sizes"])
        lines.append(f"| {row['check']}: {row['what'].replace('{size}', '...')} | {found} | {row['why']} |")
    return [*lines, ""]


def _one_size(row: Result, one: Result) -> str:
    text = f"{_sized(one['size'], row['unit'])}: {100 * one['found'] / one['trials']:.0f} %"
    return f"**{text}**" if one["size"] == row["matters"] else text


def _clean(result: Result) -> list[str]:
    lines = ["## Clean data", "", "What the clean simulated trials have, as good recordings do:", ""]
    lines += [f"- {text}" for text in IMPERFECTIONS]
    lines += ["", "Every finding on them, and on the real runs beyond what these are known to have:", ""]
    wrong = [f"- {where}: {name} ({weight}): {seen}" for where, name, weight, seen in wrong_findings(result)]
    lines += wrong or ["None."]
    return lines


def _rate_that_matters(row: Result) -> float:
    at = _at(row)
    return float(at["found"] / at["trials"])


def _at(row: Result) -> Result:
    return next(one for one in row["sizes"] if one["size"] == row["matters"])


def _said(row: Result, size: float) -> str:
    return str(row["what"].replace("{size}", _sized(size, row["unit"])))


def _sized(size: float, unit: str) -> str:
    return f"{size:g}{_UNITS.get(unit, f' {unit}')}"


def _real(row: Result) -> list[str]:
    """A cell for each real recording."""
    return [_in_one(row, (row["real"] or {}).get(name)) for name in _REAL]


def _in_one(row: Result, seen: list[Result] | None) -> str:
    if seen is None or all(one["found"] is None for one in seen):
        return "not planted"
    found_from = None
    for one in reversed([one for one in seen if one["found"] is not None]):
        if not one["found"]:
            break
        found_from = one["size"]
    if found_from is None:
        return "not found"
    return "found" if len(seen) == 1 else f"found from {_sized(found_from, row['unit'])}"


def _alarms(found: int, looked: int) -> str:
    return f"{found} of {looked}" if looked else "not looked at"
