"""Takes withheld trials out of what is shown, and their ids out of sentences, so that no page can name one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

from pipelines.pages.words import as_read

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    from pipelines.pages.facts import Finding, Standing

Row = TypeVar("Row", bound="DataclassInstance")
Hidden = set[tuple[str, str]]  # (site, trial)
_HIDDEN, _APART = "(a withheld trial)", "a recording that is kept apart"
#: The one check whose findings withhold a trial and are shown: its laboratory must mend the file.
_TO_MEND = "trial_files_identify_nobody"
_FIRST = ("stops", "returns")


def standings_shown(rows: Iterable[Standing], hidden: Hidden) -> tuple[Standing, ...]:
    """Standings, a withheld trial's without the trial."""
    names = names_hidden(hidden)
    return tuple(
        replace(row, trial_id=None, participant_id=None, study_day=None, resend_reason=None)
        if (row.site, row.trial_id) in hidden or row.standing == "withheld"
        else without(row, names.get(row.site), ("resend_reason",))
        for row in rows
    )


def findings_shown(rows: Iterable[Finding], withheld: set[tuple[str, str]], hidden: Hidden) -> tuple[Finding, ...]:
    """Findings that may be shown, in the order in which they are.

    None is of a withheld trial, but for the places inside a file that its laboratory must mend, without the trial, as
    long as that is what became of it. withheld: (delivery, trial).
    """
    names = names_hidden(hidden)
    listed = [
        replace(row, seen=as_read(row.seen), expected=as_read(row.expected))
        for found in _less_withheld(rows, withheld)
        if (found.site, found.trial_id) not in hidden
        for row in [without(found, names.get(found.site or ""), ("file", "place", "seen", "expected", "remedy"))]
    ]
    return tuple(sorted(listed, key=_order))


def _less_withheld(rows: Iterable[Finding], withheld: set[tuple[str, str]]) -> Iterator[Finding]:
    for row in rows:
        if row.weight != "withholds":
            yield row
        elif row.check_name == _TO_MEND and (row.delivery_id, row.trial_id) in withheld:
            yield replace(row, trial_id=None, file=_APART)


def _order(row: Finding) -> tuple[Any, ...]:
    rank = _FIRST.index(row.weight) if row.weight in _FIRST else len(_FIRST)
    file, place = ((text is None, text or "") for text in (row.file, row.place))
    return rank, row.check_name, file, (row.moment_s is None, row.moment_s or 0.0), place, row.finding_id


def names_hidden(hidden: Hidden) -> dict[str, re.Pattern[str] | None]:
    """Site -> what to look for in its sentences; None if no hidden id could be told from a number."""
    return {site: _any_of(trial for s, trial in hidden if s == site) for site in {s for s, _ in hidden}}


def _any_of(trials: Iterable[str]) -> re.Pattern[str] | None:
    telling = sorted(trial for trial in trials if not trial.isdigit())  # a bare number would hide measured values too
    return re.compile(rf"(?<![\w-])({'|'.join(map(re.escape, telling))})(?![\w-])") if telling else None


def without(row: Row, name: re.Pattern[str] | None, texts: Iterable[str]) -> Row:
    """The row with hidden ids taken out of the columns ``texts``."""
    if name is None:
        return row
    values: dict[str, Any] = {column: getattr(row, column) for column in texts}
    return replace(row, **{c: name.sub(_HIDDEN, v) for c, v in values.items() if isinstance(v, str)})
