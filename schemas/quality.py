"""What the checks saw and what became of each trial. Layer: quality."""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.model import Field, Kind, Layer, Table

_CHECK = Field("check_name", Kind.IDENTIFIER, "Name of the check: the statement that should hold.")
_WEIGHT = Field("weight", Kind.CODE, "How much it matters.", codes=codes.WEIGHT)

FINDINGS = Table(
    name="findings",
    layer=Layer.QUALITY,
    one_row_is="one thing a check saw",
    key=("finding_id",),
    fields=(
        Field(
            "finding_id",
            Kind.IDENTIFIER,
            "Made from delivery, trial, check and place: the same fault has the same id when run again.",
        ),
        f.DELIVERY_ID,
        f.optional(f.SITE),
        f.optional(f.TRIAL_ID),
        _CHECK,
        _WEIGHT,
        Field("file", Kind.TEXT, "File it was seen in.", nullable=True),
        Field(
            "place",
            Kind.TEXT,
            "Where in the file: line and column, marker and frame, plate, footfall.",
            nullable=True,
        ),
        Field("seen", Kind.TEXT, "What was seen, with numbers and units."),
        Field("expected", Kind.TEXT, "What was expected."),
        Field("remedy", Kind.TEXT, "What to do about it."),
        Field(
            "moment_s",
            Kind.REAL,
            "When in the trial; null if it is not tied to a moment.",
            unit="s",
            nullable=True,
        ),
        Field(
            "signal",
            Kind.TEXT,
            "Signal to draw on the fix sheet, for example force:1:vertical or marker:calcaneus_left:up.",
            nullable=True,
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
    fields=(
        f.DELIVERY_ID,
        _CHECK,
        Field("subject", Kind.TEXT, "What was looked at: the delivery, a table's name or a trial's id."),
        Field("status", Kind.CODE, "How it ended.", codes=codes.CHECK_STATUS),
        Field("reason", Kind.TEXT, "Why it was skipped or how it crashed.", nullable=True),
        Field("rows_examined", Kind.INTEGER, "Rows or samples looked at.", low=0),
        Field("finding_count", Kind.INTEGER, "Findings made.", low=0),
        f.CODE_VERSION,
        f.STUDY_VERSION,
    ),
)

STANDINGS = Table(
    name="standings",
    layer=Layer.QUALITY,
    one_row_is="what became of one trial in one delivery",
    key=("delivery_id", "trial_id"),
    fields=(
        f.DELIVERY_ID,
        f.TRIAL_ID,
        f.SITE,
        f.optional(f.PARTICIPANT_ID),
        f.optional(f.VISIT),
        f.optional(f.CONDITION),
        Field("kind", Kind.CODE, "What the runner did.", codes=codes.TRIAL_KIND, nullable=True),
        Field("standing", Kind.CODE, "What became of it.", codes=codes.STANDING),
        Field("finding_count", Kind.INTEGER, "Findings on the trial, of any weight.", low=0),
        Field("superseded", Kind.BOOLEAN, "Whether a later delivery brought the trial again."),
        f.CODE_VERSION,
        f.STUDY_VERSION,
    ),
)

SIGNAL_TRACES = Table(
    name="signal_traces",
    layer=Layer.QUALITY,
    one_row_is="one point of the signal drawn beside a finding",
    key=("finding_id", "signal", "time_s"),
    fields=(
        Field("finding_id", Kind.IDENTIFIER, "The finding it is drawn for."),
        f.DELIVERY_ID,
        f.TRIAL_ID,
        Field("signal", Kind.TEXT, "Which signal, as in findings."),
        Field("signal_unit", Kind.TEXT, "UCUM unit of the values."),
        Field("time_s", Kind.REAL, "Time on the trial's clock.", unit="s"),
        Field(
            "signal_value",
            Kind.REAL,
            "Value, in signal_unit; null in a gap.",
            unit="{unit_of_row}",
            nullable=True,
        ),
    ),
)
