"""Reads a file of settings in YAML, and says in plain words what cannot be used and where.

What the settings mean is in ``schemas``, which files there are in ``file``. YAML is read without aliases, without tags
and without a key standing twice.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError

from pipelines.errors import Unusable

Model = TypeVar("Model", bound=BaseModel)

MOST_BYTES = 1 << 17  # a study of many sites has some ten kilobytes; the parser of YAML needs seconds for a megabyte
_REMEDY = "Correct the file; every setting is explained in docs/reference/{page}."


@dataclass(frozen=True)
class Fault:
    """One setting that cannot be used. ``seen`` and ``expected`` are clauses without full stop."""

    place: str
    seen: str
    expected: str


def read_bytes(path: Path, what: str) -> bytes:
    """The bytes of a file of settings. what: in words. Raises Unusable."""
    remedy = "Give the path of the file."
    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise Unusable("There is no such file.", f"The {what}.", remedy, file=path) from None
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise Unusable(f"It cannot be read ({reason}).", f"The {what}.", remedy, file=path) from None
    if len(data) > MOST_BYTES:
        seen = f"The file is larger than {MOST_BYTES} bytes."
        raise Unusable(seen, f"A {what} of a few kilobytes.", "Check that this is the right file.", file=path)
    return data


class _PlainLoader(yaml.SafeLoader):
    """YAML without the parts that surprise: aliases, and keys that silently replace an earlier one."""

    def compose_node(self, parent: Any, index: Any) -> Any:
        if self.check_event(yaml.AliasEvent):
            mark = self.peek_event().start_mark  # type: ignore[no-untyped-call]
            raise yaml.MarkedYAMLError(problem="an alias (*name) stands here", problem_mark=mark)
        return super().compose_node(parent, index)

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:
        names: set[str] = set()
        for key, _ in node.value:
            if key.value in names:
                raise yaml.MarkedYAMLError(problem=f"{key.value} stands twice", problem_mark=key.start_mark)
            if isinstance(key.value, str):
                names.add(key.value)
        return super().construct_mapping(node, deep)


def parse(data: bytes, path: Path, page: str = "study_file.md") -> dict[str, Any]:
    """The settings in it. Raises Unusable."""
    expected = "Settings in YAML, as UTF-8 text: a name, a colon and a value on each line."
    remedy = "Correct the file at this place."
    try:
        settings = yaml.load(data.decode("utf-8-sig"), _PlainLoader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = f"line {mark.line + 1}, column {mark.column + 1}" if mark else None
        seen = f"It is not readable as settings: {error.problem or error.context}."
        raise Unusable(seen, expected, remedy, file=path, place=place) from None
    except (yaml.YAMLError, UnicodeDecodeError, RecursionError, ValueError, TypeError) as error:
        seen = f"It is not readable as settings ({type(error).__name__})."
        raise Unusable(seen, expected, remedy, file=path) from None
    if not isinstance(settings, dict):
        raise Unusable("It holds no settings.", expected, remedy, file=path)
    refuse(list(_not_finite(settings, "")), path, page)
    return settings


def _not_finite(value: Any, place: str) -> Iterator[Fault]:
    """Numbers such as .inf or .nan; no setting can mean them."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _not_finite(inner, f"{place}.{name}" if place else str(name))
    elif isinstance(value, list):
        for number, inner in enumerate(value, start=1):
            yield from _not_finite(inner, f"{place}.{number}")
    elif isinstance(value, float) and not math.isfinite(value):
        yield Fault(place, f"is {value}", "a finite number")


def checked(model: type[Model], settings: dict[str, Any], path: Path, page: str) -> Model:
    """The settings as ``model``. page: of docs/reference, which explains them. Raises Unusable."""
    try:
        return model.model_validate(settings)
    except ValidationError as error:
        told = [dict(one) for one in error.errors()]
        refuse([in_plain_words(one, model) for one in told if not _short_only_of_what_is_refused(one)], path, page)
        raise  # errors() is never empty; without this the type checker cannot know


