"""What a delivery must say of itself: taken from the options, else asked at a terminal, else refused by name."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from pipelines.errors import Unusable
from pipelines.identity import identifiers
from pipelines.identity.names import KnownNames
from schemas.study import Study

#: Asks one question and returns the answer, as typed.
Ask = Callable[[str], str]
_ATTEMPTS = 3


@dataclass(frozen=True)
class About:
    """The fields of bag-info.txt that a laboratory answers for. contact_role: a role, never a person."""

    site: str
    number: int
    contact_role: str


@dataclass(frozen=True)
class _Question:
    option: str
    words: str
    fault: Callable[[str], str | None]


def completed(
    study: Study, known: KnownNames, site: str | None, number: str | None, contact_role: str | None, ask: Ask | None
) -> About:
    """All fields, checked. ask: None where nobody can be asked. Raises Unusable for what is missing or wrong."""
    if site is None and len(study.sites) == 1:
        site = next(iter(study.sites))
    questions = (
        (_Question("--site", "Site (" + ", ".join(study.sites) + ")", lambda t: _site_fault(t, study)), site),
        (_Question("--number", "Delivery number (1 for your first, then one higher each time)", _number_fault), number),
        (
            _Question(
                "--contact-role",
                "Role of whom to ask, not a name (for example: site lead)",
                lambda text: _role_fault(text, known),
            ),
            contact_role,
        ),
    )
    missing = [f"{q.option} ({q.words})" for q, given in questions if given is None]
    if missing and ask is None:
        raise Unusable(
            f"Not given: {'; '.join(missing)}.",
            "these options, since there is no terminal to ask at.",
            "Give them with the command.",
        )
    answers = [_answer(question, given, ask) for question, given in questions]
    return About(answers[0], int(answers[1]), answers[2])


def _answer(question: _Question, given: str | None, ask: Ask | None) -> str:
    if given is not None:
        if fault := question.fault(given):
            raise Unusable(fault, question.words + ".", f"Correct {question.option}.")
        return given.strip()
    assert ask is not None
    text, fault = "", None
    for _ in range(_ATTEMPTS):
        text = ask(f"{fault} {question.words}" if fault else question.words).strip()
        if not (fault := question.fault(text)):
            return text
    raise Unusable(str(fault), question.words + ".", f"Give it with {question.option}.")


def _site_fault(text: str, study: Study) -> str | None:
    return None if text.strip() in study.sites else f"'{text}' is no site of the study."


def _number_fault(text: str) -> str | None:
    fits = re.fullmatch(r"[0-9]{1,6}", text.strip()) is not None and int(text) >= 1
    return None if fits else f"'{text}' is no delivery number."


def _role_fault(text: str, known: KnownNames) -> str | None:
    if not text.strip() or not text.isprintable() or ":" in text:
        return "The role is empty or holds more than plain words."
    if identifiers.surely(text, "", known):
        return "The role looks like a person's name or address, which must not travel."
    return None
