"""Whether forces would fit the feet better if one thing about the recording were undone: plates that stand for one
another, markers that were mirrored.

Every other check sees a consequence of such a fault and advises to mend that. Here the fault is taken back, and only
where force and feet then agree to centimetres, and in no other way, is it named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from checks import showing as show
from checks.force import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.equipment.places import exchanged
from pipelines.science.gait.spells import Foot, contact_spells, rate_of
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.trial import FORWARD, RIGHT, FloatArray, Plate, Trial

#: Common practice: the centre of pressure is uncertain by centimetres below it.
SURE_N = 200.0
#: Own choice: so many times nearer than as recorded, and than any other change makes it.
NEARER = 2.0


@dataclass(frozen=True)
class Undone:
    """One fault taken back. what: the fault; mend: what to do about it; sentence parts without full stop."""

    what: str
    mend: str
    place: str
    off_m: float
    plates: Sequence[Plate]
    foot: Foot


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{what}: as recorded the centre of pressure lies {as_is_m:.2f} m away from the foot that stands there, and "
    "{then_m:.3f} m with that taken back, in the middle of the contacts that are furthest off.",
    expected="Force lies under the feet as it was recorded, within {beyond_m:g} m of the line from heel to toes.",
    remedy="{mend}, and export again. Change nothing else because of what else is said of force and feet here.",
    words=("what", "as_is_m", "then_m", "mend"),
    limits={
        "beyond_m": Limit("m", "own choice: as for the centre of pressure under the foot"),
        "fits_m": Limit("m", "own choice: half a foot's width; 0.01 m in one real runner"),
    },
)
def force_fits_no_better_elsewhere(
    trial: Trial, work: Workspace, *, beyond_m: float = 0.06, fits_m: float = 0.04
) -> Looked:
    """No other order of the plates, and no mirror, makes force and feet fit together better.

    An exchange of two plates, or one axis turned round in the export, is seen by a dozen checks as wrong corners, wrong
    polarity and exchanged labels; correcting any of these spoils what was right.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    foot, rate = work.carrying_foot, rate_of(trial)
    as_is = _off(trial.plates, foot, rate) if foot is not None else None
    if foot is None or as_is is None:
        return nothing("no plate and foot to compare: no whole contact, or no foot markers")
    if as_is <= beyond_m:
        return looked(len(trial.plates))
    ways = sorted(_ways(trial, work, foot), key=lambda way: way.off_m)
    if not ways or ways[0].off_m > min(fits_m, as_is / NEARER):
        return looked(len(trial.plates))
    if len(ways) > 1 and ways[1].off_m < NEARER * ways[0].off_m:
        return looked(len(trial.plates))  # two ways fit: none of them is shown to be the fault
    best = ways[0]
    fault: dict[str, Any] = {
        "what": best.what,
        "mend": best.mend,
        "place": best.place,
    }
    at, panels = _typical(trial.plates, foot, rate), []
    for how, told, plates, own in (
        ("as recorded", "as_is_m", trial.plates, foot),
        ("with that taken back", "then_m", best.plates, best.foot),
    ):
        plate = max(plates, key=lambda own: float(signals.vertical(own)[at]))  # the one that carries the foot
        panels.append(shown.centre_and_foot(plates, plate, own, at, beyond_m, f"Centre of pressure and foot, {how}"))
        fault[told] = panels[-1].numbers[0]
    return looked(len(trial.plates), [{**fault, "moment_s": at / rate, "shows": show.picture(*panels)}])


def _typical(plates: Sequence[Plate], foot: Foot, rate_hz: float) -> int:
    """The sample at which the plate whose force is furthest from the foot is about as far from it as usual."""
    found: list[tuple[float, int]] = []
    for plate in plates:
        loaded = [i for a, b in contact_spells(plate, rate_hz, SURE_N) for i in range(a, b)]
        away = _beside(signals.centre_of_pressure(plate)[loaded], foot.heel[loaded], foot.toe[loaded])
        if np.isfinite(away).any():
            middle = float(np.nanmedian(away))
            found.append((middle, loaded[int(np.nanargmin(np.abs(away - middle)))]))
    return max(found)[1]


def _ways(trial: Trial, work: Workspace, foot: Foot) -> Iterator[Undone]:
    """Every fault that can be taken back in this trial, with how far force and foot are then apart."""
    rate = rate_of(trial)
    for one, other in combinations(range(len(trial.plates)), 2):
        plates = list(trial.plates)
        plates[one], plates[other] = exchanged(plates[one], plates[other])
        off = _off(plates, foot, rate)
        if off is not None:
            names = f"plate {trial.plates[one].number} and plate {trial.plates[other].number}"
            yield Undone(
                f"The signals of {names} stand for one another",
                "Compare the order of the plates in FORCE_PLATFORM:CHANNEL with that in FORCE_PLATFORM:CORNERS, bring "
                "one of them into the order of the other",
                names.replace(" and ", ", "),
                off,
                plates,
                foot,
            )
    if work.anatomy.facing.sides_are_turned:
        for axis, way in ((FORWARD, "running direction"), (RIGHT, "direction to the right")):
            off = _off(trial.plates, _mirrored(foot, axis), rate)
            if off is not None:
                yield Undone(
                    f"The markers were mirrored along the {way}, and the force plates were not",
                    "Give the axis its sign back in the export of the markers, change no label",
                    "axes",
                    off,
                    trial.plates,
                    _mirrored(foot, axis),
                )


def _mirrored(foot: Foot, axis: int) -> Foot:
    signs = np.array([-1.0 if axis == FORWARD else 1.0, -1.0 if axis == RIGHT else 1.0])
    return replace(foot, heel=foot.heel * signs, toe=foot.toe * signs)


def _off(plates: Sequence[Plate], foot: Foot, rate_hz: float) -> float | None:
    """How far the centre of pressure is from the carrying foot, m: mean over plates of the median under load."""
    found = []
    for plate in plates:
        spells = contact_spells(plate, rate_hz, SURE_N)
        if not spells:
            continue
        loaded = np.concatenate([np.arange(a, b) for a, b in spells])
        away = _beside(signals.centre_of_pressure(plate)[loaded], foot.heel[loaded], foot.toe[loaded])
        away = away[np.isfinite(away)]
        if len(away):
            found.append(float(np.median(away)))
    return float(np.mean(found)) if found else None


def _beside(point: FloatArray, heel: FloatArray, toe: FloatArray) -> FloatArray:
    """(n,) m from each point to the line from heel to toe marker and 0.4 of it beyond, where the toes end."""
    along = toe - heel
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-6)
    unit = along / length[:, None]
    from_heel = point - heel
    forward = np.einsum("ij,ij->i", from_heel, unit)
    aside = from_heel[:, 1] * unit[:, 0] - from_heel[:, 0] * unit[:, 1]
    return np.asarray(np.hypot(np.maximum(0.0, np.maximum(-forward, forward - 1.4 * length)), aside))
