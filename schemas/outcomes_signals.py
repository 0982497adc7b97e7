"""Outcome tables of the other signals: joints, muscles, foot sensors, clocks, curves. Layer: outcome."""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.model import Field, Kind, Layer, Reference, Table
from schemas.outcomes import TO_TRIAL, real

_TO_FOOTFALL = Reference(("trial_id", "footfall_number"), "footfalls", ("trial_id", "footfall_number"))
_JOINT = Field("joint", Kind.CODE, "Joint.", codes=codes.JOINT)
_NORMALISATION = Field("normalisation", Kind.CODE, "What amplitudes were divided by.", codes=codes.NORMALISATION)

FOOTFALL_JOINTS = Table(
    name="footfall_joints",
    layer=Layer.OUTCOME,
    one_row_is="one joint of the stance leg in one plane during one footfall",
    key=("trial_id", "footfall_number", "joint", "plane"),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.SIDE,
        _JOINT,
        Field("plane", Kind.CODE, "Plane of the angle.", codes=codes.PLANE),
        Field(
            "angle_against",
            Kind.CODE,
            "What the angle is counted from.",
            codes=(
                codes.Code("segment", "The next segment towards the trunk."),
                codes.Code(
                    "vertical",
                    "The vertical: only the hip of trials whose pelvis markers are too few to tell its tilt. Not to be pooled with the other.",
                ),
            ),
        ),
        real(
            "angle_at_contact_deg",
            "deg",
            "Angle at contact, standing posture as zero. Positive: dorsiflexion, knee flexion, hip flexion; in the frontal plane adduction, at the ankle inversion; in the transverse plane internal rotation. Null without a standing trial or where a marker is hidden.",
            low=-180,
            high=180,
        ),
        real(
            "angle_peak_deg",
            "deg",
            "Largest angle during contact, standing posture as zero. Null without a standing trial or where a marker is hidden during the contact.",
            low=-180,
            high=180,
        ),
        real(
            "angle_range_deg",
            "deg",
            "Largest less smallest angle during contact; the smallest is angle_peak_deg less this. Null as angle_peak_deg.",
            low=0,
            high=360,
        ),
        real(
            "moment_peak_nm_per_kg",
            "N.m/kg",
            "Largest net joint moment during contact by sagittal inverse dynamics (segments of de Leva 1996), divided by body mass. Positive: plantarflexor, knee extensor, hip extensor. Null in the other planes, without force or mass, and where markers, force and filter do not fit each other.",
        ),
        *f.PROVENANCE,
    ),
    references=(_TO_FOOTFALL,),
    notes="Sagittal angles lie in the study's vertical plane of running and need outer markers only; frontal and transverse ones are angles in space and need inner markers too. Without pelvis markers there is no hip.",
)

MUSCLE_AMPLITUDES = Table(
    name="muscle_amplitudes",
    layer=Layer.OUTCOME,
    one_row_is="the activity of one muscle in one window of one footfall",
    key=("trial_id", "footfall_number", "muscle", "side", "analysis_window"),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.MUSCLE,
        f.SIDE,
        Field("analysis_window", Kind.CODE, "Part of the stride.", codes=codes.ANALYSIS_WINDOW),
        Field("window_s", Kind.REAL, "Length of the window.", unit="s", low=0),
        real(
            "amplitude_uv",
            "uV",
            "Root mean square of the band-passed signal in the window. Null where the signal is missing or of no use; muscle_signals says why.",
            low=0,
        ),
        real("amplitude_fraction", "1", "The same divided by reference_uv. Null without a reference.", low=0),
        _NORMALISATION,
        real("reference_uv", "uV", "The reference amplitude. Null without a reference.", low=0),
        *f.PROVENANCE,
    ),
    references=(_TO_FOOTFALL,),
    notes="A muscle that was not recorded has no rows, and a window that is not wholly recorded has none.",
)

MUSCLE_BURSTS = Table(
    name="muscle_bursts",
    layer=Layer.OUTCOME,
    one_row_is="the main burst of one muscle around one contact, by one method",
    key=("trial_id", "footfall_number", "muscle", "side", "onset_method"),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.MUSCLE,
        f.SIDE,
        Field("onset_method", Kind.CODE, "How the burst was found.", codes=codes.ONSET_METHOD),
        real(
            "onset_before_contact_s",
            "s",
            "Time from onset to contact; positive is before contact. Null where no burst was found or its start is not recorded.",
        ),
        real(
            "offset_after_contact_s",
            "s",
            "Time from contact to the end of the burst; negative if it ends before contact. Null where no burst was found or its end is not recorded.",
        ),
        *f.PROVENANCE,
    ),
    references=(_TO_FOOTFALL,),
    notes="A muscle that was not recorded has no rows. Of several bursts the one with the largest area counts.",
)

