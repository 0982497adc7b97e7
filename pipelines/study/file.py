"""Reads the study file and the site profiles, and says in plain words what cannot be used and where.

What the settings mean is in ``schemas.study``; here is only reading, and what must fit between settings that pydantic
sees one by one. YAML is read without aliases, without tags and without a key standing twice.
"""

from __future__ import annotations

import difflib
import hashlib
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError

from checks.registry import catalogue
from pipelines.errors import Unusable
from pipelines.study.anatomy import by_landmark, declared_twice, never
from schemas.study import SiteProfile, Study

Model = TypeVar("Model", bound=BaseModel)

MOST_BYTES = 1 << 17  # a study of many sites has some ten kilobytes; the parser of YAML needs seconds for a megabyte
_REMEDY = "Correct the file; every setting is explained in docs/reference/{page}."


@dataclass(frozen=True)
class LoadedStudy:
    """A study as read. ``version`` is the study's own version, "+", and 8 hex digits over all files read."""

    study: Study
    version: str
    path: Path


@dataclass(frozen=True)
class Fault:
    """One setting that cannot be used. ``seen`` and ``expected`` are clauses without full stop."""

    place: str
    seen: str
    expected: str


def load_study(path: str | Path) -> LoadedStudy:
    """The study file with the profiles it names (paths relative to the study file). Raises Unusable."""
    path = Path(path)
    data = _read_bytes(path, "study file")
    settings = _parse(data, path)
    digest = hashlib.sha256(data)
    sites = settings.get("sites")
    faults: list[Fault] = []
    for name, site in sorted(sites.items(), key=lambda item: str(item[0])) if isinstance(sites, dict) else []:
        if isinstance(site, dict) and "profile" in site:
            named = site["profile"]
            if not isinstance(named, str) or Path(named).is_absolute():
                expected = "the path of the profile, relative to the study file"
                faults.append(Fault(f"sites.{name}.profile", f"is {_shown(named)}", expected))
                continue
            profile_path = path.parent / named
            profile_data = _read_bytes(profile_path, f"profile of site {name}")
            digest.update(f"\0{name}\0".encode() + profile_data)
            site["profile"] = _checked(SiteProfile, _parse(profile_data, profile_path), profile_path)
    _refuse(faults, path, "study_file.md")
    study = _checked(Study, settings, path)
    _refuse(list(_disagreements(study)), path, "study_file.md")
    study = by_landmark(study)
    _refuse([Fault(n.what, "can never be had", n.wanted) for n in never(study)], path, "study_file.md")
    return LoadedStudy(study, f"{study.version}+{digest.hexdigest()[:8]}", path)


def load_profile(path: str | Path) -> SiteProfile:
    """One site profile on its own. Raises Unusable."""
    path = Path(path)
    return _checked(SiteProfile, _parse(_read_bytes(path, "site profile"), path), path)


def _read_bytes(path: Path, what: str) -> bytes:
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


def _parse(data: bytes, path: Path) -> dict[str, Any]:
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
    _refuse(list(_not_finite(settings, "")), path, "study_file.md")
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


def _checked(model: type[Model], settings: dict[str, Any], path: Path) -> Model:
    page = "site_profile.md" if model is SiteProfile else "study_file.md"
    try:
        return model.model_validate(settings)
    except ValidationError as error:
        _refuse([_in_plain_words(dict(e), model) for e in error.errors()], path, page)
        raise  # errors() is never empty; without this the type checker cannot know


def _refuse(faults: list[Fault], path: Path, page: str) -> None:
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


def _shown(value: Any) -> str:
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
    "date_type": _A_DATE,
    "date_parsing": _A_DATE,
    "date_from_datetime_parsing": _A_DATE,
    "date_from_datetime_inexact": _A_DATE,
}


def _in_plain_words(error: dict[str, Any], model: type[BaseModel]) -> Fault:
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
    expected = _EXPECTATIONS.get(kind, error["msg"].lower()).format(**context)
    return Fault(place, f"is {_shown(error['input'])}", expected)


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


def _disagreements(study: Study) -> Iterator[Fault]:
    """Settings that are each possible but do not fit together."""
    for name, site in study.sites.items():
        yield from _profile_faults(name, site.profile, study)
        yield from _limit_faults(site.limits, f"sites.{name}.limits")
    yield from _limit_faults(study.limits, "limits")
    sided = {name for role, spec in study.marker_roles.items() if spec.sided for name in (role, spec.landmark)}
    for setting in ("heel_role", "forefoot_role", "toe_role"):
        if (role := getattr(study.processing, setting)) not in sided:
            yield Fault(f"processing.{setting}", f"is {role!r}", "a marker role with sides, from marker_roles")
    for landmark, roles in declared_twice(study):
        yield Fault(
            "marker_roles", f"declares {' and '.join(roles)} to be the {landmark}", "one role for each landmark"
        )


def _profile_faults(name: str, profile: SiteProfile, study: Study) -> Iterator[Fault]:
    place = f"sites.{name}.profile"
    if profile.site != name:
        yield Fault(place, f"is the profile of site {profile.site!r}", f"the profile of site {name!r}")
    known = study.roles_with_side()
    for role in profile.markers:
        if role not in known:
            yield Fault(f"{place}: markers.{role}", "is not a marker of the study", _role_hint(role, known))
    for role in study.roles_with_side(required_only=True):
        if role not in profile.markers:
            yield Fault(f"{place}: markers.{role}", "is missing", "the lab's label, since the study requires it")
    labels = list(profile.markers.values())
    for label in sorted({label for label in labels if labels.count(label) > 1}):
        yield Fault(f"{place}: markers", f"gives label {label!r} to {labels.count(label)} roles", "one role each")
    if profile.plate_types and profile.force_rate_hz is None:
        yield Fault(f"{place}: force_rate_hz", "is missing", "a rate, since the profile names force plates")


def _role_hint(role: str, known: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(role, known, n=1)
    return f"perhaps {near[0]}" if near else "a role of marker_roles, with _left or _right where it has sides"


def _limit_faults(limits: Mapping[str, Mapping[str, object]], place: str) -> Iterator[Fault]:
    """Names of checks and thresholds that do not exist. place: where in the study file they stand."""
    checks = catalogue() if limits else {}
    for name, thresholds in limits.items():
        if name not in checks:
            near = difflib.get_close_matches(name, checks, n=1)
            expected = f"perhaps {near[0]}" if near else "the name of a check, from docs/reference/checks"
            yield Fault(f"{place}.{name}", "is not a check", expected)
            continue
        for threshold in thresholds:
            if threshold not in (known := checks[name].limits):
                near = difflib.get_close_matches(threshold, known, n=1)
                expected = f"one of {', '.join(known)}" if known else "none; this check has no thresholds"
                hint = f"perhaps {near[0]}" if near else expected
                yield Fault(f"{place}.{name}.{threshold}", "is not a threshold of this check", hint)
