"""Who, where, when and what was recorded: keyed tables pooled over the labs. Layer: core."""

from __future__ import annotations

from dataclasses import replace

from schemas import codes
from schemas import fields as f
from schemas.delivery import SENT_PARTICIPANTS, SENT_SESSIONS, SENT_TRIALS
from schemas.delivery_beside import SENT_SYMPTOMS, SENT_WEEKS
from schemas.leaving import Leaves
from schemas.model import Field, Kind, Layer, Reference, Table
from schemas.privacy import IDENTIFIES, NOBODYS, PLAIN, SENSITIVE, TRIAL, Rows

_TO_RUNNER = Reference(("participant_id",), "runners", ("participant_id",))
_TO_TRIAL = Reference(("trial_id",), "trials", ("trial_id",))

SITES = Table(
    name="sites",
    layer=Layer.CORE,
    one_row_is="one site of the study file",
    key=("site",),
    rows=NOBODYS,
    leaves=Leaves("site description surface force_rate_hz marker_rate_hz"),
    fields=(
        f.SITE,
        Field("description", Kind.TEXT, "The laboratory in a few words, from the study file.", privacy=PLAIN),
        f.SURFACE,
        Field(
            "force_rate_hz",
            Kind.REAL,
            "Sampling rate of force that the site's profile declares; null without force plates.",
            unit="Hz",
            low=0,
            nullable=True,
            privacy=PLAIN,
        ),
        Field(
            "marker_rate_hz",
            Kind.REAL,
            "Sampling rate of markers that the site's profile declares.",
            unit="Hz",
            low=0,
            privacy=PLAIN,
        ),
    ),
)

CONDITIONS = Table(
    name="conditions",
    layer=Layer.CORE,
    one_row_is="one footwear condition of the study file",
    key=("condition",),
    rows=NOBODYS,
    leaves=Leaves("condition description"),
    fields=(f.CONDITION, Field("description", Kind.TEXT, "What the runner wears, from the study file.", privacy=PLAIN)),
)

VISITS = Table(
    name="visits",
    layer=Layer.CORE,
    one_row_is="one visit of the study's plan",
    key=("visit",),
    rows=NOBODYS,
    leaves=Leaves("visit planned_week"),
    fields=(
        f.VISIT,
        Field(
            "planned_week",
            Kind.INTEGER,
            "Week of the change-over in which the visit is due.",
            unit="wk",
            low=0,
            privacy=PLAIN,
        ),
    ),
)

DELIVERIES = Table(
    name="deliveries",
    layer=Layer.CORE,
    one_row_is="one delivery that reached the depot",
    key=("delivery_id",),
    rows=NOBODYS,
    leaves=Leaves("delivery_id site delivery_number status code_version study_version"),
    fields=(
        f.DELIVERY_ID,
        f.optional(f.SITE),
        Field(
            "named_site",
            Kind.CODE,
            "The site that the bag names, if it lay in the inbox of another one, which is then site; null else.",
            study_list="sites",
            nullable=True,
            privacy=PLAIN,
        ),
        Field(
            "delivery_number",
            Kind.INTEGER,
            "The lab's running number; null if the bag does not say.",
            low=1,
            nullable=True,
            privacy=PLAIN,
        ),
        Field("status", Kind.CODE, "What became of the delivery.", codes=codes.DELIVERY_STATUS, privacy=PLAIN),
        Field("arrived_as", Kind.TEXT, "Name of the folder or archive in the inbox.", privacy=IDENTIFIES),
        Field(
            "fingerprint_sha256",
            Kind.IDENTIFIER,
            "SHA-256 over all payload paths and checksums: equal for equal content.",
            privacy=PLAIN,
        ),
        Field("received_utc", Kind.TEXT, "When the depot took it in, ISO 8601, UTC.", privacy=PLAIN),
        Field("payload_count", Kind.INTEGER, "Files in the payload.", low=0, privacy=PLAIN),
        Field("payload_bytes", Kind.INTEGER, "Bytes in the payload.", unit="By", low=0, privacy=PLAIN),
        f.CODE_VERSION,
        f.STUDY_VERSION,
    ),
)

DELIVERY_FILES = Table(
    name="delivery_files",
    layer=Layer.CORE,
    one_row_is="one payload file of one delivery",
    key=("delivery_id", "file"),
    rows=NOBODYS,
    fields=(
        f.DELIVERY_ID,
        Field("file", Kind.TEXT, "Path within the payload.", privacy=IDENTIFIES),
        Field("file_bytes", Kind.INTEGER, "Size of the file.", unit="By", low=0, privacy=PLAIN),
        Field(
            "file_sha256",
            Kind.IDENTIFIER,
            "SHA-256 of the file's bytes; also its name in the raw store.",
            privacy=PLAIN,
        ),
    ),
)

RUNNERS = Table(
    name="runners",
    layer=Layer.CORE,
    one_row_is="one runner with at least one accepted trial",
    key=("participant_id",),
    rows=SENT_PARTICIPANTS.rows,
    leaves=Leaves(
        "participant_id birth_year sex stature_m mass_kg leg_length_m habitual_footwear "
        "weekly_distance_km_per_wk delivery_id code_version study_version"
    ),
    fields=(*SENT_PARTICIPANTS.fields, f.DELIVERY_ID, f.CODE_VERSION, f.STUDY_VERSION),
)

