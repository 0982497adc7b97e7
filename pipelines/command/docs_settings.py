"""The reference pages of the study file and the site profile, made from their models."""

from __future__ import annotations

import types
from collections.abc import Iterator
from datetime import date
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from schemas.convert.to_markdown import markdown_table
from schemas.convert.words import number
from schemas.handover import HandOver
from schemas.plan import Plan
from schemas.study import SiteProfile, Study

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
    "markers": {
        "calcaneus_left": "heel_L",
        "calcaneus_right": "heel_R",
        "sacrum": "pelvis_back",
        "lateral_femoral_epicondyle_left": "knee_L",
    },
    "clusters": {
        "thigh_left": {
            "labels": ["thigh_L1", "thigh_L2", "thigh_L3", "thigh_L4"],
            "carries": ["lateral_femoral_epicondyle_left"],
        }
    },
}


def study_page() -> str:
    """Every setting of a study."""
    lines = ["# Study file", "", "One YAML file that says what a study decides. Units stand in the names.", ""]
    lines += ["`<name>` stands for a word of your own, for example a condition. Aliases (`*name`) are not read."]
    return "\n".join(lines + list(_settings(Study, ""))) + "\n"


def plan_page() -> str:
    """Every setting of an analysis plan."""
    lines = [
        "# Analysis plan",
        "",
        "`plan.yaml` beside the study file: which differences the study asks about, and how.",
        "",
    ]
    lines += ["What it names is primary or secondary; everything else is exploratory, and every row says which."]
    lines += ["`manystrides plan freeze` writes it into the ledger. How: docs/how_to/plan_the_analysis.md."]
    return "\n".join(lines + list(_settings(Plan, ""))) + "\n"


def hand_over_page() -> str:
    """Every setting of who hears of a run."""
    lines = [
        "# Who hears of a run",
        "",
        "`handover.yaml` beside the study file. Without it nothing is sent anywhere.",
        "",
    ]
    lines += ["A notice holds the study's title, the site, ids of deliveries, how each ended, and counts of trials: no"]
    lines += [
        "runner, no trial, no value. A server that cannot be reached is named at the end of the run and again by the"
    ]
    lines += ["next one. `sites` and `sender` are for the drafts in the outbox; nothing is ever sent to a site."]
    return "\n".join(lines + list(_settings(HandOver, ""))) + "\n"


def profile_page() -> str:
    """Every setting of a site, with an example."""
    lines = ["# Site profile", "", "One YAML file for each site, named in the study file.", ""]
    lines += ["It says how the site records, so that nothing of it needs to stand in code."]
    lines += list(_settings(SiteProfile, ""))
    lines += ["", "## Example", "", "Every setting once, for an invented site.", ""]
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
    """The group of settings a setting holds: itself, if any, in a list, or under names of the study's own."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) is tuple:
        return _group(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        return next((group for part in get_args(annotation) if (group := _group(part))), None)
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
