"""Outcome tables of the other signals: joints, foot sensors, clocks, curves. Layer: outcome.

Muscles are in ``outcomes_muscle``.
"""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.delivery import RECORDED
from schemas.leaving import Leaves
from schemas.model import Code, Field, Kind, Layer, Reference, Table
from schemas.outcomes import TO_TRIAL, real
from schemas.privacy import PLAIN, SENSITIVE

TO_FOOTFALL = Reference(("trial_id", "footfall_number"), "footfalls", ("trial_id", "footfall_number"))
_JOINT = Field("joint", Kind.CODE, "Joint.", codes=codes.JOINT, privacy=PLAIN)

FOOTFALL_JOINTS = Table(
    name="footfall_joints",
    layer=Layer.OUTCOME,
    one_row_is="one joint of the stance leg in one plane during one footfall",
    key=("trial_id", "footfall_number", "joint", "plane"),
    rows=RECORDED,
    leaves=Leaves(
        "trial_id footfall_number side joint plane angle_against angle_at_contact_deg angle_peak_deg "
        "angle_range_deg delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.SIDE,
        _JOINT,
        Field("plane", Kind.CODE, "Plane of the angle.", codes=codes.PLANE, privacy=PLAIN),
        Field(
            "angle_against",
            Kind.CODE,
            "What the angle is counted from.",
            codes=(
                Code("segment", "The next segment towards the trunk."),
                Code(
                    "vertical",
                    "The vertical: only the hip of trials whose pelvis markers are too few to tell its tilt. Not to be pooled with the other.",
                ),
            ),
            privacy=PLAIN,
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
        real(
            "power_peak_w_per_kg",
            "W/kg",
            "Largest joint power during contact: moment times angular velocity of the joint in the sagittal plane (Winter 2009, ch. 6; source from memory), both below the cut-off of inverse dynamics, divided by body mass. Positive power is generated. Null as moment_peak_nm_per_kg, and at a hip that is counted from the vertical.",
        ),
        real(
            "power_lowest_w_per_kg",
            "W/kg",
            "Smallest joint power during contact; the largest absorption as a negative number. Null as power_peak_w_per_kg.",
        ),
        real(
            "positive_work_j_per_kg",
            "J/kg",
            "Integral of joint power over the parts of contact in which it is generated. Null as power_peak_w_per_kg.",
            low=0,
        ),
        real(
            "negative_work_j_per_kg",
            "J/kg",
            "Integral of joint power over the parts of contact in which it is absorbed; negative or 0. Null as power_peak_w_per_kg.",
            high=0,
        ),
        real(
            "quasi_stiffness_nm_per_kg_deg",
            "N.m/(kg.deg)",
            "Of the ankle alone: least-squares slope of plantarflexor moment over dorsiflexion from the least dorsiflexion before the greatest to the greatest (slope of the moment-angle loop: Stefanyshyn & Nigg 1998, from memory). Null as moment_peak_nm_per_kg, at other joints, and where the ankle flexes by less than 5 degrees.",
        ),
        real(
            "achilles_force_peak_bw",
            "{BW}",
            "Of the ankle alone: largest plantarflexor moment over the moment arm of the study file, as a multiple of body weight. A model: one arm for everybody and no other muscle, so that differences within a runner say more than values. Null as moment_peak_nm_per_kg.",
            low=0,
        ),
        real(
            "achilles_impulse_bw_s",
            "{BW}.s",
            "Integral of the same force over contact. Null as achilles_force_peak_bw.",
            low=0,
        ),
        *f.PROVENANCE,
    ),
    references=(TO_FOOTFALL,),
    notes="Sagittal angles lie in the study's vertical plane of running and need outer markers only; frontal and transverse ones are angles in space and need inner markers too. Without pelvis markers there is no hip.",
)

_CLOCK_BASIS = (
    Code("shared_signal", "A foot sensor or clock signal that both files recorded."),
    Code("sensor_against_force", "Contacts of the second file's foot sensors and of the force plates."),
    Code("sensor_against_markers", "Contacts of the second file's foot sensors and of the foot markers."),
)

FOOTFALL_EVENTS = Table(
    name="footfall_events",
    layer=Layer.OUTCOME,
    one_row_is="the events of one footfall as another method found them",
    key=("trial_id", "footfall_number", "event_method"),
    rows=RECORDED,
    leaves=Leaves(
        "trial_id footfall_number side event_method contact_difference_s toe_off_difference_s delivery_id "
        "raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.SIDE,
        Field(
            "event_method", Kind.CODE, "Method, other than the footfall's own.", codes=codes.EVENT_METHOD, privacy=PLAIN
        ),
        real("contact_difference_s", "s", "Contact by this method less contact_s of the footfall. Null beyond 0.1 s."),
        real("toe_off_difference_s", "s", "Toe-off by this method less toe_off_s of the footfall. Null beyond 0.1 s."),
        *f.PROVENANCE,
    ),
    references=(TO_FOOTFALL,),
)

EVENT_AGREEMENT = Table(
    name="event_agreement",
    layer=Layer.OUTCOME,
    one_row_is="how well two methods of finding events agree in one trial and side",
    key=("trial_id", "side", "event", "event_method", "reference_method"),
    rows=RECORDED,
    leaves=Leaves(
        "trial_id side event event_method reference_method pair_count judged_count reference_count bias_s "
        "lower_limit_s upper_limit_s clock_basis delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.SIDE,
        Field(
            "event",
            Kind.CODE,
            "Which event.",
            codes=codes.EVENT,
            privacy=PLAIN,
        ),
        Field("event_method", Kind.CODE, "Method that is judged.", codes=codes.EVENT_METHOD, privacy=PLAIN),
        Field("reference_method", Kind.CODE, "Method it is judged against.", codes=codes.EVENT_METHOD, privacy=PLAIN),
        Field(
            "pair_count",
            Kind.INTEGER,
            "Events found by both, each the other's nearest within 0.1 s.",
            low=0,
            privacy=PLAIN,
        ),
        Field("judged_count", Kind.INTEGER, "Events found by event_method.", low=0, privacy=PLAIN),
        Field("reference_count", Kind.INTEGER, "Events found by reference_method.", low=0, privacy=PLAIN),
        real("bias_s", "s", "Mean of judged less reference (Bland & Altman 1986). Null without a pair."),
        real("lower_limit_s", "s", "Bias less 1.96 standard deviations. Null with fewer than two pairs."),
        real("upper_limit_s", "s", "Bias plus 1.96 standard deviations. Null as lower_limit_s."),
        Field(
            "clock_basis",
            Kind.CODE,
            "How the sensors' clock had been matched; null where they are in the trial's own file. Matched on the same contacts as are compared here, the bias of contact is zero by construction.",
            codes=_CLOCK_BASIS,
            nullable=True,
            privacy=PLAIN,
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
    rows=RECORDED,
    leaves=Leaves(
        "trial_id clock_offset_s clock_drift_ppm clock_drift_error_ppm residual_s event_count clock_basis "
        "is_matched unmatched_reason delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        real("clock_offset_s", "s", "Trial time when the second clock reads zero."),
        real("clock_drift_ppm", "[ppm]", "How much longer a second of the second clock is, parts per million."),
        real("clock_drift_error_ppm", "[ppm]", "Standard error of the drift; large in short trials.", low=0),
        real("residual_s", "s", "Root mean square of what is left after offset and drift.", low=0),
        Field("event_count", Kind.INTEGER, "Shared events that were matched.", low=0, privacy=PLAIN),
        Field(
            "clock_basis",
            Kind.CODE,
            "Events the match rests on. Against force or markers the mean difference between the two methods goes into the offset.",
            codes=_CLOCK_BASIS,
            nullable=True,
            privacy=PLAIN,
        ),
        Field(
            "is_matched",
            Kind.BOOLEAN,
            "Whether the match was accepted; if not, the values are those of the best attempt and nothing rests on them.",
            privacy=PLAIN,
        ),
        Field("unmatched_reason", Kind.TEXT, "Why it was not accepted.", nullable=True, privacy=PLAIN),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)

CURVES = Table(
    name="curves",
    layer=Layer.OUTCOME,
    one_row_is="one point of a curve averaged over the footfalls of one trial and side",
    key=("trial_id", "side", "quantity", "point_number"),
    rows=RECORDED,
    leaves=Leaves(
        "trial_id side quantity curve_span point_number quantity_unit mean_value sd_value footfall_count "
        "delivery_id raw_sha256 code_version study_version",
        by="quantity",
        quantities="*_envelope_uv",
    ),
    fields=(
        f.TRIAL_ID,
        f.SIDE,
        Field(
            "quantity", Kind.TEXT, "What the curve shows, with its unit, for example vertical_force_bw.", privacy=PLAIN
        ),
        Field(
            "curve_span",
            Kind.CODE,
            "What is stretched over the 101 points.",
            codes=(
                Code("contact", "Contact to toe-off."),
                Code("stride", "Contact to the next contact of the same foot."),
            ),
            privacy=PLAIN,
        ),
        Field(
            "point_number", Kind.INTEGER, "0 at contact, 100 at the end of curve_span.", low=0, high=100, privacy=PLAIN
        ),
        Field("quantity_unit", Kind.TEXT, "UCUM unit of mean and spread.", privacy=PLAIN),
        Field(
            "mean_value",
            Kind.REAL,
            "Mean over footfalls, in quantity_unit.",
            unit="{unit_of_row}",
            nullable=True,
            privacy=SENSITIVE,
        ),
        Field(
            "sd_value",
            Kind.REAL,
            "Standard deviation over footfalls, in quantity_unit. Null with one footfall.",
            unit="{unit_of_row}",
            nullable=True,
            privacy=SENSITIVE,
        ),
        Field(
            "footfall_count",
            Kind.INTEGER,
            "Footfalls averaged; one in which a sample is missing is left out.",
            low=1,
            privacy=PLAIN,
        ),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)
