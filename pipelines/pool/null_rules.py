"""Why an outcome of a recording is null: the rules by which reasons are known. The SQL is in ``nulls``.

Each rule is looked for in the data, in order; the last of a column may stand for what its description leaves. A null
that no rule explains, or of a column without rules, is told as unexplained. Rules of other tables are in
``null_rules_of_equipment`` and ``null_rules_of_study``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipelines.pool.null_reasons import UNSURE_ONSETS
from schemas.catalogue import TABLES
from schemas.codes import ONSET_METHOD
from schemas.convert.to_duckdb import quote_text
from schemas.model import Table
from schemas.outcomes_of_trials import OF_SIDES, OF_SPREAD

Rules = tuple[tuple[str, str], ...]  # reason, SQL over the row

_FORCE: Rules = (("no_force", "event_method <> 'force'"),)
_STEP: Rules = (("last_footfall", "next_side IS NULL"), ("next_of_same_foot", "next_side = side"))
_FLIGHT: Rules = (*_STEP, ("no_flight", "flight_time_s IS NULL"))
_STRIDE: Rules = (("no_stride", "after_next_side IS DISTINCT FROM side OR next_side = side"),)
_SEEN: Rules = (("no_speed", "surface = 'treadmill'"), ("marker_hidden", "true"))
_POSTURE: Rules = (("no_standing_posture", "NOT has_standing_posture"),)
_PLANE = ("other_plane", "plane <> 'sagittal'")
_ANKLE: Rules = (_PLANE, ("other_joint", "joint <> 'ankle'"))
_LOADED: Rules = (
    *_FORCE,
    ("no_mass", "mass_used_kg IS NULL"),
    ("marker_hidden", "has_standing_posture AND angle_range_deg IS NULL"),
    ("signals_do_not_fit", "true"),
)
_FEW: Rules = (("few_footfalls", "true"),)
_NO_FORCE: Rules = (("no_force", "force_count = 0"),)
_FORCE_FEW: Rules = (*_NO_FORCE, *_FEW)
_LENGTH: Rules = (("no_step_length", "true"),)
_SIGNAL: Rules = (("signal_of_no_use", "signal_problem IS NOT NULL"),)
_UNIT: Rules = (*_SIGNAL, ("gain_not_known", "NOT gain_known"))
_REFERENCE: Rules = (*_SIGNAL, ("no_reference", "normalisation = 'none'"))
_GAP: Rules = (("signal_missing", "missing_fraction > 0"),)
_NONE = ("signal_of_no_use", "no_burst")
_BURST: Rules = tuple((name, f"onset_quality = {quote_text(name)}") for name in _NONE)
_ONSET: Rules = tuple((name, f"onset_quality = {quote_text(name)}") for name in (*_NONE, *UNSURE_ONSETS))
_DETECTORS = tuple(f"onset_by_{code.value}_s" for code in ONSET_METHOD)
_DETECTORS_BELOW_TWO = f"{' + '.join(f'({name} IS NOT NULL)::INTEGER' for name in _DETECTORS)} < 2"


def listed(words: Iterable[str]) -> str:
    """Words as the inside of an SQL list."""
    return ", ".join(map(quote_text, words))


@dataclass(frozen=True)
class Explained:
    """One table. source: its rows, with what rules need beside; rules: by columns; apart: what stands in an outcome's
    name before the column; key: what tells rows apart, beside the trial."""

    table: Table
    source: str
    rules: tuple[tuple[tuple[str, ...], Rules], ...]
    key: tuple[str, ...] = ()
    apart: tuple[str, ...] = ()
    compared: bool = False


_OF_FOOTFALLS = """
SELECT f.*, t.surface, r.leg_length_m, o.has_standing_posture,
  lead(f.side) OVER (PARTITION BY f.trial_id ORDER BY f.footfall_number) AS next_side,
  lead(f.side, 2) OVER (PARTITION BY f.trial_id ORDER BY f.footfall_number) AS after_next_side
FROM footfalls f JOIN trials t USING (trial_id) JOIN runners r ON r.participant_id = t.participant_id
LEFT JOIN trial_outcomes o ON o.trial_id = f.trial_id
"""
_OF_TRIALS = """
SELECT o.*, count(f.trial_id) AS force_count FROM trial_outcomes o
LEFT JOIN footfalls f ON f.trial_id = o.trial_id AND f.event_method = 'force' GROUP BY ALL
"""
_OF_JOINTS = """
SELECT j.*, f.event_method, o.has_standing_posture, o.mass_used_kg
FROM footfall_joints j JOIN footfalls f USING (trial_id, footfall_number)
LEFT JOIN trial_outcomes o ON o.trial_id = j.trial_id
"""
_OF_MUSCLE = "SELECT a.*, {} FROM {} a LEFT JOIN muscle_signals s USING (trial_id, muscle, side)"
_QUALITY = "s.signal_problem, s.gain_known, s.missing_fraction"
_OF_PAIRS = """
SELECT c.*, coalesce(s.signal_problem, o.signal_problem) AS signal_problem,
  greatest(s.missing_fraction, o.missing_fraction) AS missing_fraction FROM co_contractions c
