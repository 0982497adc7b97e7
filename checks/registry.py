"""The catalogue of checks: how one is declared, and what is refused at import.

A check takes what it looks at by parameter name (see ``checks.context``) and its thresholds as
keyword-only parameters, whose defaults are the defaults of the study. It returns ``looked(examined, faults)`` or
``nothing(reason)``. It never raises on bad data, prints, or changes its input.
That a fault tells every word the messages name is known only when there is one: ``checks.run`` sees to it, and the
planted fault of each check shows it.
"""

from __future__ import annotations

import inspect
import string
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from numbers import Real
from typing import Any

from checks.context import PARTS, shown_to, type_shown
from checks.context import Subject as Subject
from schemas.units import refusal_of_unit


class Weight(StrEnum):
    """How much a finding matters; meanings are in ``schemas.codes.WEIGHT``."""

    STOPS = "stops"
    WITHHOLDS = "withholds"
    RETURNS = "returns"
    NOTES = "notes"


@dataclass(frozen=True)
class Limit:
    """A threshold: its UCUM unit and where its default comes from ("common practice" if from nowhere better)."""

    unit: str
    source: str


#: One failing row: the values the message names (``words``), and where it is (some of ``PLACES``).
Fault = Mapping[str, Any]

#: What any fault may tell beside its words: where it is, whose it is, and a weight other than the check's.
PLACES = frozenset(
    {"file", "place", "moment_s", "signal", "shows", "trial_id", "session_id", "participant_id", "weight"}
)


@dataclass(frozen=True)
class Looked:
    """What a check saw. ``examined`` rows or samples; ``reason`` says why there was nothing to look at.

    evidence: of a check of a whole site, the answers to its expectations, met or not.
    """

    examined: int
    faults: tuple[Fault, ...] = ()
    reason: str | None = None
    evidence: tuple[Any, ...] = ()


def looked(examined: int, faults: Iterable[Fault] = (), evidence: Iterable[Any] = ()) -> Looked:
    """The check looked at ``examined`` rows or samples and found ``faults`` (none: it passes)."""
    return Looked(int(examined), tuple(faults), evidence=tuple(evidence))


def nothing(reason: str) -> Looked:
    """There was nothing to look at: the check is skipped, which is not a pass."""
    return Looked(0, (), reason)


@dataclass(frozen=True)
class CheckSpec:
    """A registered check.

    words: what its messages name beside its limits and the places in ``PLACES``, so what each of its faults must tell.
    needs: names of the things it looks at. defaults: of every limit.
    """

    name: str
    function: Callable[..., Looked]
    about: Subject
    topic: str
    weight: Weight
    seen: str
    expected: str
    remedy: str
    limits: Mapping[str, Limit]
    sentence: str
    why: str
    words: tuple[str, ...]
    needs: tuple[str, ...]
    defaults: Mapping[str, float]


class RegistrationError(ValueError):
    """A check is declared in a way that could not work; raised at import."""


_CHECKS: dict[str, CheckSpec] = {}


def check(
    *,
    about: Subject,
    weight: Weight,
    seen: str,
    expected: str,
    remedy: str,
    words: tuple[str, ...] = (),
    limits: Mapping[str, Limit] | None = None,
) -> Callable[[Callable[..., Looked]], Callable[..., Looked]]:
    """Register a check.

    ``seen``, ``expected`` and ``remedy`` are templates over ``words``, which each fault must tell, the places of
    ``PLACES`` and the limits. Raises RegistrationError naming everything that is wrong with the declaration.
    """

    def register(function: Callable[..., Looked]) -> Callable[..., Looked]:
        spec = _spec(function, about, weight, (seen, expected, remedy), words, dict(limits or {}))
        if wrong := [*_refusals(spec), *_named_twice(spec)]:
            raise RegistrationError(f"check {spec.name}: " + "; ".join(wrong))
        _CHECKS[spec.name] = spec
        return function

    return register


def _spec(
    function: Callable[..., Looked],
    about: Subject,
    weight: Weight,
    texts: tuple[str, str, str],
    words: tuple[str, ...],
    limits: dict[str, Limit],
) -> CheckSpec:
    sentence, _, why = (inspect.getdoc(function) or "").partition("\n\n")
    parameters = inspect.signature(function).parameters.values()
    return CheckSpec(
        function.__name__,
        function,
        about,
        function.__module__.partition(".")[2],
        weight,
        *texts,
        limits,
        " ".join(sentence.split()),
        why.strip(),
        words,
        tuple(p.name for p in parameters if p.kind is not inspect.Parameter.KEYWORD_ONLY),
        {p.name: p.default for p in parameters if p.kind is inspect.Parameter.KEYWORD_ONLY},
    )


