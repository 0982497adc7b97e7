"""Writes docs/reference from the definitions: tables, checks, settings, commands. Nobody edits those pages by hand.

The same definitions give the same bytes. ``python -m pipelines.command.docs_pages`` writes; with ``--check`` it writes
nothing and ends with code 1 if a page is not what would be written. How a table's page looks is in
``schemas.convert.to_markdown``; pages people write themselves are elsewhere under docs/.
"""

from __future__ import annotations

import difflib
import sys
import types
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from checks.registry import CheckSpec, Subject, catalogue
from pipelines.command.statements_page import statements_page
from schemas import codes
from schemas.catalogue import TABLES
from schemas.convert.to_markdown import index_page, markdown_table, table_page
from schemas.convert.words import number
from schemas.study import SiteProfile, Study

REFERENCE = Path(__file__).resolve().parents[2] / "docs" / "reference"
_MADE = "\n<!-- Made by `make docs` from the definitions in the code; changes by hand are lost. -->\n"
#: Measured, not made from the definitions: ``python -m benchmarks.detection`` writes it.
MEASURED = "detection.md"
_ABOUT = {
    Subject.DELIVERY: "the delivery: its bag and its tables",
    Subject.READING: "the reading of one trial file",
    Subject.TRIAL: "one trial with its footfalls",
    Subject.SITE: "all outcomes of one site against the other sites",
}
#: Values of the example profile; a setting without one stops the build, so that the example stays complete.
EXAMPLE_PROFILE: dict[str, Any] = {
    "site": "brack",
    "description": "Instrumented treadmill, one plate (invented).",
    "surface": "treadmill",
    "axes": {"forward": "+x", "up": "+z", "right": "-y"},
    "runs_both_ways": False,
    "marker_rate_hz": 200,
    "force_rate_hz": 1000,
    "plate_types": [2],
    "markers": {"calcaneus_left": "heel_L", "calcaneus_right": "heel_R", "sacrum": "pelvis_back"},
}


