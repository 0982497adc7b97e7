"""How well two methods of finding events agree: bias and limits of agreement (Bland & Altman 1986, Lancet i:307)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from pipelines.science.events.contacts import METHODS
from pipelines.science.events.from_force import SIDES, Contact
from pipelines.science.frames import Rows
from pipelines.science.signals.pairing import paired
from schemas.trial import FloatArray

#: Own choice: events of two methods further apart than this are not the same event (a step lasts about 0.35 s).
NEAREST_WITHIN_S = 0.1
#: Event -> where a contact tells it.
EVENTS = {"contact": "start_s", "toe_off": "end_s"}
SidedContacts = Sequence[tuple[str, Contact]]


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


def event_agreement(
    trial_id: str, by_method: Mapping[str, SidedContacts], clock_basis: str | None = None
) -> list[dict[str, Any]]:
    """Rows of ``event_agreement`` less provenance: every pair of methods, side and event that found anything.

    by_method: event method -> (side, contact) in order of time, from ``Contacts.by_method``. A row stands also where
    the two methods share no event (pair_count 0), so that one of them failing is seen. clock_basis: what the sensors'
    clock was matched by (``ClockFit.basis``); it is written to the rows that judge sensors or are judged by them.
    """
    rows = []
    for reference_method, method in combinations([m for m in METHODS if by_method.get(m)], 2):
        on_second_clock = "sensor" in (reference_method, method)
        for side in SIDES:
            judged = [c for s, c in by_method[method] if s == side]
            reference = [c for s, c in by_method[reference_method] if s == side]
            if not judged or not reference:
                continue
            for event, moment in EVENTS.items():
                one, other = (np.array([getattr(c, moment) for c in found]) for found in (judged, reference))
                places = paired(one, other, NEAREST_WITHIN_S)
                agreed = limits_of_agreement(one[places[:, 0]] - other[places[:, 1]])
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
                        "clock_basis": clock_basis if on_second_clock else None,
                    }
                )
    return rows


def footfall_events(footfalls: Rows, by_method: Mapping[str, SidedContacts]) -> list[dict[str, Any]]:
    """Rows of ``footfall_events`` less provenance: each footfall's events by every method but its own.

    footfalls: the table of one trial. by_method: as in ``event_agreement``. A method that shows neither event of a
    footfall has no row for it.
    """
    rows = []
    for method in METHODS:
        others = [row for row in footfalls.records if row["event_method"] != method]
        for side in SIDES:
            mine, found = (
                [r for r in others if r["side"] == side],
                [c for s, c in by_method.get(method, ()) if s == side],
            )
            differences: dict[str, dict[int, float]] = {}
            for event, moment in EVENTS.items():
                own = np.array([row[f"{event}_s"] for row in mine], float)
                times = np.array([getattr(c, moment) for c in found])
                places = paired(own, times, NEAREST_WITHIN_S)
                differences[event] = {int(i): float(times[j] - own[i]) for i, j in places}
            rows += [
                {
                    "trial_id": row["trial_id"],
                    "footfall_number": int(row["footfall_number"]),
                    "side": side,
                    "event_method": method,
                    "contact_difference_s": differences["contact"].get(i),
                    "toe_off_difference_s": differences["toe_off"].get(i),
                }
                for i, row in enumerate(mine)
                if i in differences["contact"] or i in differences["toe_off"]
            ]
    return sorted(rows, key=lambda row: (row["footfall_number"], METHODS.index(row["event_method"])))
