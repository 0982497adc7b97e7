"""How well two methods of finding events agree: bias and 95 % limits of agreement, Bland & Altman 1986, Lancet i:307."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from pipelines.outcomes.events import SIDES, Contact
from schemas.trial import FloatArray

#: Own choice: events of two methods further apart than this are not the same event (a step lasts about 0.35 s).
NEAREST_WITHIN_S = 0.1
#: The method first in this list is the reference of a pair: the nearer to the ground, the better.
METHODS = ("force", "sensor", "markers")


@dataclass(frozen=True)
class Agreement:
    """Limits of agreement of ``count`` differences. bias: their mean. limits: bias -/+ 1.96 standard deviations.

    ``sd`` has n - 1 in the denominator. Everything but the count is None without a pair, all but the bias with one.
    """

    count: int
    bias: float | None = None
    sd: float | None = None
    lower: float | None = None
    upper: float | None = None


def limits_of_agreement(differences: FloatArray | Sequence[float]) -> Agreement:
    """Bias and 95 % limits of agreement of differences (n,), judged less reference; not finite ones are left out."""
    known = np.asarray(differences, float)
    known = known[np.isfinite(known)]
    if len(known) < 2:
        return Agreement(len(known), float(known[0]) if len(known) else None)
    bias, sd = float(known.mean()), float(known.std(ddof=1))
    return Agreement(len(known), bias, sd, bias - 1.96 * sd, bias + 1.96 * sd)


def paired(
    judged_s: Sequence[float], reference_s: Sequence[float], within_s: float = NEAREST_WITHIN_S
) -> list[tuple[int, int]]:
    """Places of events that are each other's nearest and no more than ``within_s`` apart, in order of time.

    judged_s, reference_s: times in s, ascending. An event is in one pair at most; doubled ones stay without partner.
    """
    judged, reference = np.asarray(judged_s, float), np.asarray(reference_s, float)
    if len(judged) == 0 or len(reference) == 0:
        return []
    there, back = _nearest(judged, reference), _nearest(reference, judged)
    return [
        (i, int(j)) for i, j in enumerate(there) if back[j] == i and abs(judged[i] - reference[j]) <= within_s
    ]


def _nearest(times: FloatArray, among: FloatArray) -> np.ndarray:
    """Place in ``among``, ascending, of the value nearest to each of ``times``; the earlier one of two as near."""
    after = np.clip(np.searchsorted(among, times), 1, len(among) - 1) if len(among) > 1 else np.zeros(len(times), int)
    before = np.maximum(after - 1, 0)
    return np.where(np.abs(among[before] - times) <= np.abs(among[after] - times), before, after)


def event_agreement(trial_id: str, by_method: Mapping[str, Sequence[tuple[str, Contact]]]) -> list[dict[str, Any]]:
    """Rows of ``event_agreement`` less provenance: every pair of methods, side and event that found anything.

    by_method: event method -> (side, contact) in order of time, for example from ``contacts_by_method``. A row stands
    also where the two methods share no event (count 0), so that one of them failing is seen.
    """
    rows = []
    present = [method for method in METHODS if by_method.get(method)]
    for reference_method, method in combinations(present, 2):
        for side in SIDES:
            judged = [c for s, c in by_method[method] if s == side]
            reference = [c for s, c in by_method[reference_method] if s == side]
            if not judged or not reference:
                continue
            for event, moment in (("contact", "start_s"), ("toe_off", "end_s")):
                times = [getattr(c, moment) for c in judged], [getattr(c, moment) for c in reference]
                agreed = limits_of_agreement([times[0][i] - times[1][j] for i, j in paired(*times)])
                rows.append(
                    {
                        "trial_id": trial_id,
                        "side": side,
                        "event": event,
                        "event_method": method,
                        "reference_method": reference_method,
                        "pair_count": agreed.count,
                        "judged_count": len(judged),
                        "reference_count": len(reference),
                        "bias_s": agreed.bias,
                        "lower_limit_s": agreed.lower,
                        "upper_limit_s": agreed.upper,
                    }
                )
    return rows
