"""Breathing gas known again when it is sent under another code: a few values in a row, as a text for a keyed hash.

Recordings are known again by their bytes; rows of a table have none of their own. Five samples of oxygen and carbon
dioxide in a row, told to 10 mL/min, are unlike those of anybody else: among all bouts of the demonstration no two of
different runners share even two in a row (``tests/pipelines/consent/test_gas_prints.py``). Minutes by week are not of
that kind: of its 86 stretches of five weeks 12 are shared, by up to 11 of 18 runners. What is kept of a runner's prints
is with the withdrawals in the books.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from schemas.privacy import SESSION
from schemas.received import plain_rows

if TYPE_CHECKING:
    import pandas as pd

#: Samples in a row that make one print, and the step they are told in, in mL/min.
SAMPLES, _STEP = 5, 10.0
#: Of so many prints in a row one is kept at least (winnowing: Schleimer, Wilkerson and Aiken 2003, SIGMOD).
_ONE_OF = 4
_BOUT = (SESSION, "condition", "bout")
_GAS = ("oxygen_uptake_ml_per_min", "carbon_dioxide_output_ml_per_min")


def prints(rows: Iterable[Mapping[str, object]]) -> dict[str, list[list[str]]]:
    """Session -> its bouts -> every print of the bout, in order of time. rows: of ``sent_breaths``, cells or values."""
    bouts: dict[tuple[str, ...], list[tuple[float, str]]] = defaultdict(list)
    for row in rows:
        at, oxygen, dioxide = (_number(row.get(name)) for name in ("elapsed_s", *_GAS))
        if at is not None and oxygen is not None and dioxide is not None:
            told = f"{round(oxygen / _STEP)} {round(dioxide / _STEP)}"
            bouts[tuple(str(row.get(name)) for name in _BOUT)].append((at, told))
    found: dict[str, list[list[str]]] = defaultdict(list)
    for bout, samples in bouts.items():
        told_of = [sample for _, sample in sorted(samples)]
        found[bout[0]].append([f"gas {'|'.join(told_of[i : i + SAMPLES])}" for i in range(len(told_of) - SAMPLES + 1)])
    return dict(found)


def to_keep(bout: list[str]) -> set[str]:
    """Some prints of a bout, chosen so that any stretch of the same samples that is not too short holds one of them."""
    order = [hashlib.sha256(one.encode()).digest() for one in bout]
    starts = range(max(1, len(bout) - _ONE_OF + 1))
    return {bout[min(range(i, min(i + _ONE_OF, len(bout))), key=order.__getitem__)] for i in starts if bout}


def prints_of_table(breaths: pd.DataFrame) -> dict[str, set[str]]:
    """Session -> every print of a table with the columns of ``sent_breaths``."""
    return {session: {one for bout in bouts for one in bout} for session, bouts in prints(plain_rows(breaths)).items()}


def _number(value: object) -> float | None:
    try:
        number = float(str(value))
    except ValueError:
        return None
    return number if abs(number) < 1e6 else None
