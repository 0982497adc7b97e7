"""What a check is shown: the context of one subject, and by which name and of which type a check takes each part of it.

A check takes what it looks at by parameter name. ``PARTS`` holds for each name a typed function and the subjects that
have it; declaring a check compares the parameter's annotation with what that function returns, so what mypy sees in the
check is what it gets.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, TypeVar

from schemas.consent import Consent
from schemas.covered import as_covered
from schemas.reading import ChannelFacts, Reading
from schemas.received import Received
from schemas.study import Study
from schemas.trial import Posture, Trial

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.science.frames import Rows
    from pipelines.science.workspace import Workspace


class Subject(StrEnum):
    """What a check is about; it is run once for each."""

    DELIVERY = "delivery"  # the bag and its tables
    READING = "reading"  # one trial file, readable or not
    TRIAL = "trial"  # one trial in memory, with its footfalls
    SITE = "site"  # all outcomes of one site against the others


T = TypeVar("T")
Pool = Mapping[str, "pd.DataFrame"]


@dataclass(frozen=True)
class Context:
    """All that is known of one subject. What does not apply to a subject is None.

    delivery: as far as consent covers it. arrived: all of it, for what tells no value of a row. work: the trial and
    what is worked out from it. outcomes: the pooled tables that checks of whole sites look at.
    """

    study: Study
    delivery_id: str
    site: str | None = None
    delivery: Received | None = None
    arrived: Received | None = None
    consent: Consent | None = None
    reading: Reading | None = None
    work: Workspace | None = None
    channels: ChannelFacts | None = None
    outcomes: Pool | None = None

    @property
    def trial(self) -> Trial | None:
        """The trial, where the subject is one."""
        return self.work.trial if self.work is not None else None

    @property
    def footfalls(self) -> Rows | None:
        """Its footfalls."""
        return self.work.footfalls if self.work is not None else None

    @property
    def posture(self) -> Posture | None:
        """The standing posture it is judged with."""
        return self.work.posture if self.work is not None else None


def of_delivery(study: Study, delivery_id: str, consent: Consent) -> Context:
    """What checks of a delivery are shown: findings are made only from rows that consent covers."""
    whole = consent.received
    return Context(study, delivery_id, whole.site, delivery=as_covered(consent), arrived=whole, consent=consent)


class NotShownError(Exception):
    """A check asks for what a context of its subject should hold and does not."""


def _there(part: T | None, name: str) -> T:
    if part is None:
        raise NotShownError(f"the context holds no {name}")
    return part


def _study(context: Context) -> Study:
    return context.study


def _delivery_id(context: Context) -> str:
    return context.delivery_id


def _site(context: Context) -> str:
    return _there(context.site, "site")


def _delivery(context: Context) -> Received:
    return _there(context.delivery, "delivery")


def _arrived(context: Context) -> Received:
    return _there(context.arrived, "delivery as it arrived")


def _consent(context: Context) -> Consent:
    return _there(context.consent, "consent")


def _reading(context: Context) -> Reading:
    return _there(context.reading, "reading")


def _work(context: Context) -> Workspace:
    return _there(context.work, "trial")


def _trial(context: Context) -> Trial:
    return _work(context).trial


def _footfalls(context: Context) -> Rows:
    return _work(context).footfalls


def _posture(context: Context) -> Posture | None:
    return _work(context).posture


def _channels(context: Context) -> ChannelFacts | None:
    return context.channels


def _outcomes(context: Context) -> Pool:
    return _there(context.outcomes, "pooled outcomes")


@dataclass(frozen=True)
class Part:
    """One part of a context. access: its annotation is the type a check must state; of: the subjects that have it."""

    access: Callable[[Context], Any]
    of: frozenset[Subject]


_OF_EVERY = frozenset(Subject)
_OF_DELIVERY, _OF_TRIAL = frozenset({Subject.DELIVERY}), frozenset({Subject.TRIAL})
#: Parameter name -> what it is.
PARTS: Mapping[str, Part] = {
    "study": Part(_study, _OF_EVERY),
    "delivery_id": Part(_delivery_id, _OF_EVERY),
    "site": Part(_site, _OF_EVERY),
    "delivery": Part(_delivery, _OF_DELIVERY),
    "arrived": Part(_arrived, _OF_DELIVERY),
    "consent": Part(_consent, _OF_DELIVERY),
    "reading": Part(_reading, frozenset({Subject.READING, Subject.TRIAL})),
    "work": Part(_work, _OF_TRIAL),
    "trial": Part(_trial, _OF_TRIAL),
    "footfalls": Part(_footfalls, _OF_TRIAL),
    "posture": Part(_posture, _OF_TRIAL),
    "channels": Part(_channels, _OF_TRIAL),
    "outcomes": Part(_outcomes, frozenset({Subject.SITE})),
}


def shown_to(subject: Subject) -> frozenset[str]:
    """The names by which a check about a subject takes what it looks at."""
    return frozenset(name for name, part in PARTS.items() if subject in part.of)


def type_shown(name: str) -> str:
    """The annotation that a parameter of this name has, as it is written. KeyError for a name that is not shown."""
    return str(PARTS[name].access.__annotations__["return"])