CO_CONTRACTIONS = Table(
    name="co_contractions",
    layer=Layer.OUTCOME,
    one_row_is="the co-contraction of one pair of muscles in one window of one footfall",
    key=("trial_id", "footfall_number", "side", "muscle", "opposing_muscle", "analysis_window", "formula"),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.SIDE,
        f.MUSCLE,
        Field("opposing_muscle", Kind.CODE, "The other muscle of the pair.", study_list="muscles"),
        Field("analysis_window", Kind.CODE, "Part of the stride.", codes=codes.ANALYSIS_WINDOW),
        Field(
            "formula",
            Kind.CODE,
            "Published formula, over the envelopes of both muscles, each divided by its reference.",
            codes=(
                codes.Code("falconer_winter", "100 x 2 sum(min) / sum(both), Falconer & Winter 1985."),
                codes.Code("rudolph", "Mean of (low / high) x (low + high), Rudolph et al. 2000."),
            ),
        ),
        real(
            "co_contraction_index",
            "1",
            "Value of the formula. Null when both muscles are silent, when one has no reference, and where a signal is missing or of no use.",
            low=0,
        ),
        _NORMALISATION,
        *f.PROVENANCE,
    ),
    references=(_TO_FOOTFALL,),
    notes="Only pairs of which both muscles were recorded, and windows that are wholly recorded, have rows.",
)

MUSCLE_SIGNALS = Table(
    name="muscle_signals",
    layer=Layer.OUTCOME,
    one_row_is="the quality of one muscle signal in one trial",
    key=("trial_id", "muscle", "side"),
    fields=(
        f.TRIAL_ID,
        f.MUSCLE,
        f.SIDE,
        Field(
            "signal_problem",
            Kind.CODE,
            "Why no outcome of this signal has a value. Null when it is of use.",
            codes=(
                codes.Code(
                    "recorded_twice", "Two channels are said to be this muscle; which one is right is not known."
                ),
                codes.Code("unit_not_a_voltage", "The unit of the channel is not a voltage."),
                codes.Code("gain_not_understood", "The amplifier's gain is neither a number above 0 nor one in dB."),
                codes.Code("missing", "No sample of the channel is a number, or it has none."),
                codes.Code("flat", "The signal stands still wherever it is recorded."),
                codes.Code("saturated", "The amplifier was stuck at its largest or smallest value too often."),
                codes.Code("rate_too_low", "The sampling rate is not above twice the upper edge of the band."),
                codes.Code("too_short", "No unbroken stretch is as long as three periods of the band's lower edge."),
            ),
            nullable=True,
        ),
        real(
            "signal_to_noise_db",
            "dB",
            "Power of the band-passed signal in all bursts found by threshold over its power in the baseline. Null without a burst.",
        ),
        real("baseline_uv", "uV", "Root mean square of the quietest windows of the band-passed signal.", low=0),
        real("sampling_rate_hz", "Hz", "Samples per second.", low=0),
        real(
            "saturated_fraction",
            "1",
            "Part of the samples that is stuck, three or more in a row, at the largest or smallest value.",
            low=0,
            high=1,
        ),
        real("missing_fraction", "1", "Part of the samples that is missing or flat.", low=0, high=1),
        Field("mains_notch_used", Kind.BOOLEAN, "Whether a mains notch filter was applied."),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)

_CLOCK_BASIS = (
    codes.Code("shared_signal", "A foot sensor or clock signal that both files recorded."),
    codes.Code("sensor_against_force", "Contacts of the second file's foot sensors and of the force plates."),
    codes.Code("sensor_against_markers", "Contacts of the second file's foot sensors and of the foot markers."),
)

FOOTFALL_EVENTS = Table(
    name="footfall_events",
    layer=Layer.OUTCOME,
    one_row_is="the events of one footfall as another method found them",
    key=("trial_id", "footfall_number", "event_method"),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.SIDE,
        Field("event_method", Kind.CODE, "Method, other than the footfall's own.", codes=codes.EVENT_METHOD),
        real("contact_difference_s", "s", "Contact by this method less contact_s of the footfall. Null beyond 0.1 s."),
        real("toe_off_difference_s", "s", "Toe-off by this method less toe_off_s of the footfall. Null beyond 0.1 s."),
        *f.PROVENANCE,
    ),
    references=(_TO_FOOTFALL,),
)

