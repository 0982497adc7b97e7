"""Comparisons: which rows of ``runner_contrasts`` belong together, and in what order they count. No model here."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from schemas.compared import speed_word
from schemas.processing import ContrastProcessing
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import pandas as pd

WHO = ("participant_id", "site", "visit")
SPEED = "set_speed_m_per_s"
METHOD = "event_method"
COMPARED = (
    "outcome",
    "contrast",
    "visit",
    "reference_visit",
    "at_speed",
    METHOD,
    "condition",
    "reference_condition",
)
#: What a plan says of a comparison.
ASKED = ("outcome", "contrast", "visit", "condition", "reference_condition")
#: ``ASKED`` of a comparison and its speed, in words; None for all speeds -> its family in the analysis plan.
Families = Mapping[tuple[str | None, ...], str]
#: Why a runner who was measured has no difference: reason in ``runner_contrasts`` -> count of such in the other tables.
LACKS = {
    "no_value": "lacking_value_count",
    "no_value_in_reference": "lacking_reference_count",
    "no_value_in_either": "lacking_both_count",
}
_SEVERAL = "several"
_OWN_SPEED = "own speed"
#: Methods of finding events in the order in which they are believed; some outcomes need none.
METHODS = ("none", "force", "sensor", "markers")


def at_speeds(contrasts: pd.DataFrame, settings: ContrastProcessing) -> pd.DataFrame:
    """The rows with ``at_speed``; where speeds are the runners' own, only of runners who have one."""
    import pandas as pd

    if settings.speeds == "own":
        several = contrasts.groupby([*WHO, "outcome"], observed=True)[SPEED].transform("nunique") > 1
        return contrasts[~several].assign(at_speed=_OWN_SPEED)
    codes, speeds = pd.factorize(contrasts[SPEED])
    words = pd.array([speed_word(speed) for speed in speeds], dtype="str")
    return contrasts.assign(at_speed=words.take(codes))


def with_several(rows: pd.DataFrame, runners: pd.Series[int]) -> pd.DataFrame:
    """The rows, and once more those of comparisons that sites tell by different methods: of each site the one by which
    most of its runners have a difference, of two with as many the one that is believed most, all of them marked.

    runners: with a difference in each row.
    """
    import pandas as pd

    if rows.empty:
        return rows
    same = [name for name in COMPARED if name != METHOD]
    at_site = [rows[name].astype(str) for name in (*same, "site")]
    rank = rows[METHOD].astype(str).map(METHODS.index)
    by_method = runners.groupby([*at_site, rank]).transform("sum")
    score = by_method - rank / len(METHODS)  # ranks are below the number of methods
    kept = rows[(by_method > 0) & (score == score.groupby(at_site).transform("max"))]
    differ = kept.groupby([kept[name].astype(str) for name in same])[METHOD].transform("nunique") > 1
    return pd.concat([rows.astype({METHOD: object}), kept[differ].assign(**{METHOD: _SEVERAL})], ignore_index=True)


@dataclass(frozen=True)
class Group:
    """What a method takes of some rows of ``runner_contrasts``: (n,) each of those with a difference.

    lacks: reason -> how many have none.
    """

    runners: NDArray[Any]
    sites: NDArray[Any]
    means: FloatArray
    reference_means: FloatArray
    differences: FloatArray
    lacks: Mapping[str, int]

    def counted(self) -> dict[str, int]:
        """How many were measured, and how many of them have no difference, as columns."""
        lacking = {column: self.lacks.get(reason, 0) for reason, column in LACKS.items()}
        return {"measured_count": len(self.differences) + sum(lacking.values()), **lacking}


def groups(contrasts: pd.DataFrame, keys: Sequence[str]) -> Iterator[tuple[tuple[str, ...], Group]]:
    """The rows of each key in sorted order, as arrays: a data frame for each would cost more than the statistics."""
    import pandas as pd

    if contrasts.empty:
        return
    named = ("participant_id", "site", "reason_null")
    codes, words = dict[str, NDArray[np.intp]](), dict[str, NDArray[Any]]()
    for name in dict.fromkeys((*keys, *named)):  # each word once: as many texts as rows would fill the memory
        codes[name], found = pd.factorize(contrasts[name], sort=True)
        words[name] = np.array([*map(str, found), None], object)  # the last is that of a null, -1
    order = np.lexsort([codes[name] for name in reversed(keys)])
    codes = {name: own[order] for name, own in codes.items()}
    means, references = (
        contrasts[name].to_numpy(float)[order] for name in ("condition_mean_value", "reference_mean_value")
    )
    differences = contrasts["difference_value"].to_numpy(float)[order]
    new = np.zeros(len(order) - 1, bool)
    for name in keys:
        new |= codes[name][1:] != codes[name][:-1]
    has = np.isfinite(differences)
    ends = [0, *(np.flatnonzero(new) + 1).tolist(), len(order)]
    for start, end in pairwise(ends):
        with_value = start + np.flatnonzero(has[start:end])
        without = codes["reason_null"][start:end][~has[start:end]]
        yield (
            tuple(words[name][codes[name][start]] for name in keys),
            Group(
                words["participant_id"][codes["participant_id"][with_value]],
                words["site"][codes["site"][with_value]],
                means[with_value],
                references[with_value],
                differences[with_value],
                Counter(words["reason_null"][without].tolist()),
            ),
        )


def why_no_interval(group: Group, settings: ContrastProcessing) -> str | None:
    """Why the differences of a group of runners have no standard error; None if they have."""
    if not len(group.differences):
        counts = group.counted()
        sides = f"{counts['lacking_value_count']} have it in the reference only"
        sides += f", {counts['lacking_reference_count']} on the compared side only"
        sides += f" and {counts['lacking_both_count']} on neither"
        return f"no runner has it on both sides: of {counts['measured_count']} measured, {sides}"
    if len(group.differences) < settings.fewest_runners:
        return f"{len(group.differences)} of at least {settings.fewest_runners} runners"
    largest = max(np.abs(group.means).max(), np.abs(group.reference_means).max())
    # equal differences can differ in the last digit of the means they come from
    return None if group.differences.std() > 1e-12 * largest else "the runners' differences do not vary"
