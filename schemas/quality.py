"""What the checks saw and what became of each trial. Layer: quality."""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.leaving import Leaves
from schemas.model import Code, Field, Kind, Layer, Table
from schemas.privacy import IDENTIFIES, NOBODYS, PLAIN, SENSITIVE, SESSION, TRIAL, Rows

_CHECK = Field("check_name", Kind.IDENTIFIER, "Name of the check: the statement that should hold.", privacy=PLAIN)
_WEIGHT = Field("weight", Kind.CODE, "How much it matters.", codes=codes.WEIGHT, privacy=PLAIN)

FINDINGS = Table(
    name="findings",
    layer=Layer.QUALITY,
    one_row_is="one thing a check saw",
    key=("finding_id",),
    rows=Rows(TRIAL),
    fields=(
        Field(
            "finding_id",
            Kind.IDENTIFIER,
            "Made from delivery, trial, check and place: the same fault has the same id when run again.",
            privacy=PLAIN,
        ),
        f.DELIVERY_ID,
        f.optional(f.SITE),
        f.optional(f.TRIAL_ID),
        _CHECK,
        _WEIGHT,
        Field("file", Kind.TEXT, "File it was seen in.", nullable=True, privacy=IDENTIFIES),
        Field(
            "place",
            Kind.TEXT,
            "Where in the file: line and column, marker and frame, plate, footfall.",
            nullable=True,
            privacy=SENSITIVE,
        ),
        Field("seen", Kind.TEXT, "What was seen, with numbers and units.", privacy=SENSITIVE),
        Field("expected", Kind.TEXT, "What was expected.", privacy=SENSITIVE),
        Field("remedy", Kind.TEXT, "What to do about it.", privacy=SENSITIVE),
        Field(
            "moment_s",
            Kind.REAL,
            "When in the trial; null if it is not tied to a moment.",
            unit="s",
            nullable=True,
            privacy=SENSITIVE,
        ),
        Field(
            "signal",
            Kind.TEXT,
            "Signal to draw on the fix sheet, for example force:1:vertical or marker:calcaneus_left:up.",
            nullable=True,
            privacy=PLAIN,
        ),
        Field(
            "consequence_of",
            Kind.IDENTIFIER,
            "Finding of the same trial that this one most likely follows from: correct that one, and do nothing about "
            "this. Null for a cause and for what stands for itself.",
            nullable=True,
            privacy=PLAIN,
        ),
        f.CODE_VERSION,
        f.STUDY_VERSION,
    ),
)

CHECK_RUNS = Table(
    name="check_runs",
    layer=Layer.QUALITY,
    one_row_is="one check run on one subject: a delivery, a table of it, or a trial",
    key=("delivery_id", "check_name", "subject"),
    rows=NOBODYS,
    fields=(
        f.DELIVERY_ID,
        _CHECK,
        Field(
            "subject", Kind.TEXT, "What was looked at: the delivery, a table's name or a trial's id.", privacy=SENSITIVE
        ),
        Field("status", Kind.CODE, "How it ended.", codes=codes.CHECK_STATUS, privacy=PLAIN),
        Field("reason", Kind.TEXT, "Why it was skipped or how it crashed.", nullable=True, privacy=PLAIN),
        Field("rows_examined", Kind.INTEGER, "Rows or samples looked at.", low=0, privacy=PLAIN),
        Field("finding_count", Kind.INTEGER, "Findings made.", low=0, privacy=PLAIN),
        f.CODE_VERSION,
        f.STUDY_VERSION,
    ),
)

STANDINGS = Table(
    name="standings",
    layer=Layer.QUALITY,
    one_row_is="what became of one trial in one delivery",
    key=("delivery_id", "trial_id"),
    rows=Rows(TRIAL),
    leaves=Leaves(
        "delivery_id trial_id site participant_id visit condition kind trial_order standing superseded "
        "accepted_by_override study_day told_by_delivery code_version study_version"
    ),
    fields=(
        f.DELIVERY_ID,
        f.TRIAL_ID,
        f.SITE,
        f.optional(f.PARTICIPANT_ID),
        f.optional(f.VISIT),
        f.optional(f.CONDITION),
        Field("kind", Kind.CODE, "What the runner did.", codes=codes.TRIAL_KIND, nullable=True, privacy=PLAIN),
        f.optional(f.TRIAL_ORDER),
        Field("standing", Kind.CODE, "What became of it.", codes=codes.STANDING, privacy=PLAIN),
        Field("finding_count", Kind.INTEGER, "Findings on the trial, of any weight.", low=0, privacy=PLAIN),
        Field("superseded", Kind.BOOLEAN, "Whether a later delivery brought the trial again.", privacy=PLAIN),
        f.ACCEPTED_BY_OVERRIDE,
        f.optional(f.STUDY_DAY),
        Field(
            "resend_reason",
            Kind.TEXT,
            "Why the site sent it again, in its own words.",
            nullable=True,
            privacy=IDENTIFIES,
        ),
        f.TOLD_BY_DELIVERY,
        f.CODE_VERSION,
        f.STUDY_VERSION,
    ),
)

