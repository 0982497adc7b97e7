"""Whether the foot pushes off where its own front is: where plates lie along the way, as far as a body tells it."""

from __future__ import annotations

from typing import Any

import numpy as np

from checks.force import shown
from checks.force.and_feet import NOTHING, SURE_N, along_and_aside, compared, mean_near
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.gait.spells import contact_spells, rate_of
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.trial import Plate, Trial

#: Own choice: the heel is off the ground, and force is still so large that the point is sure to millimetres.
_SHARE = 0.8


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="On plate {number} the centre of pressure lies {found_m:.3f} m {where} the toe marker at 80 % of contact, "
    "{part:.2f} of the distance from heel to toe marker (median of {contacts} contacts).",
    expected="The foot pushes off with its front: there the point lies between {behind:g} of that distance behind the "
    "toe marker and {ahead:g} before it.",
    remedy="Lay a marker on a corner of the plate and compare: the plates may lie some centimetres elsewhere along the "
    "way than CORNERS says. If they do not, look whether the toe marker sits on the second metatarsal head.",
    words=("number", "found_m", "where", "part", "contacts"),
    limits={
        "behind": Limit("1", "own choice: 0.22 at most on eight plates of three real runners, 0.09 in simulated ones"),
        "ahead": Limit("1", "own choice: 0.03 behind at least on the same"),
    },
)
def foot_pushes_off_with_its_front(
    trial: Trial, work: Workspace, *, behind: float = 0.3, ahead: float = 0.12
) -> Looked:
    """Late in contact the load is under the front of the foot, however the foot landed.

    A plate that lies some centimetres elsewhere along the way moves strike index and joint moments, and neither leaves
    the foot's outline nor the plate. People differ here by a fifth of the foot, so that only more is reported.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for plate in trial.plates:
        found = _parts(work, plate)
        examined += len(found)
        part, along_m = np.median(found, axis=0) if len(found) else (0.0, 0.0)
        if not -behind <= part <= ahead:
            told = {"number": plate.number, "found_m": abs(along_m), "part": abs(part), "contacts": len(found)}
            faults.append(told | _where(trial, work, plate, float(part), (-behind, ahead)))
    return looked(examined, faults) if examined else nothing(NOTHING)


def _parts(work: Workspace, plate: Plate) -> np.ndarray:
    """(contacts, 2): how far before the toe marker, as a part of the distance from heel to toe marker, and in m."""
    if (both := compared(work, plate)) is None:
        return np.empty((0, 2))
    point, foot, spells = both
    along, _ = along_and_aside(point, foot)
    length = np.linalg.norm(foot.heel - foot.toe, axis=1)
    whole = [(a, b) for a, b in spells if a > 0 and b < len(along)]
    found = np.array([(mean_near(along / length, ab, _SHARE), mean_near(along, ab, _SHARE)) for ab in whole])
    return found[np.isfinite(found).all(axis=1)] if len(found) else np.empty((0, 2))


def _where(trial: Trial, work: Workspace, plate: Plate, part: float, limits: tuple[float, float]) -> dict[str, Any]:
    first, last = contact_spells(plate, rate_of(trial), SURE_N)[0]
    at = round(first + _SHARE * (last - first))
    both = compared(work, plate)
    assert both is not None, "parts were found in it"
    return {
        "where": "before" if part > 0 else "behind",
        "place": f"plate {plate.number}",
        "moment_s": at / rate_of(trial),
        "shows": shown.pushed_off(trial, plate, both[1], at, part, limits),
    }
