"""Writes docs/reference from the definitions: tables, checks, settings, commands. Nobody edits those pages by hand.

The same definitions give the same bytes. ``python -m pipelines.command.docs_pages`` writes; with ``--check`` it writes
nothing and ends with code 1 if a page is not what would be written. How a table's page looks is in
``schemas.convert.to_markdown``, that of settings and commands in ``docs_settings`` and ``docs_commands``; pages that
people write themselves are elsewhere under docs/.
"""

from __future__ import annotations

import difflib
import sys
from collections.abc import Sequence
from pathlib import Path

from checks.registry import CheckSpec, Subject, catalogue
from pipelines.command.causes_page import causes_page
from pipelines.command.docs_commands import commands_page
from pipelines.command.docs_settings import hand_over_page, plan_page, profile_page, study_page
from pipelines.command.glossary_page import contents, glossary
from pipelines.command.statements_page import statements_page
from schemas import codes
from schemas.catalogue import TABLES
from schemas.convert.to_markdown import index_page, markdown_table, table_page
from schemas.convert.words import number

REFERENCE = Path(__file__).resolve().parents[2] / "docs" / "reference"
_MADE = "\n<!-- Made by `make docs` from the definitions in the code; changes by hand are lost. -->\n"
#: Measured, not made from the definitions: page -> what its line in the index says. Most are written by benchmarks.
MEASURED = {
    "coverage.md": "[How often the intervals hold the truth](coverage.md), in studies with known answers; measured",
    "detection.md": "[How well the checks see](detection.md): how often each finds its fault, by size; measured",
    "named_causes.md": "[How often the named cause is the true one](named_causes.md); measured",
    "recovery.md": "[What comes back of what was simulated](recovery.md): bias and doubt of each outcome; measured",
    "silently_wrong.md": "[What is wrong without a word](silently_wrong.md): damaged files, matched clocks; measured",
    "speed.md": "[What it costs](speed.md): a trial, the books, the demonstration; measured, with the machine's facts",
}
_ABOUT = {
    Subject.DELIVERY: "the delivery: its bag and its tables",
    Subject.READING: "the reading of one trial file",
    Subject.TRIAL: "one trial with its footfalls",
    Subject.SITE: "all outcomes of one site against the other sites",
}


def reference_pages() -> dict[str, str]:
    """Every page: path under docs/reference -> text."""
    checks = catalogue()
    pages = {
        "index.md": _index(),
        "tables/index.md": index_page(TABLES.values()),
        "checks/index.md": _check_index(checks),
        "study_file.md": study_page(),
        "site_profile.md": profile_page(),
        "analysis_plan.md": plan_page(),
        "handover.md": hand_over_page(),
        "commands.md": commands_page(),
        "statements.md": statements_page(),
        "causes.md": causes_page(),
        "glossary.md": glossary(),
    }
    pages |= {f"tables/{name}.md": table_page(table) for name, table in TABLES.items()}
    pages |= {f"checks/{name}.md": _check_page(spec) for name, spec in checks.items()}
    return {path: text + _MADE for path, text in sorted(pages.items())}


def write_reference(out: Path | None = None) -> list[Path]:
    """Write every page under ``out`` (docs/reference) and remove those of what is no more; returns the paths."""
    out, pages = out or REFERENCE, reference_pages()
    for path in _pages_there(out):
        if path not in pages:
            (out / path).unlink()
    written = []
    for path, text in pages.items():
        target = out / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8", newline="\n")
        written.append(target)
    return written


def stale_reference(out: Path | None = None) -> list[str]:
    """Pages under ``out`` that are missing, out of date, or of something that is no more; empty if all is right."""
    out = out or REFERENCE
    pages, there = reference_pages(), _pages_there(out)
    return sorted(
        path for path in {*pages, *there} if path not in there or path not in pages or _text(out / path) != pages[path]
    )


