"""The table of ``outcome_uncertainties`` of one trial: which part is worked out where, put together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipelines.science.equipment.doubt import Doubt, doubt_of, doubt_without_force
from pipelines.science.equipment.off import Worth, by_events, by_markers
from pipelines.science.equipment.uncertainty import (
    FOOTFALLS_AGAIN,
    by_force,
    first_footfalls,
    joined,
    uncertainty_rows,
    with_lost_time,
    with_mass,
)
from pipelines.science.footfalls import footfall_rows, roles_of_footfalls
from pipelines.science.frames import Rows
from pipelines.science.joints.doubt import joint_parts
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
    return uncertainty_rows(
        work.trial.trial_id, count, joined(with_mass(found, first, doubt).parts, markers, of_joints)
    )


def _worth_of_plates(work: Workspace, doubt: Doubt) -> Worth:
    part = first_footfalls(work.corrected, work.footfalls, roles_of_footfalls(work.processing))
    plain = work.as_it_is(part)
    return by_force(part, plain.footfalls, doubt, lambda trial: work.as_it_is(trial, smooth=plain.smooth).footfalls)


def _worth_of_events(work: Workspace, count: int, doubt: Doubt) -> Worth:
    speed, still = work.speed_m_per_s, np.zeros(count)

    def moved(contact_late_s: FloatArray, toe_off_late_s: FloatArray) -> Rows:
        return footfall_rows(work.signals.first(count, contact_late_s, toe_off_late_s), work.posture, speed)

    return by_events(moved(still, still), moved, doubt.events)