EVENT_AGREEMENT = Table(
    name="event_agreement",
    layer=Layer.OUTCOME,
    one_row_is="how well two methods of finding events agree in one trial and side",
    key=("trial_id", "side", "event", "event_method", "reference_method"),
    fields=(
        f.TRIAL_ID,
        f.SIDE,
        Field(
            "event",
            Kind.CODE,
            "Which event.",
            codes=(codes.Code("contact", "Start of contact."), codes.Code("toe_off", "End of contact.")),
        ),
        Field("event_method", Kind.CODE, "Method that is judged.", codes=codes.EVENT_METHOD),
        Field("reference_method", Kind.CODE, "Method it is judged against.", codes=codes.EVENT_METHOD),
        Field("pair_count", Kind.INTEGER, "Events found by both, each the other's nearest within 0.1 s.", low=0),
        Field("judged_count", Kind.INTEGER, "Events found by event_method.", low=0),
        Field("reference_count", Kind.INTEGER, "Events found by reference_method.", low=0),
        real("bias_s", "s", "Mean of judged less reference (Bland & Altman 1986). Null without a pair."),
        real("lower_limit_s", "s", "Bias less 1.96 standard deviations. Null with fewer than two pairs."),
        real("upper_limit_s", "s", "Bias plus 1.96 standard deviations. Null as lower_limit_s."),
        Field(
            "clock_basis",
            Kind.CODE,
            "How the sensors' clock had been matched; null where they are in the trial's own file. Matched on the same contacts as are compared here, the bias of contact is zero by construction.",
            codes=_CLOCK_BASIS,
            nullable=True,
        ),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)

CLOCK_FITS = Table(
    name="clock_fits",
    layer=Layer.OUTCOME,
    one_row_is="how the clock of a second file was matched to the trial's clock",
    key=("trial_id",),
    fields=(
        f.TRIAL_ID,
        real("clock_offset_s", "s", "Trial time when the second clock reads zero."),
        real("clock_drift_ppm", "[ppm]", "How much longer a second of the second clock is, parts per million."),
        real("clock_drift_error_ppm", "[ppm]", "Standard error of the drift; large in short trials.", low=0),
        real("residual_s", "s", "Root mean square of what is left after offset and drift.", low=0),
        Field("event_count", Kind.INTEGER, "Shared events that were matched.", low=0),
        Field(
            "clock_basis",
            Kind.CODE,
            "Events the match rests on. Against force or markers the mean difference between the two methods goes into the offset.",
            codes=_CLOCK_BASIS,
            nullable=True,
        ),
        Field(
            "is_matched",
            Kind.BOOLEAN,
            "Whether the match was accepted; if not, the values are those of the best attempt and nothing rests on them.",
        ),
        Field("unmatched_reason", Kind.TEXT, "Why it was not accepted.", nullable=True),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)

CURVES = Table(
    name="curves",
    layer=Layer.OUTCOME,
    one_row_is="one point of a curve averaged over the footfalls of one trial and side",
    key=("trial_id", "side", "quantity", "point_number"),
    fields=(
        f.TRIAL_ID,
        f.SIDE,
        Field("quantity", Kind.TEXT, "What the curve shows, with its unit, for example vertical_force_bw."),
        Field(
            "curve_span",
            Kind.CODE,
            "What is stretched over the 101 points.",
            codes=(
                codes.Code("contact", "Contact to toe-off."),
                codes.Code("stride", "Contact to the next contact of the same foot."),
            ),
        ),
        Field(
            "point_number",
            Kind.INTEGER,
            "0 at contact, 100 at the end of curve_span.",
            low=0,
            high=100,
        ),
        Field("quantity_unit", Kind.TEXT, "UCUM unit of mean and spread."),
        Field(
            "mean_value",
            Kind.REAL,
            "Mean over footfalls, in quantity_unit.",
            unit="{unit_of_row}",
            nullable=True,
        ),
        Field(
            "sd_value",
            Kind.REAL,
            "Standard deviation over footfalls, in quantity_unit. Null with one footfall.",
            unit="{unit_of_row}",
            nullable=True,
        ),
        Field(
            "footfall_count", Kind.INTEGER, "Footfalls averaged; one in which a sample is missing is left out.", low=1
        ),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)
