"""What a command asks for: taken from its options, else asked at a terminal, else refused by name."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pipelines.errors import Unusable

Answer = TypeVar("Answer")
#: Asks one question and returns the answer, as typed.
Ask = Callable[[str], str]
_ATTEMPTS = 3


@dataclass(frozen=True)
class Question(Generic[Answer]):
    """One question. read: what is typed as what is meant; raises ValueError with a sentence for what cannot be used."""

    option: str
    words: str
    read: Callable[[str], Answer]

    def answer(self, given: str | None, ask: Ask | None) -> Answer:
        """What was given, else what is asked for, up to three times. Raises Unusable."""
        if given is not None:
            try:
                return self.read(given)
            except ValueError as wrong:
                raise Unusable(str(wrong), self.words + ".", f"Correct {self.option}.") from None
        assert ask is not None
        fault = ""
        for _ in range(_ATTEMPTS):
            try:
                return self.read(ask(f"{fault} {self.words}" if fault else self.words).strip())
            except ValueError as wrong:
                fault = str(wrong)
        raise Unusable(fault, self.words + ".", f"Give it with {self.option}.")


def refuse_missing(asked: Iterable[tuple[Question[Any], str | None]], ask: Ask | None) -> None:
    """Raises Unusable with all that was not given, if there is nobody to ask."""
    missing = [f"{question.option} ({question.words})" for question, given in asked if given is None]
    if missing and ask is None:
        raise Unusable(
            f"Not given: {'; '.join(missing)}.",
            "these options, since there is no terminal to ask at.",
            "Give them with the command.",
        )
