"""The reasons for which a value of an outcome table is null, in words. How each is known is in ``null_rules``."""

from __future__ import annotations

from schemas.codes import ONSET_QUALITY

#: What ``onset_quality`` says of a burst without an onset.
UNSURE_ONSETS = {
    code.value: code.meaning
    for code in ONSET_QUALITY
    if code.value in ("two_agree", "detectors_differ", "start_not_known")
}
#: Reason -> words, of tables of the study.
_OF_STUDY = {
    "in_row": "The row says why: reason_null, or the column of reasons that is named after it.",
    "in_planned_curves": "sites_reason_null of planned_curves says why.",
    "two_sites_or_fewer": "A further site is foretold from three sites on.",
    "one_site": "There is one site, so nothing tells what sites differ by.",
    "site_means": "The mean of the sites' means stands in for the model, and has no such component.",
    "nobody_travelled": "Nobody was measured at several sites: the runner's own and the rest are one number.",
    "one_runner_a_site": "Each site has one runner.",
    "only_mixed_model": "Only the mixed model has it.",
    "only_random_effects": "Only random effects, a pooling of sites' estimates, have it.",
    "normal_interval": "The interval is that of the normal distribution, which has no degrees of freedom.",
    "way_of_doubting": "It is told of the analysis as planned alone.",
    "plan_sets_none": "The plan sets no smallest difference that matters.",
    "not_in_plan": "The plan does not allow for it.",
    "not_known": "It is not known of the runner there.",
    "never_frozen": "The plan was never frozen.",
    "few_sessions": "The site has fewer sessions than centre and limits are made from.",
}
#: Reason -> words, of equipment and of what it is worth.
_OF_EQUIPMENT = {
    "other_device": "It is read of other devices.",
    "never_unloaded": "The plate was not seen with nobody on it, its force being known.",
    "no_dead_band": "Small forces were not set to zero before the export.",
    "not_under_load": (
        "No contact was carried by this plate alone with its force known throughout, or the study has no cut-off for "
        "events."
    ),
    "no_lag_told": "The pelvis was not seen, or not two contacts in a row, or its movement and force are not alike.",
    "not_of_one_footfall": "The scatter of footfalls is no part of an outcome of one footfall.",
    "same_in_all": "What all footfalls have alike is no part of a difference of sides or of a scatter.",
    "without_plates": "Contacts were not found in force; no plate is in it.",
    "events_in_force": "Contacts were found in force; what that is off by stands in the other parts.",
    "one_clock": "All that it is made of was recorded by one clock, or how far two agree is not known.",
    "without_markers": "No marker is in it, or too few to tell what they are worth.",
    "gain_known": "The amplifier's gain is known: the reference stands in reference_uv.",
    "gain_unknown": "The amplifier's gain is not known: the reference stands in reference_recorded_uv.",
}
#: Reason -> words.
REASONS = {
    **_OF_STUDY,
    **_OF_EQUIPMENT,
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
    "no_problem": "The muscle's signal is of use.",
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
