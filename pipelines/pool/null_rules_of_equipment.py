"""Why what equipment showed, what that is worth in outcomes, or a reference is null. Form of rules: ``null_rules``."""

from __future__ import annotations

from pipelines.pool.null_rules import Explained, Rules, listed
from schemas.catalogue import TABLES
from schemas.equipment import ALL_PLATES, CAMERAS, CLUSTER, SECOND_CLOCK
from schemas.outcomes_of_trials import OF_SIDES, OF_SPREAD, TOGETHER


def _of(devices: str) -> Rules:
    """The rule that other devices than those of a condition in SQL do not have it."""
    return (("other_device", f"NOT {devices}"),)


_PLATE = _of("starts_with(device, 'plate_')")
_UNLOADED: Rules = (*_PLATE, ("never_unloaded", "unloaded_samples IS NULL"))
_LEVELS = ("level_n", "level_fore_aft_n", "level_sideways_n", "level_nm", "level_change_n", "level_was_taken_off")
_CLOCK = ("clock_offset_s", "clock_drift_ppm", "clock_drift_error_ppm", "clock_residual_s")
_SAME_IN_ALL: Rules = (("same_in_all", f"outcome IN ({listed((*OF_SIDES, *OF_SPREAD))})"),)
_WITHOUT_FORCE: Rules = (("without_plates", "event_method <> 'force'"),)

OF_EQUIPMENT = (
    Explained(
        TABLES["equipment_readings"],
        """
SELECT e.*, o.trial_id IS NOT NULL AND o.mass_from_force_kg IS NULL AS without_contacts, r.leg_length_m
FROM equipment_readings e JOIN trials t USING (trial_id) JOIN runners r ON r.participant_id = t.participant_id
LEFT JOIN trial_outcomes o ON o.trial_id = e.trial_id
""",
        (
            (("unloaded_samples", *_LEVELS, "noise_n"), _UNLOADED),
            (("dead_band_n",), (*_UNLOADED, ("no_dead_band", "true"))),
            (("vibration_n", "vibration_hz", "vibration_nm"), (*_PLATE, ("not_under_load", "true"))),
            (
                ("scale_ratio",),
                (*_of(f"device = '{ALL_PLATES}'"), ("few_contacts", "without_contacts"), ("no_mass", "true")),
            ),
            (("lag_s", "lag_uncertainty_s"), (*_of(f"device = '{ALL_PLATES}'"), ("no_lag_told", "true"))),
            (("misfit_m",), (*_of(f"starts_with(device, '{CLUSTER}')"), ("marker_hidden", "true"))),
            (
                ("marker_scale_ratio",),
                (
                    *_of(f"device = '{CAMERAS}'"),
                    ("no_leg_length", "leg_length_m IS NULL"),
                    ("marker_hidden", "true"),
                ),
            ),
            (_CLOCK, (*_of(f"device = '{SECOND_CLOCK}'"), ("not_matched", "clock_offset_s IS NULL"))),
        ),
        ("device",),
    ),
    Explained(
        TABLES["outcome_uncertainties"],
        """
SELECT u.*, m.event_method FROM outcome_uncertainties u
LEFT JOIN (SELECT trial_id, any_value(event_method) AS event_method FROM footfalls GROUP BY trial_id) m USING (trial_id)
""",
        (
            (("from_level_value", "from_noise_value", "from_scale_value"), (*_SAME_IN_ALL, *_WITHOUT_FORCE)),
            (("from_lag_value",), (*_SAME_IN_ALL, ("one_clock", "event_method <> 'force'"))),
            (("from_events_value",), (*_SAME_IN_ALL, ("events_in_force", "event_method = 'force'"))),
            (("from_markers_value",), (*_SAME_IN_ALL, ("without_markers", "true"))),
            (
                ("from_scatter_value",),
                (
                    ("not_of_one_footfall", f"outcome NOT IN ({listed(field.name for field in TOGETHER)})"),
                    ("few_footfalls", "true"),
                ),
            ),
        ),
        ("outcome",),
    ),
    Explained(
        TABLES["muscle_references"],
        "SELECT * FROM muscle_references",
        (
            (("reference_uv",), (("gain_unknown", "reference_recorded_uv IS NOT NULL"),)),
            (("reference_recorded_uv",), (("gain_known", "reference_uv IS NOT NULL"),)),
        ),
        ("muscle", "side"),
    ),
)