def _short_only_of_what_is_refused(error: dict[str, Any]) -> bool:
    """Whether a list is called too short only since members of it are refused, each of which is told by itself."""
    if error["type"] != "too_short" or not isinstance(error["input"], list):
        return False
    return len(error["input"]) >= int(error["ctx"]["min_length"])


def refuse(faults: list[Fault], path: Path, page: str) -> None:
    """Raises Unusable if there are faults, all of them in one message."""
    if not faults:
        return
    remedy = _REMEDY.format(page=page)
    if len(faults) == 1:
        fault = faults[0]
        seen = f"This setting {fault.seen}."
        raise Unusable(seen, _sentence(fault.expected), remedy, file=path, place=fault.place)
    listed = "; ".join(f"({n}) {f.place} {f.seen}, expected {f.expected}" for n, f in enumerate(faults, 1))
    seen = f"{len(faults)} settings cannot be used: {listed}."
    raise Unusable(seen, "Every setting as listed.", remedy, file=path)


def _sentence(clause: str) -> str:
    return clause[0].upper() + clause[1:] + "."


def shown(value: Any) -> str:
    """A value in a few words."""
    if isinstance(value, BaseModel | dict):
        return "a group of settings"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    text = "empty" if value is None else repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:60] + "..."


_A_DATE = "a day as year-month-day, for example 2026-03-02"
#: pydantic's error types in our words; {name} is a value of the error's context.
_EXPECTATIONS = {
    "string_type": "a text; put it in quotes if it looks like a number",
    "float_type": "a number",
    "float_parsing": "a number",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "dict_type": "a group of named settings",
    "model_type": "a group of named settings",
    "tuple_type": "a list",
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "{le} or less",
    "literal_error": "{expected}",
    "string_too_short": "a text that is not empty",
    "too_short": "a list of {min_length} or more",
    "date_type": _A_DATE,
    "date_parsing": _A_DATE,
    "date_from_datetime_parsing": _A_DATE,
    "date_from_datetime_inexact": _A_DATE,
}


def in_plain_words(error: dict[str, Any], model: type[BaseModel]) -> Fault:
    """One of pydantic's errors about ``model``."""
    kind, context, loc = error["type"], error.get("ctx", {}), error["loc"]
    if loc[-1:] == ("[key]",):
        return Fault(".".join(str(part) for part in loc[:-1]), "is used as a name", "a text; put it in quotes")
    # positions in lists count from 1 for people
    place = ".".join(str(part + 1 if isinstance(part, int) else part) for part in loc) or "the file"
    if kind == "missing":
        return Fault(place, "is missing", "a value; the setting has no default")
    if kind == "extra_forbidden":
        return Fault(place, "is not a setting", _nearest(loc, model))
    if kind == "value_error":
        return Fault(place, "does not fit together", str(context.get("error", error["msg"])))
    values = {name: f"{value:g}" if isinstance(value, float) else value for name, value in context.items()}
    expected = _EXPECTATIONS[kind].format(**values) if kind in _EXPECTATIONS else error["msg"].lower()
    return Fault(place, f"is {shown(error['input'])}", expected)


def _nearest(loc: tuple[Any, ...], model: type[BaseModel]) -> str:
    """The settings that do exist where an unknown one stood, the most alike first."""
    group: Any = model
    for part in loc[:-1]:
        fields = getattr(group, "model_fields", {})
        annotation = fields[part].annotation if part in fields else group
        group = next((m for m in _models(annotation)), group)
    known = list(getattr(group, "model_fields", {}))
    near = difflib.get_close_matches(str(loc[-1]), known, n=1)
    return f"perhaps {near[0]}" if near else "one of " + ", ".join(known)


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in getattr(annotation, "__args__", ()):
        yield from _models(inner)