SESSIONS = Table(
    name="sessions",
    layer=Layer.CORE,
    one_row_is="one laboratory visit of one runner with at least one accepted trial",
    key=("session_id",),
    rows=SENT_SESSIONS.rows,
    leaves=Leaves(
        "session_id participant_id visit study_day surface set_speed_m_per_s site delivery_id code_version "
        "study_version"
    ),
    fields=(*SENT_SESSIONS.fields, f.SITE, f.DELIVERY_ID, f.CODE_VERSION, f.STUDY_VERSION),
    references=(_TO_RUNNER,),
)

TRIALS = Table(
    name="trials",
    layer=Layer.CORE,
    one_row_is="one accepted recording, in its newest version",
    key=("trial_id",),
    rows=SENT_TRIALS.rows,
    leaves=Leaves(
        "trial_id session_id participant_id site visit condition kind surface trial_order set_speed_m_per_s "
        "belt_speed_m_per_s duration_s marker_rate_hz analog_rate_hz plate_count has_notes "
        "accepted_by_override delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.SESSION_ID,
        f.PARTICIPANT_ID,
        f.SITE,
        f.VISIT,
        f.CONDITION,
        f.TRIAL_KIND,
        f.SURFACE,
        f.TRIAL_ORDER,
        replace(f.SET_SPEED, description="Speed the protocol asks for in the trial.", may_be_left_out=False),
        replace(f.BELT_SPEED, may_be_left_out=False),
        Field("duration_s", Kind.REAL, "Length of the recording.", unit="s", low=0, privacy=SENSITIVE),
        Field("marker_rate_hz", Kind.REAL, "Marker frames per second.", unit="Hz", low=0, privacy=PLAIN),
        Field(
            "analog_rate_hz",
            Kind.REAL,
            "Analog samples per second; null without analog channels.",
            unit="Hz",
            low=0,
            nullable=True,
            privacy=PLAIN,
        ),
        Field("plate_count", Kind.INTEGER, "Force plates in the recording.", low=0, privacy=PLAIN),
        Field(
            "has_notes",
            Kind.BOOLEAN,
            "Whether findings of weight notes were kept with the trial; which, stands in findings.",
            privacy=PLAIN,
        ),
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
    rows=Rows(TRIAL, scopes=("motion",)),
    fields=(
        f.TRIAL_ID,
        f.SESSION_ID,
        f.CONDITION,
        Field(
            "marker", Kind.TEXT, "Anatomical role and side of the marker, for example calcaneus_left.", privacy=PLAIN
        ),
        Field("forward_m", Kind.REAL, "Mean position along the running direction (X).", unit="m", privacy=SENSITIVE),
        Field("up_m", Kind.REAL, "Mean height (Y).", unit="m", privacy=SENSITIVE),
        Field("right_m", Kind.REAL, "Mean position to the runner's right (Z).", unit="m", privacy=SENSITIVE),
        *f.PROVENANCE,
    ),
    references=(_TO_TRIAL,),
)

MUSCLE_REFERENCES = Table(
    name="muscle_references",
    layer=Layer.CORE,
    one_row_is="what one accepted reference recording gives to divide one muscle's amplitudes by",
    key=("trial_id", "muscle", "side"),
    rows=Rows(TRIAL, scopes=("motion", "force", "muscle")),
    leaves=Leaves(
        "trial_id session_id muscle side normalisation reference_uv reference_recorded_uv delivery_id "
        "raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.SESSION_ID,
        f.MUSCLE,
        f.SIDE,
        Field("normalisation", Kind.CODE, "What kind of reference it is.", codes=codes.NORMALISATION, privacy=PLAIN),
        Field(
            "reference_uv",
            Kind.REAL,
            "The reference amplitude. Null where the gain is not known.",
            unit="uV",
            low=0,
            nullable=True,
            privacy=SENSITIVE,
        ),
        Field(
            "reference_recorded_uv",
            Kind.REAL,
            "Where the gain is not known, the reference amplitude behind the amplifier: only the same channel with the same gain can be divided by it. Else null.",
            unit="uV",
            low=0,
            nullable=True,
            privacy=SENSITIVE,
        ),
        *f.PROVENANCE,
    ),
    references=(_TO_TRIAL,),
    notes="Of several recordings of a session the strongest contraction counts, or the mean of the dynamic peaks. A "
    "delivery without a reference recording of its own takes those of the newest other delivery of its session.",
)

REPORTED_WEEKS = Table(
    name="reported_weeks",
    layer=Layer.CORE,
    one_row_is="one week of one pooled runner's change-over in one kind of footwear, as reported",
    key=SENT_WEEKS.key,
    rows=SENT_WEEKS.rows,
    pools=SENT_WEEKS.name,
    fields=(*SENT_WEEKS.fields, f.DELIVERY_ID, f.CODE_VERSION, f.STUDY_VERSION),
    references=(_TO_RUNNER,),
)

REPORTED_SYMPTOMS = Table(
    name="reported_symptoms",
    layer=Layer.CORE,
    one_row_is="one pooled runner's weekly answers to the overuse questionnaire, as reported",
    key=SENT_SYMPTOMS.key,
    rows=SENT_SYMPTOMS.rows,
    pools=SENT_SYMPTOMS.name,
    fields=(*SENT_SYMPTOMS.fields, f.DELIVERY_ID, f.CODE_VERSION, f.STUDY_VERSION),
    references=(_TO_RUNNER,),
)