OVERRIDES = Table(
    name="overrides",
    layer=Layer.QUALITY,
    one_row_is="one check that a data manager set aside on one trial, so that the trial is not returned for it",
    key=("delivery_id", "trial_id", "check_name"),
    rows=Rows(TRIAL),
    fields=(
        f.TRIAL_ID,
        f.SITE,
        _CHECK,
        Field(
            "finding_count",
            Kind.INTEGER,
            "Findings set aside; 0 if today's checks find nothing any more.",
            low=0,
            privacy=PLAIN,
        ),
        Field("reason", Kind.TEXT, "Why, in the data manager's words.", privacy=IDENTIFIES),
        Field("decided_by", Kind.TEXT, "Who decided it, as given.", privacy=IDENTIFIES),
        Field("decided_utc", Kind.TEXT, "When it was decided, ISO 8601, UTC.", privacy=PLAIN),
        *f.PROVENANCE,
    ),
    notes="A decision counts for the trial's id, the bytes of its files and the check together. Consent, identifying "
    "texts, stopped deliveries and files that cannot be read are never set aside. To leave such trials out of an "
    "analysis, keep those with accepted_by_override false in trials.",
)

FINDING_PICTURES = Table(
    name="finding_pictures",
    layer=Layer.QUALITY,
    one_row_is="one point of the picture that proves a finding",
    key=("finding_id", "panel_number", "part_number", "point_number"),
    rows=Rows(TRIAL),
    fields=(
        Field("finding_id", Kind.IDENTIFIER, "The finding it is drawn for.", privacy=PLAIN),
        f.DELIVERY_ID,
        f.TRIAL_ID,
        Field("panel_number", Kind.INTEGER, "Drawing of the picture, from 1.", low=1, privacy=PLAIN),
        Field("panel_kind", Kind.CODE, "What kind of drawing it is.", codes=codes.PANEL_KIND, privacy=PLAIN),
        Field("panel_title", Kind.TEXT, "What is drawn.", privacy=SENSITIVE),
        Field(
            "across_words", Kind.TEXT, "What stands across, where the kind does not tell; else empty.", privacy=PLAIN
        ),
        Field("upwards_unit", Kind.TEXT, "UCUM unit of what stands upwards or is measured.", privacy=PLAIN),
        Field("part_number", Kind.INTEGER, "Part of the drawing, from 1.", low=1, privacy=PLAIN),
        Field("part_role", Kind.CODE, "How its points are meant.", codes=codes.PART_ROLE, privacy=PLAIN),
        Field("part_name", Kind.TEXT, "What the part shows.", privacy=SENSITIVE),
        Field("point_number", Kind.INTEGER, "Order of the points of a part, from 1.", low=1, privacy=PLAIN),
        Field(
            "across_value",
            Kind.REAL,
            "Place across, in the unit of the kind; null for none.",
            unit="{unit_of_row}",
            nullable=True,
            privacy=SENSITIVE,
        ),
        Field(
            "upwards_value",
            Kind.REAL,
            "Place upwards, in upwards_unit; null in a gap or for none.",
            unit="{unit_of_row}",
            nullable=True,
            privacy=SENSITIVE,
        ),
    ),
)

TRIAL_SHAPES = Table(
    name="trial_shapes",
    layer=Layer.QUALITY,
    one_row_is="the shape of one stride or step of an accepted running trial, or one of the two of a standing one",
    key=("trial_id", "delivery_id", "marker", "stride_number"),
    rows=Rows(TRIAL, scopes=("motion",)),
    fields=(
        f.TRIAL_ID,
        Field(
            "marker",
            Kind.TEXT,
            "Heel marker between whose highest places the stride is, for example calcaneus_left; of a step, kept of short trials, both heels; standing of a standing trial.",
            privacy=PLAIN,
        ),
        Field(
            "stride_number",
            Kind.INTEGER,
            "Counted from 0 within the trial and marker, steps within the trial; of a standing trial 0 is how it sways and 1 its posture.",
            low=0,
            privacy=PLAIN,
        ),
        Field(
            "cell",
            Kind.TEXT,
            "Coarse sizes of the shape, by which shapes worth comparing are found.",
            privacy=SENSITIVE,
        ),
        Field(
            "shape_code",
            Kind.TEXT,
            "The paths of both feet over the stride or step, less their means, in thousandths of the foot's length; of a standing trial sums of its markers' places in 0.01 mm, or their middle places in 0.1 mm: 16-bit integers, packed and written in base 64.",
            privacy=SENSITIVE,
        ),
        *f.PROVENANCE,
    ),
    notes="By these shapes a recording, or a part of one, is known again when it is sent once more as another trial.",
)

