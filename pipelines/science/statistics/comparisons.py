"""Comparisons: which rows of ``runner_contrasts`` belong together, and in what order they count. No model here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from schemas.processing import ContrastProcessing
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import pandas as pd

WHO = ("participant_id", "site", "visit")
SPEED = "set_speed_m_per_s"
METHOD = "event_method"
COMPARED = ("outcome", "visit", "at_speed", METHOD, "condition", "reference_condition")
_SEVERAL = "several"
_OWN_SPEED = "own speed"
#: Methods of finding events in the order in which they are believed; some outcomes need none.
METHODS = ("none", "force", "sensor", "markers")


def at_speeds(contrasts: pd.DataFrame, settings: ContrastProcessing) -> pd.DataFrame:
    """The rows with ``at_speed``; where speeds are the runners' own, only of runners who have one."""
    if settings.speeds == "own":
        several = contrasts.groupby([*WHO, "outcome"], observed=True)[SPEED].transform("nunique") > 1
        return contrasts[~several].assign(at_speed=_OWN_SPEED)
    return contrasts.assign(at_speed=[f"{speed:.1f} m/s" for speed in contrasts[SPEED]])


def with_several(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows, and once more those of comparisons that sites tell by different methods: of each site the one that is
    believed most, all of them marked."""
    import pandas as pd

    if rows.empty:
        return rows
    same = [name for name in COMPARED if name != METHOD]
    rank = rows[METHOD].astype(str).map(METHODS.index)
    best = rank == rank.groupby([rows[name].astype(str) for name in (*same, "site")]).transform("min")
    kept = rows[best]
    differ = kept.groupby([kept[name].astype(str) for name in same])[METHOD].transform("nunique") > 1
    return pd.concat([rows.astype({METHOD: object}), kept[differ].assign(**{METHOD: _SEVERAL})], ignore_index=True)


@dataclass(frozen=True)
class Group:
    """What a method takes of some rows of ``runner_contrasts``, (n,) each."""

    runners: NDArray[Any]
    sites: NDArray[Any]
    means: FloatArray
    reference_means: FloatArray
    differences: FloatArray


def groups(contrasts: pd.DataFrame, keys: Sequence[str]) -> Iterator[tuple[tuple[str, ...], Group]]:
    """The rows of each key in sorted order, as arrays: a data frame for each would cost more than the statistics."""
    if contrasts.empty:
        return
    ordered = contrasts.sort_values(list(keys), kind="stable")
    named = ("participant_id", "site")
    texts = {name: ordered[name].astype(str).to_numpy(object) for name in dict.fromkeys((*keys, *named))}
    numbers = [ordered[name].to_numpy(float) for name in ("condition_mean_value", "reference_mean_value")]
    differences = ordered["difference_value"].to_numpy(float)
    new = np.zeros(len(ordered) - 1, bool)
    for name in keys:
        new |= texts[name][1:] != texts[name][:-1]
    ends = [0, *(np.flatnonzero(new) + 1).tolist(), len(ordered)]
    for start, end in pairwise(ends):
        rows = slice(start, end)
        arrays = (*(texts[name][rows] for name in named), *(column[rows] for column in numbers), differences[rows])
        yield tuple(texts[name][start] for name in keys), Group(*arrays)


def why_no_interval(group: Group, settings: ContrastProcessing) -> str | None:
    """Why the differences of a group of runners have no standard error; None if they have."""
    if len(group.differences) < settings.fewest_runners:
        return f"{len(group.differences)} of at least {settings.fewest_runners} runners"
    largest = max(np.abs(group.means).max(), np.abs(group.reference_means).max())
    # equal differences can differ in the last digit of the means they come from
    return None if group.differences.std() > 1e-12 * largest else "the runners' differences do not vary"