def _pages_there(out: Path) -> list[str]:
    return sorted(path.relative_to(out).as_posix() for path in out.rglob("*.md") if path.name not in MEASURED)


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8", "replace")


def _index() -> str:
    lines = ["# Reference", "", "Made from the definitions in the code, so it is what the program does.", ""]
    lines += ["- [Tables](tables/index.md): every table and column with unit, range and words"]
    lines += ["- [Checks](checks/index.md): what is checked, why, at which limits"]
    lines += ["- [What a recording says twice](statements.md): every statement that is compared, and what happens"]
    lines += ["- [What follows from what](causes.md): which finding of a trial is a cause, and which are consequences"]
    lines += ["- [Study file](study_file.md): every setting of a study"]
    lines += ["- [Site profile](site_profile.md): every setting of a site, with an example"]
    lines += ["- [Analysis plan](analysis_plan.md): every setting of plan.yaml"]
    lines += ["- [Who hears of a run](handover.md): every setting of handover.yaml"]
    lines += ["- [Commands](commands.md): the `manystrides` command"]
    lines += [f"- {contents()}"]
    lines += [f"- {line}" for line in MEASURED.values()]
    return "\n".join(lines) + "\n"


def _check_index(checks: dict[str, CheckSpec]) -> str:
    lines = ["# Checks", "", "What must be true, by subject. The weight says what a finding leads to:", ""]
    lines += [f"- **{weight.value}**: {weight.meaning}" for weight in codes.WEIGHT]
    for about, words in _ABOUT.items():
        own = [spec for spec in checks.values() if spec.about is about]
        if own:
            lines += ["", f"## About {words}", ""]
            rows = [(f"[{s.name}]({s.name}.md)", str(s.weight), s.sentence) for s in own]
            lines += markdown_table(("Check", "Weight", "What must be true"), rows)
    return "\n".join(lines) + "\n"


def _check_page(spec: CheckSpec) -> str:
    meaning = {code.value: code.meaning for code in codes.WEIGHT}[str(spec.weight)]
    lines = [f"# {spec.name}", "", spec.sentence, ""]
    if spec.why:
        lines += [spec.why, ""]
    lines += [f"- **Looks at**: {_ABOUT[spec.about]}", f"- **Weight**: {spec.weight}. {meaning}"]
    lines += [f"- **Defined in**: `{spec.function.__module__.replace('.', '/')}.py`"]
    if spec.limits:
        lines += ["", "## Limits", "", f"Change them in the study file under `limits.{spec.name}`.", ""]
        rows = [
            (f"`{name}`", number(spec.defaults[name]), f"`{limit.unit}`", limit.source)
            for name, limit in spec.limits.items()
        ]
        lines += markdown_table(("Limit", "Default", "Unit", "Where the default comes from"), rows)
    lines += ["", "## What a finding says", "", "Words in braces stand for the values of the case.", ""]
    lines += [f"- **Seen**: {spec.seen}", f"- **Expected**: {spec.expected}"]
    lines += [f"- **What to do**: {spec.remedy}"]
    return "\n".join(lines) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the pages, or with ``--check`` name those that are stale; returns the exit code."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if given not in ([], ["--check"]):
        print("usage: python -m pipelines.command.docs_pages [--check]", file=sys.stderr)
        return 2
    if not given:
        print(f"{len(write_reference())} pages written to {REFERENCE}")
        return 0
    pages, stale = reference_pages(), stale_reference()
    for path in stale:
        target = REFERENCE / path
        old = _text(target).splitlines() if target.exists() else []
        new = pages.get(path, "").splitlines()
        lines = list(difflib.unified_diff(old, new, path, f"{path} (as it should be)", lineterm="", n=0))
        print("\n".join(lines[:20]), file=sys.stderr)
    if stale:
        print(f"{len(stale)} pages are out of date: {', '.join(stale)}. Run: make docs", file=sys.stderr)
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
