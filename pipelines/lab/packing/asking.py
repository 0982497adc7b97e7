"""What a delivery must say of itself: taken from the options, else asked at a terminal, else refused by name."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipelines.identity import identifiers
from pipelines.identity.names import KnownNames
from pipelines.questions import Ask, Question, refuse_missing
from schemas.study import Study


@dataclass(frozen=True)
class About:
    """The fields of bag-info.txt that a laboratory answers for. contact_role: a role, never a person."""

    site: str
    number: int
    contact_role: str


def completed(
    study: Study, known: KnownNames, site: str | None, number: str | None, contact_role: str | None, ask: Ask | None
) -> About:
    """All fields, checked. ask: None where nobody can be asked. Raises Unusable for what is missing or wrong."""
    if site is None and len(study.sites) == 1:
        site = next(iter(study.sites))
    questions = (
        (Question("--site", "Site (" + ", ".join(study.sites) + ")", lambda t: _site(t, study)), site),
        (Question("--number", "Delivery number (1 for your first, then one higher each time)", _number), number),
        (
            Question(
                "--contact-role",
                "Role of whom to ask, not a name (for example: site lead)",
                lambda text: _role(text, known),
            ),
            contact_role,
        ),
    )
    refuse_missing(questions, ask)
    answers = [question.answer(given, ask) for question, given in questions]
    return About(answers[0], int(answers[1]), answers[2])


def _site(text: str, study: Study) -> str:
    if text.strip() not in study.sites:
        raise ValueError(f"'{text}' is no site of the study.")
    return text.strip()


def _number(text: str) -> str:
    if re.fullmatch(r"[0-9]{1,6}", text.strip()) is None or int(text) < 1:
        raise ValueError(f"'{text}' is no delivery number.")
    return text.strip()


def _role(text: str, known: KnownNames) -> str:
    if not text.strip() or not text.isprintable() or ":" in text:
        raise ValueError("The role is empty or holds more than plain words.")
    if identifiers.surely(text, "", known):
        raise ValueError("The role looks like a person's name or address, which must not travel.")
    return text.strip()
