"""The catalogue of checks: how one is declared, and what is refused at import.

A check takes what it looks at by parameter name (see ``Context`` in ``checks.run``) and its thresholds as
keyword-only parameters, whose defaults are the defaults of the study. It returns ``looked(examined, faults)`` or
``nothing(reason)``. It never raises on bad data, prints, or changes its input.
"""

from __future__ import annotations

import inspect
import string
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class Subject(StrEnum):
    """What a check is about; it is run once for each."""

    DELIVERY = "delivery"  # the bag and its tables
    READING = "reading"  # one trial file, readable or not
    TRIAL = "trial"  # one trial in memory, with its footfalls
    SITE = "site"  # all outcomes of one site against the others


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


#: One failing row: the values the message names, and where it is (file, place, moment_s, signal, and the ids).
Fault = Mapping[str, Any]


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
    """A registered check."""

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

    @property
    def needs(self) -> tuple[str, ...]:
        """Names of the things it looks at."""
        kinds = inspect.signature(self.function).parameters.values()
        return tuple(p.name for p in kinds if p.kind is not inspect.Parameter.KEYWORD_ONLY)

    @property
    def defaults(self) -> dict[str, float]:
        """Default value of every limit."""
        parameters = inspect.signature(self.function).parameters
        return {name: parameters[name].default for name in self.limits}


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
    limits: Mapping[str, Limit] | None = None,
) -> Callable[[Callable[..., Looked]], Callable[..., Looked]]:
    """Register a check. ``seen``, ``expected`` and ``remedy`` are templates over a fault's values and the limits."""

    def register(function: Callable[..., Looked]) -> Callable[..., Looked]:
        spec = _spec(function, about, weight, (seen, expected, remedy), dict(limits or {}))
        known = _CHECKS.get(spec.name)
        if known and known.function.__module__ != function.__module__:
            raise RegistrationError(f"two checks are called {spec.name}")
        _CHECKS[spec.name] = spec
        return function

    return register


def _spec(
    function: Callable[..., Looked],
    about: Subject,
    weight: Weight,
    texts: tuple[str, str, str],
    limits: dict[str, Limit],
) -> CheckSpec:
    name = function.__name__
    doc = inspect.getdoc(function)
    if not doc:
        raise RegistrationError(f"check {name}: say in a docstring what must be true, and then why")
    keyword_only = {
        p.name for p in inspect.signature(function).parameters.values() if p.kind is inspect.Parameter.KEYWORD_ONLY
    }
    if keyword_only != set(limits):
        raise RegistrationError(
            f"check {name}: limits {sorted(limits)} and keyword-only parameters {sorted(keyword_only)} differ"
        )
    for text in texts:
        list(string.Formatter().parse(text))  # a broken template fails here, not on the first bad delivery
        if not text.strip().endswith("."):
            raise RegistrationError(f"check {name}: every part of the message is a sentence with a full stop")
    sentence, _, why = doc.partition("\n\n")
    topic = function.__module__.partition(".")[2]
    return CheckSpec(name, function, about, topic, weight, *texts, limits, " ".join(sentence.split()), why.strip())


def catalogue() -> dict[str, CheckSpec]:
    """All checks by name, in order of module and line; importing the modules is what registers them."""
    import importlib
    import pkgutil

    import checks

    for module in pkgutil.walk_packages(checks.__path__, "checks."):
        importlib.import_module(module.name)
    return dict(sorted(_CHECKS.items(), key=lambda item: _place(item[1])))


def _place(spec: CheckSpec) -> tuple[str, int]:
    """Where a check is written: the same order whatever was imported first."""
    return spec.function.__module__, spec.function.__code__.co_firstlineno
