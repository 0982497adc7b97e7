"""What follows from the fault of each check: the table by which ``checks.causes`` judges.

The more of a recording a fault spoils, the earlier it stands, and an earlier one decides, unless it is only noted and
the other not: a fault of the file itself before one of a body, and that before one of an outcome. A check that is not
here explains nothing; what is said of its trial stands for itself.
"""

from __future__ import annotations

from checks.cause import Cause, only

_FILES = ("recording.recording", "recording.channels", "recording.clocks", "recording.packets", "recording.damage")
_SIGNALS = ("markers", "force", "muscles", "sensors", "outcomes", "self_description", *_FILES)
_FEET = ("force.and_feet", "force.push_off")
_LEGS = ("muscles_of_a_leg_are_not_exchanged", "left_and_right_muscles_are_not_exchanged")
_BY_CONTACTS = ("feet_stand_as_high_as_in_the_standing_trial", "speed_keeps_to_the_protocol", "sides_alternate")

CAUSES: tuple[Cause, ...] = (
    Cause("file_agrees_with_itself", "every number depends on which of two statements is believed", _SIGNALS),
    Cause("samples_stand_in_their_places", "no number of the file is what it seems", _SIGNALS),
    Cause(
        "force_plates_are_described_in_full",
        "every force and its place is worked out with the description, and contacts come from force",
        ("force", "outcomes", "sensors"),
        ("plates_are_those_of_the_site", "foot_markers_meet_the_plates", *_BY_CONTACTS),
    ),
    Cause(
        "second_file_agrees_with_itself",
        "behind a hole or a doubled record every sample has another time, and beyond a stated range another value",
        ("recording.clocks", "recording.packets", "sensors", "muscles"),
        ("clocks_of_both_files_match", "contact_times_are_credible", *_BY_CONTACTS),
    ),
    Cause(
        "names_stand_for_one_thing",
        "another marker or channel than meant was read",
        ("markers", "muscles", "sensors", *_FEET, "outcomes"),
        (
            "positions_are_in_the_stated_unit",
            "clocks_of_both_files_match",
            "clock_match_leaves_little",
            "plates_are_those_of_the_site",
        ),
    ),
    only("file_structure_is_consistent", "frames are read that nobody recorded", "missing_positions_are_marked"),
    Cause("missing_positions_are_marked", "zeros are read as gaps", ("markers.sight",)),
    Cause(
        "channels_hold_their_own_signals",
        "every force, moment and muscle is another channel's",
        ("force", "muscles", "sensors", "outcomes"),
        ("clocks_of_both_files_match", "muscle_signals_can_be_used", "foot_markers_meet_the_plates"),
    ),
    Cause(
        "force_fits_no_better_elsewhere",
        "force is compared with the foot on another plate, or with a mirrored one",
        (*_FEET, "force.direction", "outcomes"),
        (
            "coordinates_are_right_handed",
            "left_and_right_are_on_their_sides",
            "runner_runs_forwards",
            "foot_sensors_are_on_their_own_feet",
            "left_and_right_muscles_are_not_exchanged",
            "foot_lands_on_one_plate",
            "centre_of_pressure_lies_on_the_plate",
        ),
    ),
    Cause(
        "runner_is_upright",
        "heights are widths, and plates and markers no longer share a floor",
        ("markers", "force", "outcomes", "sensors"),
        ("positions_are_in_the_stated_unit",),
    ),
    Cause(
        "positions_are_in_the_stated_unit",
        "every length and speed is off by the same factor",
        ("markers", *_FEET, "outcomes", "sensors"),
    ),
    Cause(
        "coordinates_are_right_handed",
        "one direction is turned round, and with it all that goes that way",
        ("markers.axes", "markers.on_the_body", *_FEET, "force.direction", "outcomes"),
        (
            "foot_sensors_are_on_their_own_feet",
            "feet_stand_as_high_as_in_the_standing_trial",
            "left_and_right_muscles_are_not_exchanged",
        ),
    ),
    Cause(
        "runner_runs_forwards",
        "ahead is read as sideways or backwards",
        (*_FEET, "force.direction", "outcomes"),
        (
            "left_and_right_are_on_their_sides",
            "foot_sensors_are_on_their_own_feet",
            "left_and_right_muscles_are_not_exchanged",
            "feet_stand_as_high_as_in_the_standing_trial",
        ),
    ),
    Cause(
        "left_and_right_are_on_their_sides",
        "each leg is given the other's markers",
        ("markers.labels", "markers.standing", "markers.distances", *_FEET),
        (
            "foot_sensors_are_on_their_own_feet",
            "left_and_right_muscles_are_not_exchanged",
            "markers_move_without_jumps",
            *_BY_CONTACTS,
        ),
    ),
    *(
        Cause(
            name,
            "another marker stands for the landmark from start to end",
            ("markers.standing", "markers.distances", *_FEET),
            (
                "segment_lengths_are_those_of_the_standing_trial",
                "inner_and_outer_markers_are_on_their_sides",
                "foot_markers_meet_the_plates",
                "markers_move_without_jumps",
                *_BY_CONTACTS,
            ),
        )
        for name in (
            "toes_are_ahead_of_heels",
            "leg_markers_are_in_order_of_height",
            "inner_and_outer_markers_are_on_their_sides",
        )
    ),
    only("frames_are_not_repeated", "where frames were lost every marker leaps", "markers_move_without_jumps"),
    *(
        Cause(name, why, (), ("markers_move_without_jumps", "markers_keep_their_distance", *more), there=True)
        for name, why, more in (
            (
                "no_two_markers_are_at_one_place",
                "one of the two labels leaps to the other's ball",
                ("markers_are_not_frozen",),
            ),
            ("markers_are_not_frozen", "the marker leaps to where it went meanwhile", ()),
            (
                "markers_keep_their_distance",
                "the marker leaps to its other place",
                ("segment_lengths_are_those_of_the_standing_trial", "frames_are_not_drawn_between_others"),
            ),
        )
    ),
    *(
        Cause(name, "the marker is missing in many frames", ("markers.sight",), (), there=True)
        for name in ("marker_gaps_are_short", "markers_do_not_flicker")
    ),
    Cause(
        "plates_are_those_of_the_site",
        "contacts on a plate that is left out are flights",
        ("force", "outcomes", "sensors"),
        ("foot_markers_meet_the_plates",),
    ),
    Cause(
        "marker_rate_is_the_sites",
        "every time is stretched; a C3D file holds a whole number of force samples a frame, so that both rates change",
        ("outcomes", "recording.clocks", "sensors"),
        ("force_rate_is_the_sites", "clocks_of_both_files_match", "muscle_signals_can_be_used"),
    ),
    Cause(
        "force_rate_is_the_sites",
        "every time in force is stretched",
        ("outcomes", "recording.clocks", "sensors"),
        ("clocks_of_both_files_match", "muscle_signals_can_be_used", "force_and_markers_share_one_clock"),
    ),
    Cause(
        "vertical_force_points_up",
        "the plate is never loaded, or only when nobody is on it",
        ("force", "outcomes", "sensors"),
    ),
    Cause(
        "whole_foot_is_on_the_plates",
        "part of the force goes into the floor",
        ("force.body_weight",),
        ("foot_lands_on_one_plate", "active_peaks_are_credible"),
    ),
    Cause(
        "mean_vertical_force_is_body_weight",
        "every force is off by the same factor",
        ("force.noise", "force.unloaded"),
        (
            "active_peaks_are_credible",
            "free_moment_is_credible",
            "force_was_not_filtered_before",
            "plates_read_zero_unloaded",
        ),
    ),
    Cause(
        "plates_read_zero_unloaded",
        "an unloaded plate is above the threshold of contact, or a loaded one below it",
        ("outcomes", "sensors", "force.body_weight", "force.unloaded", "force.noise"),
        ("foot_lands_on_one_plate", "whole_foot_is_on_the_plates"),
    ),
    Cause(
        "force_stays_below_full_scale",
        "what lies above the limit is lost from mean and peak",
        ("force.body_weight", "force.samples"),
        ("active_peaks_are_credible",),
    ),
    Cause(
        "plates_do_not_talk_across",
        "an empty plate seems loaded",
        ("force.noise",),
        ("foot_lands_on_one_plate", "whole_foot_is_on_the_plates"),
    ),
    Cause(
        "centre_of_pressure_lies_on_the_plate",
        "the moments are wrong, and with them all that is worked out from them",
        _FEET,
        ("free_moment_is_credible", "sides_alternate"),
    ),
    *(
        only(
            name,
            "a horizontal force that is not one moves the point of force and turns the foot",
            "foot_brakes_before_it_pushes",
            "free_moment_is_credible",
            "fore_aft_impulse_balances_at_steady_speed",
            "centre_of_pressure_lies_under_the_foot",
        )
        for name in ("sideways_force_is_the_smallest", "ground_pushes_nearly_straight_up")
    ),
    Cause(
        "force_and_markers_share_one_clock",
        "while a plate is loaded the foot is said to be where it was before or will be after",
        _FEET,
        ("foot_brakes_before_it_pushes", "sides_alternate", "contact_times_are_credible"),
    ),
    only(
        "load_moves_towards_the_toes",
        "the plate is mirrored",
        "centre_of_pressure_lies_under_the_foot",
        "foot_pushes_off_with_its_front",
    ),
    only(
        "centre_of_pressure_lies_under_the_foot",
        "the plate lies elsewhere, or another way round, than its corners say",
        "foot_brakes_before_it_pushes",
        "foot_pushes_off_with_its_front",
        "sides_alternate",
    ),
    only(
        "force_has_no_spikes",
        "one sample makes the peak",
        "active_peaks_are_credible",
        "force_was_not_filtered_before",
        "empty_plates_are_quiet",
    ),
    only("plates_are_still_after_toe_off", "ringing is noise", "empty_plates_are_quiet", "foot_lands_on_one_plate"),
    only("active_peaks_are_credible", "one blow is in the mean, too", "mean_vertical_force_is_body_weight"),
    only("empty_plates_are_quiet", "noise passes the threshold of contact", "foot_lands_on_one_plate"),
    only("contact_times_are_credible", "so long a contact rises slowly", "force_was_not_filtered_before"),
    Cause(
        "clocks_of_both_files_match",
        "nothing of the second file can be placed in time",
        ("recording.clocks", "muscles.timing"),
        ("foot_sensors_close_once_for_each_contact", "foot_sensors_keep_their_delay"),
    ),
    Cause(
        "foot_sensors_are_on_their_own_feet",
        "each foot is judged while it is in the air",
        ("sensors", "muscles.timing", "muscles.clock"),
        (*_BY_CONTACTS, "contact_times_are_credible", "muscles_are_active_in_running"),
    ),
    only("foot_sensors_switch", "a foot whose sensor is silent has no contacts", *_BY_CONTACTS),
    only("foot_sensors_close_at_contact", "phases are read from late contacts", "muscles_are_active_in_their_phase"),
    Cause(
        "channel_units_agree_with_the_file",
        "every amplitude is a thousand times off",
        ("muscles.signals", "muscles.disturbances"),
        ("muscle_signals_can_be_used",),
    ),
    Cause("every_muscle_has_its_own_signal", "one of the two is another muscle", ("muscles.timing",), there=True),
    only(
        "no_block_of_samples_stands_twice",
        "an event in the block is seen twice",
        "foot_sensors_close_once_for_each_contact",
        "channels_lose_no_packets",
    ),
    Cause(
        "muscle_signals_are_raw",
        "an envelope has no band, no sign and no noise of its own",
        ("muscles.disturbances",),
        ("muscle_signals_can_be_used", "muscle_signals_fill_their_band", "muscles_are_active_in_running"),
        there=True,
    ),
    only(
        "muscle_amplitudes_are_those_of_skin",
        "the factor is in noise and disturbances too",
        "muscle_baselines_are_quiet",
        "muscle_channels_are_fine_enough",
        "muscle_signals_have_no_spikes",
        there=True,
    ),
    *(only(n, "a channel is called another muscle than it is", "muscles_are_active_in_their_phase") for n in _LEGS),
)
