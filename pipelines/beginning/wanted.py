"""What is asked of somebody who begins a study: read from the words of options or of a terminal, and checked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import yaml

from pipelines.errors import Unusable
from pipelines.questions import Ask, Question, refuse_missing
from schemas.muscle_phases import SENIAM_KINDS

_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
_PREFIX = re.compile(r"[A-Z][A-Z0-9]{0,7}")
_A_NAME = "small letters, digits and underscores, beginning with a letter"


@dataclass(frozen=True)
class Named:
    """A word of the study file with what it means. week: of a visit."""

    name: str
    description: str = ""
    week: int = 0


@dataclass(frozen=True)
class Wanted:
    """A study that is to be begun. conditions: the first is the one others are compared with.

    prefix: of runners' codes, such as FS in FS-01. changed_to: conditions that runners change over to. force: whether
    any site has force plates. planned: runners at each site, in each visit and condition; None if it is not said.
    """

    title: str
    conditions: tuple[Named, ...]
    visits: tuple[Named, ...]
    sites: tuple[Named, ...]
    prefix: str
    muscles: tuple[str, ...] = ()
    changed_to: tuple[str, ...] = ()
    forms: tuple[str, ...] = ("1",)
    force: bool = True
    planned: int | None = None


@dataclass(frozen=True)
class Given:
    """The same as typed; None or empty where nothing was given. Names stand before an equals sign."""

    title: str | None = None
    conditions: Sequence[str] = ()
    visits: Sequence[str] = ()
    sites: Sequence[str] = ()
    prefix: str | None = None
    muscles: Sequence[str] = ()
    changed_to: Sequence[str] = ()
    forms: Sequence[str] = ()
    force: bool = True
    planned: int | None = None


def completed(given: Given, ask: Ask | None) -> Wanted:
    """What is wanted, whole. ask: None where nobody can be asked. Raises Unusable for what is missing or wrong."""
    title = Question("--title", "Title of the study", _title)
    conditions = Question(
        "--condition", "Conditions, the one to compare with first (such as cushioned, thin_soled, unshod)", _names
    )
    visits = Question("--visit", "Visits and their weeks (such as week_0=0, week_10=10)", _visits)
    sites = Question("--site", "Short names of the sites (such as brack, corrie)", _names)
    prefix = Question("--prefix", "What all codes of runners begin with (such as FS, for FS-01)", _prefix)
    typed: dict[Question[Any], str | None] = {
        title: given.title,
        conditions: _joined(given.conditions),
        visits: _joined(given.visits),
        sites: _joined(given.sites),
        prefix: given.prefix,
    }
    refuse_missing(typed.items(), ask)
    several = (lambda words: "\n".join(ask(words).split(","))) if ask is not None else None
    wanted = Wanted(
        title=title.answer(typed[title], ask),
        conditions=conditions.answer(typed[conditions], several),
        visits=visits.answer(typed[visits], several),
        sites=sites.answer(typed[sites], several),
        prefix=prefix.answer(typed[prefix], ask),
        muscles=tuple(_muscle(one) for one in given.muscles),
        changed_to=tuple(given.changed_to),
        forms=tuple(given.forms) or ("1",),
        force=given.force,
        planned=given.planned,
    )
    known = {one.name for one in wanted.conditions}
    if unknown := [name for name in wanted.changed_to if name not in known]:
        raise Unusable(
            f"--changes-to names {', '.join(unknown)}.", f"one of {', '.join(sorted(known))}.", "Correct --changes-to."
        )
    return wanted


def _joined(values: Sequence[str]) -> str | None:
    """Several options of one name as one text, a line for each."""
    return "\n".join(values) if values else None


def _title(text: str) -> str:
    plain = " ".join(text.split())
    if not plain or not plain.isprintable() or len(plain) > 200:
        raise ValueError("A title is one line of up to 200 characters.")
    return plain


def _prefix(text: str) -> str:
    plain = text.strip().rstrip("-")
    if not _PREFIX.fullmatch(plain):
        raise ValueError(f"{plain!r} is no prefix: capital letters and digits, beginning with a letter, up to eight.")
    return plain


def _parts(text: str) -> list[tuple[str, str]]:
    """Name and what stands behind its equals sign, of each line."""
    found = []
    for line in text.split("\n"):
        name, _, rest = (part.strip() for part in line.partition("="))
        if not _NAME.fullmatch(name) or yaml.safe_load(name) != name:  # YAML reads no, on and yes as truth values
            raise ValueError(f"{name!r} is no name: {_A_NAME}, and no word that YAML reads as a value.")
        if not rest.isprintable():
            raise ValueError(f"What is said of {name} holds characters that cannot be printed.")
        found.append((name, rest))
    names = [name for name, _ in found]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise ValueError(f"{', '.join(twice)} stands twice.")
    return found


def _names(text: str) -> tuple[Named, ...]:
    return tuple(Named(name, rest) for name, rest in _parts(text))


def _visits(text: str) -> tuple[Named, ...]:
    found = []
    for name, week in _parts(text):
        if not re.fullmatch(r"[0-9]{1,3}", week):
            raise ValueError(f"The visit {name} has {week!r} for its week: a whole number, as in {name}=0.")
        found.append(Named(name, week=int(week)))
    weeks = [visit.week for visit in found]
    if twice := sorted({week for week in weeks if weeks.count(week) > 1}):
        raise ValueError(f"Two visits are in week {twice[0]}: each has a week of its own.")
    return tuple(sorted(found, key=lambda visit: visit.week))


def _muscle(name: str) -> str:
    if name not in SENIAM_KINDS:
        expected = f"names as SENIAM writes them: {', '.join(SENIAM_KINDS)}."
        raise Unusable(f"--muscle says {name!r}.", expected, "Correct it; others can be added to the study file later.")
    return name
