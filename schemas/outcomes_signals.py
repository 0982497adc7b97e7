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
        real("angle_at_contact_deg", "deg", "Angle at contact, standing posture as zero.", low=-180, high=180),
        real("angle_peak_deg", "deg", "Largest angle during contact.", low=-180, high=180),
        real("angle_range_deg", "deg", "Largest less smallest angle during contact.", low=0, high=360),
        real(
            "moment_peak_nm_per_kg",
            "N.m/kg",
            "Largest net joint moment during contact by inverse dynamics (segments of de Leva 1996). Null without force.",
        ),
        *f.PROVENANCE,
    ),
    references=(_TO_FOOTFALL,),
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
        real("amplitude_uv", "uV", "Root mean square of the band-passed signal in the window.", low=0),
        real("amplitude_fraction", "1", "The same divided by the reference.", low=0),
        _NORMALISATION,
        real("reference_uv", "uV", "The reference amplitude.", low=0),
        *f.PROVENANCE,
    ),
    references=(_TO_FOOTFALL,),
)

MUSCLE_BURSTS = Table(
    name="muscle_bursts",
    layer=Layer.OUTCOME,
    one_row_is="one burst of one muscle, by one method",
    key=("trial_id", "footfall_number", "muscle", "side", "onset_method"),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.MUSCLE,
        f.SIDE,
        Field("onset_method", Kind.CODE, "How the burst was found.", codes=codes.ONSET_METHOD),
        real("onset_before_contact_s", "s", "Time from onset to contact; positive is before contact."),
        real("offset_after_contact_s", "s", "Time from contact to the end of the burst."),
        *f.PROVENANCE,
    ),
    references=(_TO_FOOTFALL,),
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
            "Published formula.",
            codes=(
                codes.Code("falconer_winter", "100 x 2 sum(min) / sum(both), Falconer & Winter 1985."),
                codes.Code("rudolph", "Mean of (low / high) x (low + high), Rudolph et al. 2000."),
            ),
        ),
        real("co_contraction_index", "1", "Value of the formula; null when both muscles are silent."),
        *f.PROVENANCE,
    ),
    references=(_TO_FOOTFALL,),
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
        real("signal_to_noise_db", "dB", "Power in bursts over power in the baseline."),
        real("baseline_uv", "uV", "Root mean square of the quietest part.", low=0),
        real("sampling_rate_hz", "Hz", "Samples per second.", low=0),
        Field("mains_notch_used", Kind.BOOLEAN, "Whether a mains notch filter was applied."),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
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
        Field("pair_count", Kind.INTEGER, "Events found by both.", low=0),
        real("bias_s", "s", "Mean of judged less reference."),
        real("lower_limit_s", "s", "Lower 95 % limit of agreement."),
        real("upper_limit_s", "s", "Upper 95 % limit of agreement."),
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
        real("clock_drift_ppm", "[ppm]", "Difference in rate, parts per million."),
        real("residual_s", "s", "Root mean square of what is left after offset and drift.", low=0),
        Field("event_count", Kind.INTEGER, "Shared events that were matched.", low=0),
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
            "point_number",
            Kind.INTEGER,
            "0 at contact, 100 at toe-off or at the next contact.",
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
            "Standard deviation over footfalls, in quantity_unit.",
            unit="{unit_of_row}",
            nullable=True,
        ),
        Field("footfall_count", Kind.INTEGER, "Footfalls averaged.", low=0),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)