def _named_twice(spec: CheckSpec) -> Iterable[str]:
    known = _CHECKS.get(spec.name)
    if known is not None and _place(known) != _place(spec):
        yield f"{known.function.__module__} has a check of the same name"


def _refusals(spec: CheckSpec) -> Iterator[str]:
    """Each thing that is wrong with a declaration, as a clause."""
    if not isinstance(spec.weight, Weight):
        yield f"weight {spec.weight!r} is none of {', '.join(Weight)}"
    if not isinstance(spec.about, Subject):
        yield f"subject {spec.about!r} is none of {', '.join(Subject)}"
    yield from _text_refusals(spec)
    yield from _parameter_refusals(spec)
    yield from _limit_refusals(spec)
    yield from _message_refusals(spec)


def _text_refusals(spec: CheckSpec) -> Iterator[str]:
    if not spec.sentence.endswith("."):
        yield "the docstring begins with a sentence that says what must be true"
    if not spec.why.endswith("."):
        yield "the docstring says why after an empty line, in sentences"


def _parameter_refusals(spec: CheckSpec) -> Iterator[str]:
    parameters = inspect.signature(spec.function).parameters
    for parameter in parameters.values():
        if parameter.kind in (inspect.Parameter.VAR_POSITIONAL, inspect.Parameter.VAR_KEYWORD):
            yield f"parameter {parameter.name} takes what nobody named"
    shown_to_it = shown_to(spec.about) if isinstance(spec.about, Subject) else frozenset(spec.needs)
    if unknown := sorted(set(spec.needs) - shown_to_it):
        yield f"a check about a {spec.about} is shown {', '.join(sorted(shown_to_it))}, not {', '.join(unknown)}"
    for name in spec.needs:
        if name in PARTS and (stated := str(parameters[name].annotation)) != (shown := type_shown(name)):
            yield f"parameter {name} is stated as {stated} and shown as {shown}"


def _limit_refusals(spec: CheckSpec) -> Iterator[str]:
    if set(spec.defaults) != set(spec.limits):
        yield f"limits {sorted(spec.limits)} and keyword-only parameters {sorted(spec.defaults)} differ"
    for name, limit in spec.limits.items():
        if (why := refusal_of_unit(limit.unit)) is not None:
            yield f"limit {name}: {why}"
        if not limit.source.strip():
            yield f"limit {name} has no source ('common practice' is one)"
        if not isinstance(spec.defaults.get(name, 0), Real):
            yield f"limit {name} has no number as its default"


def _message_refusals(spec: CheckSpec) -> Iterator[str]:
    named: set[str] = set()
    for part in ("seen", "expected", "remedy"):
        text = getattr(spec, part)
        try:
            named |= {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
        except ValueError as error:
            yield f"{part} is a broken template: {error}"
        if not text.strip().endswith("."):
            yield f"{part} is not a sentence with a full stop"
    known = PLACES | set(spec.limits) | set(spec.words)
    if unknown := sorted(named - known):
        yield f"its messages name {', '.join(map(repr, unknown))}: no word of the check, limit or place"
    if unused := sorted(set(spec.words) - named):
        yield f"no message names {', '.join(unused)}"
    if twice := sorted(set(spec.words) & (PLACES | set(spec.limits))):
        yield f"{', '.join(twice)} is a limit or a place already"


def catalogue() -> dict[str, CheckSpec]:
    """All checks by name, in order of module and line; importing the modules is what registers them."""
    _import_all()
    return dict(sorted(_CHECKS.items(), key=lambda item: _place(item[1])))


@cache
def _import_all() -> None:
    """Once in a process: it means looking into every folder."""
    import importlib
    import pkgutil

    import checks

    for module in pkgutil.walk_packages(checks.__path__, "checks."):
        importlib.import_module(module.name)


def _place(spec: CheckSpec) -> tuple[str, int]:
    """Where a check is written: the same order whatever was imported first."""
    return spec.function.__module__, spec.function.__code__.co_firstlineno
