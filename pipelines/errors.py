"""The one exception for input a person can mend: it says what was seen, what was expected and what to do."""

from __future__ import annotations

import errno


class Unusable(Exception):
    """Input that cannot be used as it is. The command line prints it and ends with code 2."""

    def __init__(self, seen: str, expected: str, remedy: str, *, file: object = None, place: str | None = None) -> None:
        self.seen, self.expected, self.remedy = _harmless(seen), _harmless(expected), _harmless(remedy)
        self.file = _harmless(str(file)) if file is not None else None
        self.place = _harmless(place) if place is not None else None
        where = ", ".join(part for part in (self.file, self.place) if part)
        start = f"{where}: " if where else ""
        super().__init__(f"{start}{self.seen} Expected: {self.expected} What to do: {self.remedy}")


def _harmless(text: str) -> str:
    """What a hostile file says of itself must not turn the line round or steer the terminal that shows it."""
    return "".join(c if c.isprintable() or c == "\n" else "?" for c in text)


def is_disk_full(error: BaseException) -> bool:
    """Whether the system refused since there is no room, or no more may be used: to try again at once is pointless."""
    return isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT)


def disk_full(error: OSError) -> Unusable:
    """What a person is told of a full disk."""
    return Unusable(
        "The disk is full.",
        "room for what the run writes.",
        "Make room, then run again: what was finished counts, nothing is half-written, and the next run goes on there.",
        file=error.filename,
    )
