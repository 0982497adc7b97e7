"""The table of ``outcome_uncertainties`` of one trial: which part is worked out where, put together."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pipelines.science.equipment.doubt import Doubt, doubt_of, doubt_without_force
from pipelines.science.equipment.moved import Moves, together
from pipelines.science.equipment.off import Worth, by_events, by_markers
from pipelines.science.equipment.uncertainty import (
    FOOTFALLS_AGAIN,
    by_force,
    first_footfalls,
    joined,
    uncertainty_rows,
    with_filter,
    with_lost_time,
    with_mass,
)
from pipelines.science.footfalls import footfall_rows, roles_of_footfalls
from pipelines.science.frames import Rows
from pipelines.science.joints.doubt import joint_parts
from pipelines.science.whole_trial import MADE_OF
from schemas.equipment import OUTCOME_UNCERTAINTIES
from schemas.trial import FloatArray

if TYPE_CHECKING:
    from pipelines.science.workspace import Workspace


def outcome_uncertainties(work: Workspace) -> Rows:
    """Rows of ``outcome_uncertainties`` less provenance, found on the first footfalls; none without a footfall."""
    count = min(FOOTFALLS_AGAIN, len(work.footfalls))
    if not count:
        return Rows.of(OUTCOME_UNCERTAINTIES, [])
    if work.signals.has_force:
        doubt = doubt_of(work.plate_readings, work.equipment_readings, work.trial.marker_rate_hz)
        found = with_lost_time(_worth_of_plates(work, doubt), work.footfalls)
    else:
        residual = float(work.clock["residual_s"] or 0.0) if work.clock is not None else 0.0
        doubt = doubt_without_force(str(work.signals.method), work.processing, residual)
        found = _worth_of_events(work, count, doubt)
    first = work.footfalls.first(count)
    markers = {"markers": by_markers(work.trial, work.signals, first, doubt)}
    of_joints = joint_parts(work.joints, first, doubt, found.events)
    parts = joined(with_mass(found, first, doubt).parts, markers, of_joints)
    of_trial, counts = _worth_in_trial(work, parts)
    return uncertainty_rows(work.trial.trial_id, count, joined(parts, of_trial), counts)


def _worth_in_trial(work: Workspace, parts: dict[str, Moves]) -> tuple[dict[str, Moves], dict[str, int]]:
    """What scatter is worth in what the trial says as a whole, and the equipment in the loads of a kilometre.

    What is alike in all footfalls is in proportion in a load; of the sides' difference it is no part, and of scatter it
    is not known how much is noise. Also the footfalls that each rests on.
    """
    known = {name: own for name, own in work.whole_trial.items() if math.isfinite(own.value) and own.count}
    found: dict[str, Moves] = {}
    means = {one: _mean(work, one) for factors in MADE_OF.values() for one in factors}
    for part, moves in parts.items():
        shares = {
            name: together(moves.get(one, math.nan) / means[one] for one in factors)
            for name, factors in MADE_OF.items()
            if name in known
        }
        found[part] = {name: known[name].value * share for name, share in shares.items()}
    found["scatter"] = {name: own.off for name, own in known.items()}
    return found, {name: own.count for name, own in known.items()}


def _mean(work: Workspace, outcome: str) -> float:
    """Mean over the trial's footfalls of an outcome, named as in ``outcome_uncertainties``."""
    *apart, column = outcome.split("/")
    rows = work.footfall_joints if apart else work.footfalls
    values = rows.numbers(column)
    if apart:
        of_joint = zip(*(rows.columns[name] for name in ("joint", "plane", "angle_against")), strict=True)
        values = values[[list(one) == apart for one in of_joint]]
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else math.nan


def _worth_of_plates(work: Workspace, doubt: Doubt) -> Worth:
    part = first_footfalls(work.corrected, work.footfalls, roles_of_footfalls(work.processing))
    plain = work.as_it_is(part)
    found = by_force(part, plain.footfalls, doubt, lambda trial: work.as_it_is(trial, smooth=plain.smooth).footfalls)
    cutoff = work.processing.event_cutoff_hz
    if cutoff is None:
        return found
    sharper = work.processing.model_copy(update={"event_cutoff_hz": 2 * cutoff})
    return with_filter(found, plain.footfalls, work.as_it_is(part, sharper, smooth=plain.smooth).footfalls)


def _worth_of_events(work: Workspace, count: int, doubt: Doubt) -> Worth:
    speed, still = work.speed_m_per_s, np.zeros(count)

    def moved(contact_late_s: FloatArray, toe_off_late_s: FloatArray) -> Rows:
        return footfall_rows(work.signals.first(count, contact_late_s, toe_off_late_s), work.posture, speed)

    return by_events(moved(still, still), moved, doubt.events)
