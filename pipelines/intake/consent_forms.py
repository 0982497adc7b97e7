"""Versions of the consent form in consents.csv that nobody can understand: emptied and told, so that nothing is given.

Which versions are understood is in ``schemas.consent_forms``; what an emptied one means for the runner, in
``schemas.consent_history``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from schemas.consent_forms import expected_version, is_plain_version, is_understood
from schemas.consent_history import FORM, WITHDRAWN
from schemas.delivery import SENT_CONSENTS
from schemas.received import Problem, plain_rows

if TYPE_CHECKING:
    import pandas as pd

_FILE = str(SENT_CONSENTS.file_name)


def with_forms(problems: Iterable[Problem], forms: Collection[str]) -> Iterator[Problem]:
    """The problems of consents.csv; of a version that is empty or no text it is told which versions there are."""
    for problem in problems:
        of_form = problem.kind == "cell" and str(problem.place).endswith(f"column {FORM}")
        yield replace(problem, expected=expected_version(forms)) if of_form else problem


def forms_not_understood(
    consents: pd.DataFrame, lines: Sequence[int], forms: Collection[str]
) -> tuple[pd.DataFrame, list[Problem]]:
    """``sent_consents`` with each version emptied that is not understood, and a problem of kind "cell" for each.

    lines: of each row in its file. forms: versions that the study names. A withdrawal counts whatever version it names.
    What stood in the cell is not repeated unless it is a plain version: it may be anything, a name too.
    """
    typed, problems = consents.copy(), []
    for row, (line, cells) in enumerate(zip(lines, plain_rows(consents), strict=True)):
        version = cells[FORM]
        if version is None or cells["event"] == WITHDRAWN or is_understood(version, forms):
            continue
        typed.loc[row, FORM] = None
        held = f"version {version.strip()}, which the study does not name"
        seen = f"{FORM} holds {held if is_plain_version(version) else 'words that are no version of the form'}"
        place = f"line {line}, column {FORM}"
        runner = cells["participant_id"]
        problems.append(Problem("cell", seen, expected_version(forms), _FILE, place, participant_id=runner, row=row))
    return typed, problems