def reference_pages() -> dict[str, str]:
    """Every page: path under docs/reference -> text."""
    checks = catalogue()
    pages = {
        "index.md": _index(),
        "tables/index.md": index_page(TABLES.values()),
        "checks/index.md": _check_index(checks),
        "study_file.md": _study_page(),
        "site_profile.md": _profile_page(),
        "commands.md": _commands_page(),
        "statements.md": statements_page(),
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
    return sorted(path.relative_to(out).as_posix() for path in out.rglob("*.md") if path != out / MEASURED)


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8", "replace")


def _index() -> str:
    lines = ["# Reference", "", "Made from the definitions in the code, so it is what the program does.", ""]
    lines += ["- [Tables](tables/index.md): every table and column with unit, range and words"]
    lines += ["- [Checks](checks/index.md): what is checked, why, at which limits"]
    lines += ["- [What a recording says twice](statements.md): every statement that is compared, and what happens"]
    lines += ["- [Study file](study_file.md): every setting of a study"]
    lines += ["- [Site profile](site_profile.md): every setting of a laboratory, with an example"]
    lines += ["- [Commands](commands.md): the `manystrides` command"]
    lines += [f"- [How well the checks see]({MEASURED}): how often each finds its fault, by size; measured"]
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


def _study_page() -> str:
    lines = ["# Study file", "", "One YAML file that says what a study decides. Units stand in the names.", ""]
    lines += ["`<name>` stands for a word of your own, for example a condition. Aliases (`*name`) are not read."]
    return "\n".join(lines + list(_settings(Study, ""))) + "\n"


def _profile_page() -> str:
    lines = ["# Site profile", "", "One YAML file for each laboratory, named in the study file.", ""]
    lines += ["It says how the laboratory records, so that nothing of it needs to stand in code."]
    lines += list(_settings(SiteProfile, ""))
    lines += ["", "## Example", "", "Every setting once, for an invented laboratory.", ""]
    return "\n".join([*lines, "```yaml", example_profile() + "```"]) + "\n"


def example_profile() -> str:
    """A profile with every setting, each under its description; markers shortened."""
    import yaml

    parts = []
    for name, field in SiteProfile.model_fields.items():
        value = yaml.safe_dump({name: EXAMPLE_PROFILE[name]}, sort_keys=False, allow_unicode=True)
        parts.append(f"# {field.description}\n{value}")
    return "\n".join(parts)


def _settings(model: type[BaseModel], prefix: str) -> Iterator[str]:
    """A table of one group's settings, then a section for each group inside it."""
    yield ""
    if prefix:
        yield from (f"## `{prefix.removesuffix('.')}`", "", " ".join((model.__doc__ or "").split()), "")
    rows = []
    groups: list[tuple[type[BaseModel], str]] = []
    for name, field in model.model_fields.items():
        inner = _group(field.annotation)
        if inner and inner is not SiteProfile:
            groups.append((inner, f"{prefix}{name}.{_names(field.annotation)}"))
        kind = "path of a [site profile](site_profile.md)" if inner is SiteProfile else _type_words(field)
        rows.append((f"`{prefix}{name}`", kind, _default_words(field, inner), str(field.description)))
    yield from markdown_table(("Setting", "Type", "Default", "Meaning"), rows)
    for inner, inner_prefix in groups:
        yield from _settings(inner, inner_prefix)


def _group(annotation: Any) -> type[BaseModel] | None:
    """The group of settings a setting holds, itself or under names of the study's own."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return _group(get_args(annotation)[1]) if get_origin(annotation) is dict else None


def _names(annotation: Any) -> str:
    """Which names of one's own stand between a setting and its group of settings, each followed by a dot."""
    depth = 0
    while get_origin(annotation) is dict:
        depth, annotation = depth + 1, get_args(annotation)[1]
    return "<check>.<threshold>." if depth == 2 else "<name>." * depth


def _type_words(field: FieldInfo) -> str:
    bounds = []
    for limit in field.metadata:
        for sign, words in (("gt", "more than"), ("ge", "at least"), ("lt", "less than"), ("le", "at most")):
            if (bound := getattr(limit, sign, None)) is not None:
                bounds.append(f"{words} {number(bound)}")
    return ", ".join([_annotation_words(field.annotation), *bounds])


def _annotation_words(annotation: Any) -> str:
    simple = {date: "day", str: "text", float: "number", int: "whole number", bool: "true or false", type(None): "null"}
    if annotation in simple:
        return simple[annotation]
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return " or ".join(f"`{value}`" for value in inner)
    if origin in (Union, types.UnionType):
        return " or ".join(_annotation_words(part) for part in inner)
    if origin is tuple:
        return f"list of: {_annotation_words(inner[0])}"
    if origin is dict:
        return f"names, each with: {_annotation_words(inner[1])}"
    return "group of settings"


def _default_words(field: FieldInfo, group: type[BaseModel] | None) -> str:
    if field.is_required():
        return "required"
    default = field.get_default(call_default_factory=True)
    if group is type(default):
        return "as below"
    if isinstance(default, tuple | list | dict):
        return ", ".join(f"`{item}`" for item in default) or "empty"
    plain = {None: "null", True: "true", False: "false", "": "empty"}
    if default is None or isinstance(default, bool | str):
        return plain.get(default, f"`{default}`")
    return number(default)


def _commands_page() -> str:
    """Every command with its help and options, from the program itself."""
    import typer.main

    from pipelines.command.exit_codes import exit_codes
    from pipelines.command.main import app

    lines = ["# Commands", "", "What `manystrides --help` says, command by command."]
    for path, command in _commands(typer.main.get_command(app), ("manystrides",)):
        lines += ["", f"## {' '.join(path)}", "", *_help_lines(command.help)]
        arguments = [p for p in command.params if p.param_type_name == "argument"]
        words = " ".join(_argument_name(p) for p in arguments)
        lines += ["", "```", f"{' '.join(path)} {words}".rstrip() + " [OPTIONS]", "```"]
        rows = [_parameter_row(p) for p in command.params if p.name != "help"]
        if rows:
            lines += ["", *markdown_table(("Argument or option", "Default", "Meaning"), rows)]
        codes_here = [(f"`{code}`", meaning) for code, meaning in exit_codes(" ".join(path[1:])).items()]
        lines += ["", *markdown_table(("Exit code", "Meaning"), codes_here)]
    return "\n".join(lines) + "\n"


def _commands(command: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    inner = getattr(command, "commands", None)
    if inner is None:
        yield path, command
        return
    for name in inner:
        if not inner[name].hidden:
            yield from _commands(inner[name], (*path, name))


def _help_lines(text: str | None) -> list[str]:
    # \b and \f are click's marks for "keep these lines" and "not in the help"
    visible = (text or "").split("\f")[0].replace("\b", "")
    return [line.rstrip() for line in visible.strip().splitlines()]


def _argument_name(argument: Any) -> str:
    return str(argument.metavar or argument.name).upper()


def _parameter_row(parameter: Any) -> tuple[str, str, str]:
    if parameter.param_type_name == "argument":
        name = f"`{_argument_name(parameter)}`"
    else:
        name = ", ".join(f"`{option}`" for option in (*parameter.opts, *parameter.secondary_opts))
    default = parameter.default
    if parameter.required:
        shown = "required"
    else:
        shown = "" if default is None or callable(default) or default is False else f"`{default}`"
    return name, shown, " ".join((getattr(parameter, "help", None) or "").split())


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