_QUANTITY_UNIT = Field(
    "unit_code", Kind.TEXT, "Unit of the values as it reads after a number; empty for none.", privacy=PLAIN
)

SITE_EXPECTATIONS = Table(
    name="site_expectations",
    layer=Layer.QUALITY,
    one_row_is="one expectation on one site's pooled values, with the window made from the other sites",
    key=("site", "check_name", "expectation_number"),
    rows=NOBODYS,
    fields=(
        f.SITE,
        _CHECK,
        Field("expectation_number", Kind.INTEGER, "Order within the check, from 1.", low=1, privacy=PLAIN),
        Field("expectation_kind", Kind.TEXT, "Name of the expectation in Great Expectations.", privacy=PLAIN),
        Field("measured", Kind.TEXT, "Column or quantity that was looked at.", privacy=PLAIN),
        f.optional(f.VISIT),
        f.optional(f.CONDITION),
        f.optional(f.AT_SPEED),
        Field("lower_value", Kind.REAL, "Lowest usual value; null if only the upper end counts.", unit="{unit_of_row}", nullable=True, privacy=PLAIN),
        Field("upper_value", Kind.REAL, "Highest usual value.", unit="{unit_of_row}", nullable=True, privacy=PLAIN),
        Field("observed_value", Kind.REAL, "What was seen: a median, a spread, or how many values did not fit.", unit="{unit_of_row}", nullable=True, privacy=PLAIN),
        _QUANTITY_UNIT,
        Field("is_met", Kind.BOOLEAN, "Whether the expectation was met.", privacy=PLAIN),
        Field("answer_json", Kind.TEXT, "Great Expectations' own answer, less what changes from run to run.", privacy=SENSITIVE),
        Field("engine_version", Kind.TEXT, "Version of Great Expectations.", privacy=PLAIN),
        f.CODE_VERSION,
        f.STUDY_VERSION,
    ),
    notes="Made anew with every warehouse, from the accepted trials of all sites.",
)  # fmt: skip

SITE_CONTROL_POINTS = Table(
    name="site_control_points",
    layer=Layer.QUALITY,
    one_row_is="one session of one site on the control chart of one quantity of its equipment",
    key=("site", "quantity", "point_number"),
    rows=Rows(SESSION),
    fields=(
        f.SITE,
        Field(
            "quantity",
            Kind.CODE,
            "What is charted; it should not depend on the runner.",
            codes=(
                Code("force_scale_ratio", "Mean vertical force over whole steps as a part of body weight."),
                Code("marker_scale_ratio", "Distance of trochanter and malleolus marker, standing, as a part of leg length by tape."),
                Code("second_clock_drift_ppm", "How much longer a second of the second recorder is; precise trials count more."),
            ), privacy=PLAIN),
        Field("point_number", Kind.INTEGER, "Order of the session: delivery it first came in, then study day, from 1.", low=1, privacy=PLAIN),
        f.SESSION_ID,
        f.DELIVERY_ID,
        Field("measured_value", Kind.REAL, "Mean over the session's accepted trials.", unit="{unit_of_row}", privacy=SENSITIVE),
        _QUANTITY_UNIT,
        Field("centre_value", Kind.REAL, "Mean of the first sessions. Null while there are too few for limits.", unit="{unit_of_row}", nullable=True, privacy=PLAIN),
        Field("lower_limit_value", Kind.REAL, "Centre less 2.66 mean moving ranges of the first sessions. Null as centre_value.", unit="{unit_of_row}", nullable=True, privacy=PLAIN),
        Field("upper_limit_value", Kind.REAL, "Centre plus the same. Null as centre_value.", unit="{unit_of_row}", nullable=True, privacy=PLAIN),
        Field("is_baseline", Kind.BOOLEAN, "Whether it is one of the first sessions, which the limits are made from.", privacy=PLAIN),
        f.CODE_VERSION,
        f.STUDY_VERSION,
    ),
    notes="Limits are the site's own (Shewhart chart of single values). Dates never travel, so the order is that of deliveries.",
)  # fmt: skip
