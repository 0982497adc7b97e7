"""What a person mending a fault should be warned of; shown only beside the faults it belongs to. Common practice."""

from __future__ import annotations

_MASS = (
    "Do not change a body mass until the force fits it. Weigh again, or look for the cause at the plate. If the runner "
    "has truly lost or gained that much, tell the person who looks after the runners' health; it is not only a matter "
    "for a table."
)
_LABELS = (
    "Put labels right in the recording software and export again. Coordinates changed by hand can no longer be traced "
    "to the recording."
)
_FORCE = (
    "Correct force only where it is exported, for the whole recording and every channel alike, and say so in the "
    "trial's comment. A plate that drifts needs its calibration checked before the next runner."
)
_GAPS = "Fill a gap only if the marker was hidden briefly, and do not invent the shape of a long one."
_CONSENT = "Never send consent forms, names or dates with a delivery."

_ABOUT = {
    "mean_vertical_force_is_body_weight": _MASS,
    "session_mass_is_near_enrolment_mass": _MASS,
    "required_markers_are_labelled": _LABELS,
    "markers_keep_their_distance": _LABELS,
    "left_and_right_are_on_their_sides": _LABELS,
    "sides_alternate": _LABELS,
    "markers_move_without_jumps": _LABELS,
    "plates_read_zero_unloaded": _FORCE,
    "vertical_force_points_up": _FORCE,
    "force_stays_below_full_scale": _FORCE,
    "centre_of_pressure_lies_on_the_plate": _FORCE,
    "marker_gaps_are_short": _GAPS,
    "consent_covers_the_trial": _CONSENT,
}

RECORDING_AGAIN = (
    "If the trial can only be corrected by recording it again: more running in this footwear counts towards the "
    "runner's week of the change-over, and a runner who reports pain is not asked to repeat it."
)


def caution(check_name: str) -> str | None:
    """The warning that belongs to a check's faults, if there is one."""
    return _ABOUT.get(check_name)
