"""Which codes of runners are so alike that one may be a slip of the pen for the other. Pure.

What follows from it for consent is in ``schemas.consent`` and ``pipelines.depot.consents``; whether two spellings are the
same code is in ``schemas.consent_history``.
"""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from schemas.consent_history import ANYBODY, GIVEN, NOT_UNDERSTOOD, spelled
from schemas.received import ConsentEvent

#: Letters that are read for others: signs that look like a digit, and letters of other writings that look like a Latin
#: one (from memory).
_LOOKS_LIKE = str.maketrans("oil|\u0430\u0432\u0435\u043a\u043c\u043d\u043e\u0440\u0441\u0442\u0443\u0445\u0455\u0456\u03bf\u03b1",
                            "0111" "abekmh0pctyxs10a")  # fmt: skip
#: Codes shorter than this differ by one sign from every other.
_LEAST = 3
#: Longer ones are compared as a whole alone, since a sender may make them as long as a sender likes.
_MOST = 64


def skeleton(code: str) -> str:
    """A code without case, spaces and signs, with what looks alike made alike: "FS-O1", "fs 01" and "FS01" are one."""
    plain = unicodedata.normalize("NFKC", code).casefold()
    return "".join(c for c in plain if c.isalnum()).translate(_LOOKS_LIKE)


@dataclass(frozen=True)
class NearMiss:
    """A code that is nobody's and nearly that of a runner. sure: they differ in signs alone, not in a letter or digit."""

    code: str
    runner: str
    sure: bool


class Runners:
    """The runners that are known, asked which of them a code may mean."""

    def __init__(self, known: Iterable[str]) -> None:
        self._known = frozenset(known)
        self._spelled = {spelled(runner) for runner in self._known}
        self._alike: dict[str, set[str]] = defaultdict(set)
        self._shorter: dict[str, set[str]] = defaultdict(set)
        for runner in self._known:
            own = skeleton(runner)
            self._alike[own].add(runner)
            for form in _one_less(own):
                self._shorter[form].add(runner)

    def has(self, code: str) -> bool:
        """Whether a code is a runner's, in whatever case."""
        return spelled(code) in self._spelled

    def meant_by(self, code: str) -> tuple[NearMiss, ...]:
        """Runners whose code this may be; none if it is a runner's, in whatever case."""
        if not code.strip() or self.has(code):
            return ()
        own = skeleton(code)
        if sure := self._alike.get(own):
            return tuple(NearMiss(code, runner, sure=True) for runner in sorted(sure))
        near = {runner for form in _one_less(own) for runner in self._shorter.get(form, ())}
        near = near or self._ending_with(own)
        return tuple(NearMiss(code, runner, sure=False) for runner in sorted(near))

    def _ending_with(self, own: str) -> set[str]:
        """The one runner whose code ends so, as people write "03" for "FS-03"; none if there are several."""
        if not any(c.isdigit() for c in own) or len(own) > _MOST:
            return set()
        found = {runner for form, runners in self._alike.items() if form.endswith(own) for runner in runners}
        return found if len(found) == 1 else set()


def _one_less(form: str) -> Iterator[str]:
    """A form itself and with one sign left out: two that share one differ by one sign added, lost, changed or moved."""
    if _LEAST <= len(form) <= _MOST:
        yield form
        yield from (form[:i] + form[i + 1 :] for i in range(len(form)))


def that_may_concern(
    told: Iterable[ConsentEvent], runners: Runners, wanted: Collection[str] | None = None
) -> set[ConsentEvent]:
    """Events against consent under codes that are nobody's, as events of the runners they may be about.

    A code that differs in a letter or digit and under which consent was given, too, is taken for that of a runner who is
    still to come. wanted: only of these runners; None: of all.
    """
    told = list(told)
    given = {spelled(code) for code, _, event, _ in told if event == GIVEN}
    found: set[ConsentEvent] = set()
    for code, scope, event, day in told:
        if event == GIVEN or code == ANYBODY:
            continue
        for near in runners.meant_by(code):
            if (near.sure or spelled(code) not in given) and (wanted is None or near.runner in wanted):
                found.add((near.runner, scope, NOT_UNDERSTOOD, day))
    return found
