"""What a column can tell of a person, and whose the rows of a table are: the part of a definition that protects people.

Only the words and their meaning live here. What is asked of a runner's consent row by row is in ``schemas.consent``;
the definitions themselves say of each table and column what applies.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Privacy(StrEnum):
    """What a column can tell of a person; what may leave, be shown or be told follows from it."""

    PLAIN = "plain"
    SENSITIVE = "sensitive"
    HEALTH = "health"
    QUASI = "quasi"
    IDENTIFIES = "identifies"
    CLOSED = "closed"  # nobody has said: treated like the most protective


PLAIN, SENSITIVE, QUASI, IDENTIFIES = Privacy.PLAIN, Privacy.SENSITIVE, Privacy.QUASI, Privacy.IDENTIFIES
HEALTH = Privacy.HEALTH

PRIVACY_MEANING = {
    Privacy.PLAIN: "Tells nothing of a person.",
    Privacy.SENSITIVE: "Tells something of a person once it is known who it is: a result, an answer, a message.",
    Privacy.HEALTH: "Tells of a runner's health; no scope of consent covers that, so that it is in no release.",
    Privacy.QUASI: "Together with others of its kind it can tell who somebody is; a release tells it as declared.",
    Privacy.IDENTIFIES: "May tell by itself who somebody is; of these only the study's own codes are in a release.",
    Privacy.CLOSED: "Not declared, and treated as if it identified somebody: in no release, repeated in no message.",
}


@dataclass(frozen=True)
class Told:
    """That a release may tell a quasi column of a runner, with others of its kind, where enough runners share them.

    bands: widths of the bands it is told in if it is a number, the narrowest first; the study file may name others.
    """

    bands: tuple[float, ...] = ()


#: What leads to a runner: the column of that name.
RUNNER, SESSION, TRIAL = WAYS = ("participant_id", "session_id", "trial_id")
#: The scope without which nothing of a runner may be in the depot.
POOLING = "pooling"
#: What a runner withdraws who withdraws altogether.
EVERY_SCOPE = "all"


@dataclass(frozen=True)
class Rows:
    """Whose a table's rows are, and what the runner must have agreed to for them.

    by: the column that leads to the runner, one of ``WAYS``; None if the rows belong to nobody. scopes: what must have
    been given and not withdrawn on the row's day, beside pooling, which always must. day: the column with the study day
    or the week of the change-over that a row is from. A row by session or trial is from the session's day; a row that
    has no day at all must be covered by everything that is known. follows: the row only says who or when others are,
    so it is covered where something that may lead to it is.
    """

    by: str | None
    scopes: tuple[str, ...] = ()
    day: str | None = None
    follows: bool = False

    @property
    def needs(self) -> frozenset[str]:
        """Every scope that must be in force."""
        return frozenset() if self.by is None else frozenset({*self.scopes, POOLING})

    @property
    def fault(self) -> str | None:
        """Why this cannot be; None if it can."""
        if self.by is not None and self.by not in WAYS:
            return f"rows lead to a runner by one of {', '.join(WAYS)}, not by {self.by!r}"
        if (self.by is None or self.follows) and (self.scopes or self.day):
            return "rows of nobody and rows that follow others have neither scopes nor a day of their own"
        if self.by is None and self.follows:
            return "rows of nobody follow no others"
        return "rows by session or trial are from the session's day" if self.day and self.by != RUNNER else None


#: Rows that belong to no runner.
NOBODYS = Rows(None)
