"""The tables a lab sends, as CSV files in the bag's payload. Layer: delivery."""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.model import Field, Kind, Layer, Reference, Table

_TO_PARTICIPANT = Reference(("participant_id",), "sent_participants", ("participant_id",))
_TO_SESSION = Reference(("session_id",), "sent_sessions", ("session_id",))
_TO_TRIAL = Reference(("trial_id",), "sent_trials", ("trial_id",))

SENT_PARTICIPANTS = Table(
    name="sent_participants",
    layer=Layer.DELIVERY,
    file_name="participants.csv",
    one_row_is="one runner",
    key=("participant_id",),
    fields=(
        f.PARTICIPANT_ID,
        Field("birth_year", Kind.INTEGER, "Year of birth.", unit="a", low=1900, high=2100),
        Field("sex", Kind.CODE, "Sex as stated by the runner.", codes=codes.SEX),
        Field("stature_m", Kind.REAL, "Standing height without shoes.", unit="m", low=1.0, high=2.3),
        Field(
            "mass_kg",
            Kind.REAL,
            "Body mass at enrolment, light clothing, without shoes.",
            unit="kg",
            low=25,
            high=200,
        ),
        Field(
            "leg_length_m",
            Kind.REAL,
            "Greater trochanter to ground, standing without shoes.",
            unit="m",
            low=0.4,
            high=1.4,
            nullable=True,
        ),
        Field(
            "habitual_footwear",
            Kind.CODE,
            "What the runner mostly ran in before the study.",
            study_list="conditions",
            nullable=True,
        ),
        Field(
            "weekly_distance_km_per_wk",
            Kind.REAL,
            "Usual running distance before the study.",
            unit="km/wk",
            low=0,
            high=400,
            nullable=True,
        ),
    ),
)

SENT_CONSENTS = Table(
    name="sent_consents",
    layer=Layer.DELIVERY,
    file_name="consents.csv",
    one_row_is="one consent of one runner given or withdrawn",
    key=("participant_id", "scope", "study_day", "event"),
    fields=(
        f.PARTICIPANT_ID,
        Field("scope", Kind.CODE, "What the consent covers.", codes=codes.CONSENT_SCOPE),
        Field("event", Kind.CODE, "Whether it was given or withdrawn.", codes=codes.CONSENT_EVENT),
        f.STUDY_DAY,
        Field("form_version", Kind.TEXT, "Version of the consent form that was signed."),
    ),
    references=(_TO_PARTICIPANT,),
)

SENT_SESSIONS = Table(
    name="sent_sessions",
    layer=Layer.DELIVERY,
    file_name="sessions.csv",
    one_row_is="one laboratory visit of one runner",
    key=("session_id",),
    fields=(
        f.SESSION_ID,
        f.PARTICIPANT_ID,
        f.VISIT,
        f.STUDY_DAY,
        Field(
            "mass_kg",
            Kind.REAL,
            "Body mass on the day, in running clothes, without shoes.",
            unit="kg",
            low=25,
            high=200,
        ),
        f.SURFACE,
        Field(
            "set_speed_m_per_s",
            Kind.REAL,
            "Speed the protocol asks for; on a treadmill the belt speed.",
            unit="m/s",
            low=0.5,
            high=10,
        ),
    ),
    references=(_TO_PARTICIPANT,),
)

SENT_TRIALS = Table(
    name="sent_trials",
    layer=Layer.DELIVERY,
    file_name="trials.csv",
    one_row_is="one recording",
    key=("trial_id",),
    fields=(
        f.TRIAL_ID,
        f.SESSION_ID,
        f.CONDITION,
        f.TRIAL_KIND,
        Field(
            "file",
            Kind.TEXT,
            "Path of the C3D file in the payload, with forward slashes, for example trials/T001.c3d.",
        ),
        Field(
            "sidecar",
            Kind.TEXT,
            "Path of a second file recorded at the same time; empty if none.",
            nullable=True,
        ),
        Field("trial_order", Kind.INTEGER, "Position of the trial within its session, from 1.", low=1, high=500),
        f.COMMENT,
        f.RESEND_REASON,
    ),
    references=(_TO_SESSION,),
)

SENT_CHANNELS = Table(
    name="sent_channels",
    layer=Layer.DELIVERY,
    file_name="channels.csv",
    optional=True,
    one_row_is="one signal that is neither marker nor force plate, in one trial",
    key=("trial_id", "label"),
    fields=(
        f.TRIAL_ID,
        Field("label", Kind.TEXT, "The channel's label in the file."),
        Field("role", Kind.CODE, "What the signal is for.", codes=codes.CHANNEL_ROLE),
        f.optional(f.MUSCLE),
        f.optional(f.SIDE),
        Field("unit_code", Kind.TEXT, "UCUM unit of the values in the file, for example mV."),
        Field(
            "amplifier_gain",
            Kind.TEXT,
            "Gain as the amplifier states it; empty if the values are already in the unit.",
            nullable=True,
        ),
    ),
    references=(_TO_TRIAL,),
)

SENT_BREATHS = Table(
    name="sent_breaths",
    layer=Layer.DELIVERY,
    file_name="breaths.csv",
    optional=True,
    one_row_is="one breath or one averaging interval of a metabolic bout",
    key=("session_id", "condition", "bout", "elapsed_s"),
    fields=(
        f.SESSION_ID,
        f.CONDITION,
        Field(
            "bout",
            Kind.INTEGER,
            "Which metabolic bout of this session and condition, from 1.",
            low=1,
            high=50,
        ),
        Field(
            "elapsed_s",
            Kind.REAL,
            "Time from the start of the bout to the end of the sample.",
            unit="s",
            low=0,
            high=7200,
        ),
        Field(
            "oxygen_uptake_ml_per_min",
            Kind.REAL,
            "Oxygen uptake at standard temperature and pressure, dry.",
            unit="mL/min",
            low=0,
            high=8000,
        ),
        Field(
            "carbon_dioxide_output_ml_per_min",
            Kind.REAL,
            "Carbon dioxide output at standard temperature and pressure, dry.",
            unit="mL/min",
            low=0,
            high=9000,
        ),
        Field("heart_rate_per_min", Kind.REAL, "Heart rate.", unit="/min", low=20, high=250, nullable=True),
    ),
    references=(_TO_SESSION,),
)

SENT_WEEKS = Table(
    name="sent_weeks",
    layer=Layer.DELIVERY,
    file_name="weeks.csv",
    optional=True,
    one_row_is="one week of one runner's change-over in one kind of footwear",
    key=("participant_id", "week", "condition"),
    fields=(
        f.PARTICIPANT_ID,
        f.WEEK,
        f.CONDITION,
        Field("running_min", Kind.REAL, "Time run in this footwear in the week.", unit="min", low=0, high=3000),
    ),
    references=(_TO_PARTICIPANT,),
)

SENT_SYMPTOMS = Table(
    name="sent_symptoms",
    layer=Layer.DELIVERY,
    file_name="symptoms.csv",
    optional=True,
    one_row_is="one runner's weekly answers to the overuse questionnaire (OSTRC-H2, Clarsen et al. 2020)",
    key=("participant_id", "week"),
    fields=(
        f.PARTICIPANT_ID,
        f.WEEK,
        *(
            Field(
                f"question_{n}_points",
                Kind.INTEGER,
                f"Points of question {n}: 0, 8, 17 or 25.",
                low=0,
                high=25,
                nullable=n > 1,
            )
            for n in (1, 2, 3, 4)
        ),
    ),
    references=(_TO_PARTICIPANT,),
)