LEFT JOIN muscle_signals s USING (trial_id, muscle, side)
LEFT JOIN muscle_signals o ON o.trial_id = c.trial_id AND o.muscle = c.opposing_muscle AND o.side = c.side
"""
_OF_SIGNALS = """
SELECT s.*, NOT EXISTS (SELECT 1 FROM muscle_bursts b WHERE b.trial_id = s.trial_id AND b.muscle = s.muscle
    AND b.side = s.side AND b.onset_by_threshold_s IS NOT NULL) AS without_burst,
  NOT EXISTS (SELECT 1 FROM muscle_amplitudes a WHERE a.trial_id = s.trial_id AND a.muscle = s.muscle
    AND a.side = s.side AND a.normalisation <> 'none') AS without_reference
FROM muscle_signals s
"""

OF_RECORDINGS = (
    Explained(
        TABLES["footfalls"],
        _OF_FOOTFALLS,
        (
            (
                (
                    "plate_count",
                    "active_peak_bw",
                    "active_peak_time_s",
                    "average_loading_rate_bw_per_s",
                    "instantaneous_loading_rate_bw_per_s",
                    "vertical_impulse_bw_s",
                    "braking_impulse_bw_s",
                    "propulsive_impulse_bw_s",
                    "net_fore_aft_impulse_bw_s",
                    "braking_peak_bw",
                    "propulsive_peak_bw",
                    "mean_vertical_force_bw",
                ),
                _FORCE,
            ),
            (
                ("impact_peak_bw", "impact_peak_time_s", "loading_rate_to_peak_bw_per_s"),
                (*_FORCE, ("no_impact_peak", "active_peak_bw IS NOT NULL")),
            ),
            (("tibial_acceleration_peak_in_g",), (("no_accelerometer", "true"),)),
            (
                ("effective_mass_fraction",),
                (*_FORCE, ("no_impact_peak", "impact_peak_bw IS NULL"), ("marker_hidden", "true")),
            ),
            (
                (
                    "centre_of_mass_fall_m",
                    "centre_of_mass_oscillation_m",
                    "measured_vertical_stiffness_kn_per_m",
                ),
                (*_FORCE, *_STRIDE),
            ),
            (("step_time_s", "cadence_step_per_min"), _STEP),
            (("flight_time_s", "vertical_stiffness_kn_per_m"), _FLIGHT),
            (("step_length_m",), (*_STEP, *_SEEN)),
            (("stride_time_s",), _STRIDE),
            (("stride_length_m",), (*_STRIDE, *_SEEN)),
            (("duty_factor_fraction",), _STEP),
            (
                ("leg_stiffness_kn_per_m",),
                (
                    *_FLIGHT,
                    ("no_leg_length", "leg_length_m IS NULL"),
                    ("no_speed", "speed_m_per_s IS NULL"),
                ),
            ),
            (("speed_m_per_s",), (("no_speed", "true"),)),
            (("foot_strike_angle_deg", "strike_class_by_angle"), (*_POSTURE, ("marker_hidden", "true"))),
            (("strike_index_percent", "strike_class_by_index"), (*_FORCE, ("marker_hidden", "true"))),
            (
                ("strike_classes_agree",),
                (
                    (
                        "one_class_missing",
                        "coalesce(strike_class_by_angle, 'uncertain') = 'uncertain' "
                        "OR coalesce(strike_class_by_index, 'uncertain') = 'uncertain'",
                    ),
                ),
            ),
        ),
        ("footfall_number",),
        compared=True,
    ),
    Explained(
        TABLES["trial_outcomes"],
        _OF_TRIALS,
        (
            (("footfalls_with_impact_peak_fraction",), _NO_FORCE),
            (("mass_from_force_kg",), (*_NO_FORCE, ("few_contacts", "force_count < 2"))),
            (tuple(name for name in (*OF_SIDES, *OF_SPREAD) if "_time_" in name), _FEW),
            (("step_length_sd_m",), (("no_step_length", "footfalls_per_km IS NULL"), *_FEW)),
            (("foot_strike_angle_sd_deg",), (*_POSTURE, *_FEW)),
            (tuple(name for name in (*OF_SIDES, *OF_SPREAD) if "_bw" in (OF_SIDES | OF_SPREAD)[name]), _FORCE_FEW),
            (("footfalls_per_km",), _LENGTH),
            (("impacts_per_km", "impact_peaks_bw_per_km", "active_peaks_bw_per_km"), (*_NO_FORCE, *_LENGTH)),
            (
                ("achilles_impulse_bw_s_per_km",),
                (*_NO_FORCE, ("no_step_length", "footfalls_per_km IS NULL"), ("no_moment", "true")),
            ),
            (("speed_m_per_s",), (("no_speed", "true"),)),
            (("mass_used_kg", "mass_source"), (("no_mass", "true"),)),
        ),
    ),
    Explained(
        TABLES["footfall_joints"],
        _OF_JOINTS,
        (
            (
                ("angle_at_contact_deg", "angle_peak_deg", "angle_range_deg"),
                (*_POSTURE, ("marker_hidden", "true")),
            ),
            (
                ("moment_peak_nm_per_kg",),
                (_PLANE, *_LOADED),
            ),
            (
                ("power_peak_w_per_kg", "power_lowest_w_per_kg", "positive_work_j_per_kg", "negative_work_j_per_kg"),
                (_PLANE, ("no_pelvis", "angle_against = 'vertical'"), *_LOADED),
            ),
            (("achilles_force_peak_bw", "achilles_impulse_bw_s"), (*_ANKLE, *_LOADED)),
            (
                ("quasi_stiffness_nm_per_kg_deg",),
                (*_ANKLE, ("little_flexion", "moment_peak_nm_per_kg IS NOT NULL"), *_LOADED),
            ),
        ),
        ("footfall_number", "joint", "plane"),
        ("joint", "plane", "angle_against"),
        compared=True,
    ),
    Explained(
        TABLES["footfall_events"],
        "SELECT * FROM footfall_events",
        ((("contact_difference_s", "toe_off_difference_s"), (("beyond_pairing", "true"),)),),
        ("footfall_number", "event_method"),
    ),
    Explained(
        TABLES["event_agreement"],
        "SELECT * FROM event_agreement",
        (
            (("bias_s",), (("no_pair", "pair_count = 0"),)),
            (("clock_basis",), (("one_clock", "true"),)),
            (("lower_limit_s", "upper_limit_s"), (("no_pair", "pair_count = 0"), ("few_pairs", "pair_count < 2"))),
        ),
        ("side", "event", "event_method", "reference_method"),
    ),
    Explained(
        TABLES["clock_fits"],
        "SELECT * FROM clock_fits",
        (
            (
                ("clock_offset_s", "clock_drift_ppm", "clock_drift_error_ppm", "residual_s", "clock_basis"),
                (("not_matched", "unmatched_reason IS NOT NULL"),),
            ),
        ),
    ),
    Explained(
        TABLES["curves"],
        "SELECT * FROM curves",
        ((("sd_value",), (("single_footfall", "footfall_count < 2"),)),),
        ("quantity", "side", "point_number"),
    ),
    Explained(
        TABLES["muscle_amplitudes"],
        _OF_MUSCLE.format(_QUALITY, "muscle_amplitudes"),
        (
            (("amplitude_uv",), (*_UNIT, *_GAP)),
            (("amplitude_fraction",), (*_REFERENCE, *_GAP)),
            (("reference_uv",), (*_REFERENCE, ("gain_not_known", "NOT gain_known"))),
        ),
        ("footfall_number", "muscle", "side", "analysis_window"),
        ("muscle", "side", "analysis_window", "normalisation"),
        compared=True,
    ),
    Explained(
        TABLES["muscle_bursts"],
        _OF_MUSCLE.format(_QUALITY, "muscle_bursts"),
        (
            (("onset_before_contact_s", "onset_uncertainty_s"), _ONSET),
            (("onset_spread_s",), (*_BURST, ("few_detectors", _DETECTORS_BELOW_TWO))),
            (("offset_after_contact_s",), (*_BURST, ("end_not_recorded", "true"))),
            (_DETECTORS, (*_BURST, ("detector_silent", "true"))),
        ),
        ("footfall_number", "muscle", "side", "burst"),
        ("muscle", "side", "burst"),
        compared=True,
    ),
    Explained(
        TABLES["co_contractions"],
        _OF_PAIRS,
        ((("co_contraction_index",), (*_REFERENCE, *_GAP, ("both_silent", "true"))),),
        ("footfall_number", "side", "muscle", "opposing_muscle", "analysis_window", "formula"),
    ),
    Explained(
        TABLES["muscle_signals"],
        _OF_SIGNALS,
        (
            (("signal_problem",), (("no_problem", "true"),)),
            (("signal_to_noise_db",), (*_SIGNAL, ("no_burst", "without_burst"))),
            (("baseline_uv",), _UNIT),
            (("above_reference_fraction",), (*_SIGNAL, ("no_reference", "without_reference"))),
            (("shared_fraction",), (*_SIGNAL, ("no_other_muscle", "true"))),
        ),
        ("muscle", "side"),
    ),
)
