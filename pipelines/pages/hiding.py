"""Takes the ids of withheld trials out of sentences, so that no page can name one."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Row = TypeVar("Row", bound="DataclassInstance")
Hidden = set[tuple[str, str]]  # (site, trial)
_HIDDEN = "(a withheld trial)"
#: Findings that may be shown: none of a withheld trial, but for the places inside a file that its laboratory must mend,
#: without the trial, as long as that is what became of it.
FINDINGS_SHOWN = """FROM (
    SELECT * REPLACE (
        CASE WHEN weight = 'withholds' THEN NULL ELSE trial_id END AS trial_id,
        CASE WHEN weight = 'withholds' THEN 'a recording that is kept apart' ELSE file END AS file
    )
    FROM findings
    WHERE weight <> 'withholds' OR (
        check_name = 'trial_files_identify_nobody' AND (delivery_id, trial_id) IN (
            SELECT (delivery_id, trial_id) FROM standings WHERE standing = 'withheld' AND NOT superseded
        )
    )
)"""


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
