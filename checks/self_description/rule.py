"""What a rule is: statements that a file makes more than once, and what follows where they do not agree.

The rules themselves are in ``c3d_rules``, ``plate_rules`` and ``name_rules``; the checks that turn them into findings
in ``agreement``. A rule looks at facts that the reader hands over and at nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from checks.registry import Weight
from schemas.self_description import SelfDescription


@dataclass(frozen=True)
class Contradiction:
    """One disagreement. said: a sentence without full stop that gives both values; place: where in the file."""

    said: str
    weight: Weight
    place: str


@dataclass(frozen=True)
class Said:
    """What a rule's function yields: the sentence, and whether values are wrong or may be."""

    sentence: str
    changes_values: bool


@dataclass(frozen=True)
class Rule:
    """statements: the places that say the same thing. returns, noted: when a trial goes back, and when it is only told.

    An empty ``returns`` or ``noted`` says that this never happens.
    """

    place: str
    statements: tuple[str, ...]
    returns: str
    noted: str
    look: Callable[[SelfDescription], Iterable[Said]]

    def contradictions(self, description: SelfDescription) -> Iterator[Contradiction]:
        """What does not agree in one file."""
        for said in self.look(description):
            yield Contradiction(said.sentence, Weight.RETURNS if said.changes_values else Weight.NOTES, self.place)


def wrong(sentence: str) -> Said:
    """Values are wrong, or nobody can know which of two is right."""
    return Said(sentence, True)


def untidy(sentence: str) -> Said:
    """The values are known all the same."""
    return Said(sentence, False)
