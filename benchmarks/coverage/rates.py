"""How often intervals hold the truth, p is small and by how much estimates err: of rows whose true answer is known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.coverage.studies import truth

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Measured:
    """What one method did in one cell.

    studies: with an answer. coverage, type_1, power: shares, the last two not a number where no study is without
    effect; width: of the interval, in the unit of the studies; bias: mean error. stood_in, cautioned: shares of rows in
    which a simpler model stands in, or else a caution is told; untold: share of rows without either, and its coverage.
    by_interval: word of the column -> share of rows with it, and their coverage.
    """

    cell: str
    method: str
    studies: int
    without_answer: int
    coverage: float
    type_1: float
    power: float
    bias: float
    width: float
    stood_in: float = math.nan
    cautioned: float = math.nan
    untold: float = math.nan
    untold_coverage: float = math.nan
    by_interval: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def is_in_aim(self) -> bool:
        """Coverage within 0.93 to 0.97 and type I at most 0.06, as exactly as the number of studies tells.

        Also where no study has an answer.
        """
        if not self.studies:
            return True
        slack = 2 * float(np.sqrt(0.95 * 0.05 / self.studies))
        return 0.93 - slack <= self.coverage <= 0.97 + slack and not self.type_1 > 0.06 + 1.5 * slack


def measured(cell: str, method: str, rows: pd.DataFrame, studies: int) -> Measured:
    """What one method did in a cell. rows: its answers, outcomes being named as ``studies.truth`` takes them."""
    answered = rows.dropna(subset=["lower_limit_value"])
    true = answered["outcome"].astype(str).map(truth).to_numpy(float)
    lower, upper = (answered[name].to_numpy(float) for name in ("lower_limit_value", "upper_limit_value"))
    found = answered["two_sided_p_value"].to_numpy(float) < 0.05
    held = (lower <= true) & (true <= upper)
    errors = answered["estimate_value"].to_numpy(float) - true
    rates = (_mean(own) for own in (held, found[true == 0], found[true != 0], errors, upper - lower))
    return Measured(
        cell, method, len(answered), studies - len(answered), *rates, *_told(answered, held), _by(answered, held)
    )


def _mean(values: NDArray[Any]) -> float:
    return float(values.mean()) if len(values) else math.nan


def _by(answered: pd.DataFrame, held: NDArray[np.bool_]) -> dict[str, tuple[float, float]]:
    """Share and coverage of the rows with each word in ``interval``."""
    if "interval" not in answered.columns:
        return {}
    words = answered["interval"].astype(str).to_numpy()
    return {str(word): (float((words == word).mean()), _mean(held[words == word])) for word in np.unique(words)}


def _told(answered: pd.DataFrame, held: NDArray[np.bool_]) -> tuple[float, float, float, float]:
    """Of rows with an interval: shares with another model, with a caution alone, with neither; coverage of the last."""
    if not {"caution", "reason_simpler"} <= set(answered.columns) or answered.empty:
        return math.nan, math.nan, math.nan, math.nan
    other = answered["reason_simpler"].notna().to_numpy()
    warned = answered["caution"].notna().to_numpy() & ~other
    untold = ~other & ~warned
    return float(other.mean()), float(warned.mean()), float(untold.mean()), _mean(held[untold])
