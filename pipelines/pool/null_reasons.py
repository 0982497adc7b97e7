"""The reasons for which an outcome of a recording is null, in words. How each is known is in ``null_rules``."""

from __future__ import annotations

from schemas.codes import ONSET_QUALITY

#: What ``onset_quality`` says of a burst without an onset.
UNSURE_ONSETS = {
    code.value: code.meaning
    for code in ONSET_QUALITY
    if code.value in ("two_agree", "detectors_differ", "start_not_known")
}
#: Reason -> words.
REASONS = {
    "no_force": "The footfall was not found in force.",
    "no_impact_peak": "The vertical force has no first maximum in the early part of contact.",
    "last_footfall": "No footfall follows in the recording.",
    "next_of_same_foot": "The next recorded footfall is of the same foot: one between them was not recorded.",
    "no_stride": "The next but one footfall was not recorded, or is not of the same foot.",
    "no_flight": "The next contact begins before this one has ended.",
    "no_speed": "The running speed is not known.",
    "no_leg_length": "The runner's leg length is not known.",
    "no_mass": "The runner's mass is not known.",
    "no_standing_posture": "There is no standing trial of the session and condition.",
    "marker_hidden": "A marker that it needs was not seen when it was needed, or showed nothing then.",
    "one_class_missing": "One of the two classes of foot strike is missing or uncertain.",
    "no_accelerometer": "There is no accelerometer on that shin, or it does not tell enough there.",
    "few_footfalls": "Too few footfalls have the value, on one side or in all.",
    "no_step_length": "No step length is known.",
    "no_moment": "The moment of the ankle is not known.",
    "few_contacts": "The trial holds fewer than two contacts found in force.",
    "other_plane": "It is computed in the sagittal plane only.",
    "other_joint": "It is computed of the ankle only.",
    "no_pelvis": "The markers of the pelvis do not tell its tilt.",
    "little_flexion": "The ankle flexes too little for a slope.",
    "signals_do_not_fit": "Markers, force and their filters do not fit each other.",
    "beyond_pairing": "The two methods' events lie more than 0.1 s apart, or one is missing.",
    "no_pair": "No event was found by both methods.",
    "few_pairs": "Fewer than two events were found by both methods.",
    "not_matched": "The clock of the second file could not be matched.",
    "single_footfall": "A single footfall has no spread.",
    "signal_of_no_use": "The muscle's signal is of no use; signal_problem in muscle_signals says why.",
    "gain_not_known": "The amplifier's gain is not known.",
    "no_reference": "There is no reference to divide by.",
    "signal_missing": "Samples of the muscle's signal are missing there.",
    "no_other_muscle": "No other muscle of the trial has a signal of use at the same rate.",
    "no_burst": "No burst was found around the contact.",
    **UNSURE_ONSETS,
    "end_not_recorded": "The burst ends after the recording, or after a gap in it.",
    "few_detectors": "Fewer than two detectors give an onset.",
    "detector_silent": "This detector gives no onset.",
    "both_silent": "Both muscles are silent in the window.",
    "unexplained": "No rule explains it.",
}
