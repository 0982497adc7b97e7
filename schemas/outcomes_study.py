"""Outcome tables beyond the single trial: energy, change-over weeks, contrasts between conditions. Layer: outcome."""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.model import Field, Kind, Layer, Reference, Table
from schemas.outcomes import real

_STUDY_PROVENANCE = (f.CODE_VERSION, f.STUDY_VERSION)
_OUTCOME_NAME = Field("outcome", Kind.TEXT, "Column name of the outcome, its unit in its ending.")
_REFERENCE = Field("reference_condition", Kind.CODE, "Condition that is compared with.", study_list="conditions")

ENERGY_BOUTS = Table(
    name="energy_bouts",
    layer=Layer.OUTCOME,
    one_row_is="one metabolic bout",
    key=("session_id", "condition", "bout"),
    fields=(
        f.SESSION_ID,
        f.CONDITION,
        Field("bout", Kind.INTEGER, "Which bout of this session and condition.", low=1),
        real(
            "respiratory_exchange_ratio",
            "1",
            "Carbon dioxide output over oxygen uptake on the plateau.",
            low=0,
        ),
        real(
            "metabolic_power_w_per_kg",
            "W/kg",
            "Power by the equation named beside it. Null unless steady and at a respiratory exchange ratio of at most 1.0.",
            low=0,
        ),
        real("energy_cost_j_per_kg_m", "J/(kg.m)", "Power over speed. Null as power.", low=0),
        real("oxygen_cost_ml_per_kg_km", "mL/(kg.km)", "Oxygen uptake over speed. Null as power.", low=0),
        Field("equation", Kind.TEXT, "Published energy equation used."),
        Field("reason_null", Kind.TEXT, "Why there is no value.", nullable=True),
        f.DELIVERY_ID,
        *_STUDY_PROVENANCE,
    ),
    references=(Reference(("session_id",), "sessions", ("session_id",)),),
)

TRANSITION_WEEKS = Table(
    name="transition_weeks",
    layer=Layer.OUTCOME,
    one_row_is="one week of one runner's change-over",
    key=("participant_id", "week"),
    fields=(
        f.PARTICIPANT_ID,
        f.WEEK,
        real(
            "running_min",
            "min",
            "Time run in the week, all footwear. Null if the week was not reported.",
            low=0,
        ),
        real("new_footwear_fraction", "1", "Share of that time in the footwear changed to.", low=0, high=1),
        real("new_footwear_change_fraction", "1", "Share less the share of the week before."),
        real(
            "symptom_severity_score",
            "1",
            "Severity 0 to 100 (OSTRC-H2, Clarsen et al. 2020); not a diagnosis. Null if not reported.",
            low=0,
            high=100,
        ),
        f.DELIVERY_ID,
        *_STUDY_PROVENANCE,
    ),
    references=(Reference(("participant_id",), "runners", ("participant_id",)),),
)

RUNNER_CONTRASTS = Table(
    name="runner_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one outcome between two conditions within one runner, site and visit",
    key=("participant_id", "site", "visit", "outcome", "condition", "reference_condition"),
    fields=(
        f.PARTICIPANT_ID,
        f.SITE,
        f.VISIT,
        _OUTCOME_NAME,
        f.CONDITION,
        _REFERENCE,
        Field(
            "difference_value",
            Kind.REAL,
            "Condition less reference, in the outcome's own unit.",
            unit="{unit_of_row}",
        ),
        Field("trial_count", Kind.INTEGER, "Trials behind the two means.", low=2),
        *_STUDY_PROVENANCE,
    ),
)

POOLED_CONTRASTS = Table(
    name="pooled_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one outcome between two conditions, pooled over sites by one method",
    key=("outcome", "visit", "condition", "reference_condition", "pooling_method"),
    fields=(
        _OUTCOME_NAME,
        f.VISIT,
        f.CONDITION,
        _REFERENCE,
        Field("pooling_method", Kind.CODE, "How it was pooled.", codes=codes.POOLING_METHOD),
        real("estimate_value", "{unit_of_row}", "Pooled difference, in the outcome's own unit."),
        real("lower_limit_value", "{unit_of_row}", "Lower end of the 95 % confidence interval."),
        real("upper_limit_value", "{unit_of_row}", "Upper end of the 95 % confidence interval."),
        real("heterogeneity_percent", "%", "I squared; null for the mixed model.", low=0, high=100),
        Field("runner_count", Kind.INTEGER, "Runners.", low=0),
        Field("site_count", Kind.INTEGER, "Sites.", low=0),
        *_STUDY_PROVENANCE,
    ),
)
