"""The tables a lab sends about its trials, as CSV files in the bag's payload. Layer: delivery.

Breathing gas, weekly logs and questionnaires are in ``delivery_beside``.
"""

from __future__ import annotations

from dataclasses import replace

from schemas import codes
from schemas import fields as f
from schemas.model import Field, Kind, Layer, Reference, Table
from schemas.privacy import IDENTIFIES, PLAIN, QUASI, RUNNER, SENSITIVE, SESSION, TRIAL, Rows, Told

#: Who a runner is and when sessions were: rows that say whose others are, and have no scope of their own.
_OF_RUNNER, _OF_SESSION = Rows(RUNNER, follows=True), Rows(SESSION, follows=True)
#: All signals of a trial lie in one file, from which no bytes can be cut.
RECORDED = Rows(TRIAL, scopes=("motion", "force"))
TO_PARTICIPANT = Reference(("participant_id",), "sent_participants", ("participant_id",))
TO_SESSION = Reference(("session_id",), "sent_sessions", ("session_id",))
_TO_TRIAL = Reference(("trial_id",), "sent_trials", ("trial_id",))

SENT_PARTICIPANTS = Table(
    name="sent_participants",
    layer=Layer.DELIVERY,
    file_name="participants.csv",
    one_row_is="one runner",
    key=("participant_id",),
    rows=_OF_RUNNER,
    fields=(
        f.PARTICIPANT_ID,
        Field(
            "birth_year",
            Kind.INTEGER,
            "Year of birth.",
            unit="a",
            low=1900,
            high=2100,
            privacy=QUASI,
            told=Told((10, 20)),
        ),
        Field("sex", Kind.CODE, "Sex as stated by the runner.", codes=codes.SEX, privacy=QUASI, told=Told()),
        Field(
            "stature_m",
            Kind.REAL,
            "Standing height without shoes.",
            unit="m",
            low=1.0,
            high=2.3,
            privacy=QUASI,
            told=Told((0.05, 0.1, 0.2)),
        ),
        Field(
            "mass_kg",
            Kind.REAL,
            "Body mass at enrolment, light clothing, without shoes.",
            unit="kg",
            low=25,
            high=200,
            privacy=QUASI,
            told=Told((5, 10, 20)),
        ),
        Field(
            "leg_length_m",
            Kind.REAL,
            "Greater trochanter to ground, standing without shoes.",
            unit="m",
            low=0.4,
            high=1.4,
            nullable=True,
            privacy=QUASI,
            told=Told((0.05, 0.1, 0.2)),
        ),
        Field(
            "habitual_footwear",
            Kind.CODE,
            "What the runner mostly ran in before the study.",
            study_list="conditions",
            nullable=True,
            privacy=QUASI,
            told=Told(),
        ),
        Field(
            "weekly_distance_km_per_wk",
            Kind.REAL,
            "Usual running distance before the study.",
            unit="km/wk",
            low=0,
            high=400,
            nullable=True,
            privacy=QUASI,
            told=Told((10, 20, 40)),
        ),
    ),
)

SENT_CONSENTS = Table(
    name="sent_consents",
    layer=Layer.DELIVERY,
    file_name="consents.csv",
    one_row_is="one consent of one runner given or withdrawn",
    key=("participant_id", "scope", "study_day", "event"),
    rows=_OF_RUNNER,
    fields=(
        f.PARTICIPANT_ID,
        Field("scope", Kind.CODE, "What the consent covers.", codes=codes.CONSENT_SCOPE, privacy=SENSITIVE),
        Field("event", Kind.CODE, "Whether it was given or withdrawn.", codes=codes.CONSENT_EVENT, privacy=SENSITIVE),
        f.STUDY_DAY,
        Field("form_version", Kind.TEXT, "Version of the consent form that was signed.", privacy=IDENTIFIES),
    ),
    references=(TO_PARTICIPANT,),
)

SENT_SESSIONS = Table(
    name="sent_sessions",
    layer=Layer.DELIVERY,
    file_name="sessions.csv",
    one_row_is="one laboratory visit of one runner",
    key=("session_id",),
    rows=_OF_SESSION,
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
            privacy=QUASI,
        ),
        f.SURFACE,
        f.SESSION_SPEED,
    ),
    references=(TO_PARTICIPANT,),
)

SENT_TRIALS = Table(
    name="sent_trials",
    layer=Layer.DELIVERY,
    file_name="trials.csv",
    one_row_is="one recording",
    key=("trial_id",),
    rows=RECORDED,
    fields=(
        f.TRIAL_ID,
        f.SESSION_ID,
        f.CONDITION,
        f.TRIAL_KIND,
        Field(
            "file",
            Kind.TEXT,
            "Path of the C3D file in the payload, with forward slashes, for example trials/T001.c3d.",
            privacy=IDENTIFIES,
            names_file=True,
        ),
        Field(
            "sidecar",
            Kind.TEXT,
            "Path of a second file recorded at the same time; empty if none.",
            nullable=True,
            privacy=IDENTIFIES,
            names_file=True,
        ),
        replace(f.TRIAL_ORDER, high=500),
        f.SET_SPEED,
        f.BELT_SPEED,
        Field(
            "standing_session_id",
            Kind.IDENTIFIER,
            "Session of the same runner whose standing trial in the same condition serves this running trial, too. Empty: its own session.",
            nullable=True,
            may_be_left_out=True,
            privacy=IDENTIFIES,
        ),
        f.COMMENT,
        f.RESEND_REASON,
    ),
    references=(TO_SESSION, Reference(("standing_session_id",), "sent_sessions", ("session_id",))),
)

SENT_CHANNELS = Table(
    name="sent_channels",
    layer=Layer.DELIVERY,
    file_name="channels.csv",
    optional=True,
    one_row_is="one signal that is neither marker nor force plate, in one trial",
    key=("trial_id", "label"),
    rows=RECORDED,
    fields=(
        f.TRIAL_ID,
        Field("label", Kind.TEXT, "The channel's label in the file.", privacy=IDENTIFIES),
        Field("role", Kind.CODE, "What the signal is for.", codes=codes.CHANNEL_ROLE, privacy=PLAIN),
        f.optional(f.MUSCLE),
        f.optional(f.SIDE),
        Field("unit_code", Kind.TEXT, "UCUM unit of the values in the file, for example mV.", privacy=IDENTIFIES),
        Field(
            "amplifier_gain",
            Kind.TEXT,
            "Gain as the amplifier states it; empty if the values are already in the unit.",
            nullable=True,
            privacy=IDENTIFIES,
        ),
    ),
    references=(_TO_TRIAL,),
    notes="An amplifier_gain that nobody knows any more is the word unknown: then nothing of the muscle is given in uV, and values that are divided by a reference of the same session are there.",
)
