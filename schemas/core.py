"""Who, where, when and what was recorded: keyed tables pooled over the labs. Layer: core."""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.delivery import SENT_PARTICIPANTS, SENT_SESSIONS, SENT_SYMPTOMS, SENT_WEEKS
from schemas.model import Field, Kind, Layer, Reference, Table

_TO_RUNNER = Reference(("participant_id",), "runners", ("participant_id",))
_TO_TRIAL = Reference(("trial_id",), "trials", ("trial_id",))

SITES = Table(
    name="sites",
    layer=Layer.CORE,
    one_row_is="one laboratory of the study file",
    key=("site",),
    fields=(
        f.SITE,
        Field("description", Kind.TEXT, "The laboratory in a few words, from the study file."),
        f.SURFACE,
        Field(
            "force_rate_hz",
            Kind.REAL,
            "Sampling rate of force that the site's profile declares; null without force plates.",
            unit="Hz",
            low=0,
            nullable=True,
        ),
        Field(
            "marker_rate_hz",
            Kind.REAL,
            "Sampling rate of markers that the site's profile declares.",
            unit="Hz",
            low=0,
        ),
    ),
)

CONDITIONS = Table(
    name="conditions",
    layer=Layer.CORE,
    one_row_is="one footwear condition of the study file",
    key=("condition",),
    fields=(f.CONDITION, Field("description", Kind.TEXT, "What the runner wears, from the study file.")),
)

VISITS = Table(
    name="visits",
    layer=Layer.CORE,
    one_row_is="one visit of the study's plan",
    key=("visit",),
    fields=(
        f.VISIT,
        Field(
            "planned_week",
            Kind.INTEGER,
            "Week of the change-over in which the visit is due.",
            unit="wk",
            low=0,
        ),
    ),
)

DELIVERIES = Table(
    name="deliveries",
    layer=Layer.CORE,
    one_row_is="one delivery that reached the depot",
    key=("delivery_id",),
    fields=(
        f.DELIVERY_ID,
        f.optional(f.SITE),
        Field(
            "delivery_number",
            Kind.INTEGER,
            "The lab's running number; null if the bag does not say.",
            low=1,
            nullable=True,
        ),
        Field("status", Kind.CODE, "What became of the delivery.", codes=codes.DELIVERY_STATUS),
        Field("arrived_as", Kind.TEXT, "Name of the folder or archive in the inbox."),
        Field(
            "fingerprint_sha256",
            Kind.IDENTIFIER,
            "SHA-256 over all payload paths and checksums: equal for equal content.",
        ),
        Field("received_utc", Kind.TEXT, "When the depot took it in, ISO 8601, UTC."),
        Field("payload_count", Kind.INTEGER, "Files in the payload.", low=0),
        Field("payload_bytes", Kind.INTEGER, "Bytes in the payload.", unit="By", low=0),
        f.CODE_VERSION,
        f.STUDY_VERSION,
    ),
)

DELIVERY_FILES = Table(
    name="delivery_files",
    layer=Layer.CORE,
    one_row_is="one payload file of one delivery",
    key=("delivery_id", "file"),
    fields=(
        f.DELIVERY_ID,
        Field("file", Kind.TEXT, "Path within the payload."),
        Field("file_bytes", Kind.INTEGER, "Size of the file.", unit="By", low=0),
        Field("file_sha256", Kind.IDENTIFIER, "SHA-256 of the file's bytes; also its name in the raw store."),
    ),
)

RUNNERS = Table(
    name="runners",
    layer=Layer.CORE,
    one_row_is="one runner with at least one accepted trial",
    key=("participant_id",),
    fields=(*SENT_PARTICIPANTS.fields, f.DELIVERY_ID, f.CODE_VERSION, f.STUDY_VERSION),
)

SESSIONS = Table(
    name="sessions",
    layer=Layer.CORE,
    one_row_is="one laboratory visit of one runner with at least one accepted trial",
    key=("session_id",),
    fields=(*SENT_SESSIONS.fields, f.SITE, f.DELIVERY_ID, f.CODE_VERSION, f.STUDY_VERSION),
    references=(_TO_RUNNER,),
)

TRIALS = Table(
    name="trials",
    layer=Layer.CORE,
    one_row_is="one accepted recording, in its newest version",
    key=("trial_id",),
    fields=(
        f.TRIAL_ID,
        f.SESSION_ID,
        f.PARTICIPANT_ID,
        f.SITE,
        f.VISIT,
        f.CONDITION,
        f.TRIAL_KIND,
        f.SURFACE,
        Field("trial_order", Kind.INTEGER, "Position of the trial within its session, from 1.", low=1),
        Field("duration_s", Kind.REAL, "Length of the recording.", unit="s", low=0),
        Field("marker_rate_hz", Kind.REAL, "Marker frames per second.", unit="Hz", low=0),
        Field(
            "analog_rate_hz",
            Kind.REAL,
            "Analog samples per second; null without analog channels.",
            unit="Hz",
            low=0,
            nullable=True,
        ),
        Field("plate_count", Kind.INTEGER, "Force plates in the recording.", low=0),
        Field("note_count", Kind.INTEGER, "Findings of weight notes that were kept with the trial.", low=0),
        f.ACCEPTED_BY_OVERRIDE,
        *f.PROVENANCE,
    ),
    references=(Reference(("session_id",), "sessions", ("session_id",)), _TO_RUNNER),
)

STANDING_POSTURES = Table(
    name="standing_postures",
    layer=Layer.CORE,
    one_row_is="the mean position of one marker in one standing trial",
    key=("trial_id", "marker"),
    fields=(
        f.TRIAL_ID,
        f.SESSION_ID,
        f.CONDITION,
        Field("marker", Kind.TEXT, "Anatomical role and side of the marker, for example calcaneus_left."),
        Field("forward_m", Kind.REAL, "Mean position along the running direction (X).", unit="m"),
        Field("up_m", Kind.REAL, "Mean height (Y).", unit="m"),
        Field("right_m", Kind.REAL, "Mean position to the runner's right (Z).", unit="m"),
        *f.PROVENANCE,
    ),
    references=(_TO_TRIAL,),
)

REPORTED_WEEKS = Table(
    name="reported_weeks",
    layer=Layer.CORE,
    one_row_is="one week of one pooled runner's change-over in one kind of footwear, as reported",
    key=SENT_WEEKS.key,
    fields=(*SENT_WEEKS.fields, f.DELIVERY_ID, f.CODE_VERSION, f.STUDY_VERSION),
    references=(_TO_RUNNER,),
)

REPORTED_SYMPTOMS = Table(
    name="reported_symptoms",
    layer=Layer.CORE,
    one_row_is="one pooled runner's weekly answers to the overuse questionnaire, as reported",
    key=SENT_SYMPTOMS.key,
    fields=(*SENT_SYMPTOMS.fields, f.DELIVERY_ID, f.CODE_VERSION, f.STUDY_VERSION),
    references=(_TO_RUNNER,),
)
