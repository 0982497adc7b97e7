"""How the reading of one trial file ended, before any judgement."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from schemas.self_description import SecondFileSays

Problem = Literal["missing", "malformed", "crashed", "too_slow", "too_large", "unsupported"]


@dataclass(frozen=True)
class Identifying:
    """A place in a file or delivery whose text may identify a person: where and of what kind, never the text."""

    kind: str
    file: str | None = None
    place: str | None = None
    participant_id: str | None = None
    session_id: str | None = None
    trial_id: str | None = None


@dataclass(frozen=True)
class Held:
    """A text that fits no closed vocabulary, so that a person must look at it before it is stored in the open or shown.

    file: the payload file it stands in, or is the name of. table, row: the cell's row in a delivery table, where it is
    one, with its column.
    """

    text: str = field(repr=False)
    file: str
    place: str
    table: str | None = None
    row: int | None = None
    column: str | None = None


@dataclass(frozen=True)
class Reading:
    """``problem`` is None for a file that was read; ``detail`` is a plain sentence without full stop.

    identifying: texts in the trial's files that may identify somebody. copy_of: another trial whose recording this is,
    resampled or rescaled, as a message may name it. shaped: whether it was compared with others.
    """

    trial_id: str
    file: str
    problem: Problem | None = None
    detail: str = ""
    identifying: tuple[Identifying, ...] = ()
    copy_of: str | None = None
    shaped: bool = False


@dataclass(frozen=True)
class ChannelFacts:
    """What the rows of ``channels.csv`` for one trial led to, its second file included.

    named_count: rows. missing: labels that are in neither file. unit_conflicts: (label, unit of the row, unit of the
    file). clock_problem: why the second file's clock could not be matched, a sentence without full stop; None if it
    was, or if there is no second file. clock_events: then kind -> moments of it in the trial's file and in the second
    one, s. clock_event_count: events the match rests on. second: what the second file says
    of itself. labels: of the channels that the rows name. unexplained: channels of the files that are no plate's and that
    no row names, so that they may hold any signal.
    """

    named_count: int
    missing: tuple[str, ...] = ()
    unit_conflicts: tuple[tuple[str, str, str], ...] = ()
    second_file: str | None = None
    clock_problem: str | None = None
    clock_event_count: int = 0
    clock_events: tuple[tuple[str, tuple[float, ...], tuple[float, ...]], ...] = ()
    second: SecondFileSays | None = None
    labels: tuple[str, ...] = ()
    unexplained: int = 0
