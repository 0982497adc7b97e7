"""Outcome tables of differences: between conditions within runners, at sites, pooled; between methods. Layer: outcome."""

from __future__ import annotations

from dataclasses import replace

from schemas import codes
from schemas import fields as f
from schemas.model import Code, Field, Kind, Layer, Table
from schemas.outcomes import real
from schemas.outcomes_study import STUDY_PROVENANCE
from schemas.privacy import NOBODYS, PLAIN, RUNNER, Rows

OUTCOME_NAME = Field(
    "outcome",
    Kind.TEXT,
    "Column name of the outcome, its unit in its ending; what else tells it apart stands before it, parted by slashes, for example soleus/left/onset_before_contact_s.",
    privacy=PLAIN,
)
REFERENCE = Field(
    "reference_condition", Kind.CODE, "Condition that is compared with.", study_list="conditions", privacy=PLAIN
)
CONTRAST = Field("contrast", Kind.CODE, "What is compared.", codes=codes.CONTRAST, privacy=PLAIN)
REFERENCE_VISIT = replace(
    f.VISIT, name="reference_visit", description="Visit that is compared with; the same one if conditions are compared."
)
COMPARED_KEY = (
    "outcome",
    "contrast",
    "visit",
    "reference_visit",
    "at_speed",
    "event_method",
    "condition",
    "reference_condition",
)
LACKS = tuple(
    Field(name, Kind.INTEGER, description, low=0, privacy=PLAIN)
    for name, description in (
        ("measured_count", "Runners at sites who were measured on both sides, with or without a value."),
        (
            "lacking_value_count",
            "Of them, those without a value in the condition at the visit only. Where this and the next differ, what is lost may go with what was to be measured, and no interval covers that.",
        ),
        ("lacking_reference_count", "Those without a value in the reference only."),
        ("lacking_both_count", "Those without a value in either."),
    )
)
ROW = "{unit_of_row}"
POOLING_METHOD = Field("pooling_method", Kind.CODE, "How it was pooled.", codes=codes.POOLING_METHOD, privacy=PLAIN)
#: What a method of pooling says of one comparison.
POOLED_NUMBERS = (
    real("estimate_value", ROW, "Pooled difference, in the outcome's own unit."),
    real("standard_error_value", ROW, "Its standard error, as used in the interval.", low=0),
    real("lower_limit_value", ROW, "Lower end of the 95 % confidence interval."),
    real("upper_limit_value", ROW, "Upper end of it."),
    Field(
        "interval",
        Kind.CODE,
        "How the interval was made.",
        codes=codes.INTERVAL,
        privacy=PLAIN,
    ),
    real(
        "degrees_of_freedom",
        "1",
        "Of the interval's Student's t; with few sites hardly more than sites less 1, however many runners. Null for the normal interval.",
        low=0,
    ),
    real(
        "two_sided_p_value",
        "1",
        "Probability of an estimate at least as far from zero if the true difference were zero. Not adjusted for the number of comparisons.",
        low=0,
        high=1,
    ),
    real(
        "between_site_sd_value",
        ROW,
        "Standard deviation of the true difference between sites: the root of tau squared, 0 where it was estimated at or below zero.",
        low=0,
    ),
    real(
        "runner_sd_value",
        ROW,
        "Standard deviation of the runners' own true differences, as those tell who were measured at several sites. Only of the mixed model, and null where nobody travelled.",
        low=0,
    ),
    real(
        "rest_sd_value",
        ROW,
        "Standard deviation of one runner's difference at one site, less what the two columns before it say. Only of the mixed model.",
        low=0,
    ),
    real("cochran_q_index", "1", "Cochran's Q over the sites. Null for the mixed model.", low=0),
    real("heterogeneity_percent", "%", "I squared; null for the mixed model.", low=0, high=100),
    real(
        "prediction_lower_value",
        ROW,
        "Lower end of the 95 % interval for the true difference at a further site, t on sites less 2 (Higgins et al. 2009). Null below 3 sites.",
    ),
    real("prediction_upper_value", ROW, "Upper end of it."),
    Field(
        "fitted_components",
        Kind.CODE,
        "Which variances the mixed model has; null for the other methods.",
        codes=codes.FITTED_COMPONENTS,
        nullable=True,
        privacy=PLAIN,
    ),
    Field(
        "singular",
        Kind.BOOLEAN,
        "Whether a variance was estimated at or below zero: there is then no sign of it in these runners, which with few sites does not say that it is none.",
        nullable=True,
        privacy=PLAIN,
    ),
    Field(
        "reason_simpler",
        Kind.TEXT,
        "Why a simpler model stands in for the mixed model, as fitted_components says; null where none does.",
        nullable=True,
        privacy=PLAIN,
    ),
    Field("runner_count", Kind.INTEGER, "Different runners.", low=0, privacy=PLAIN),
    Field(
        "travelling_runner_count",
        Kind.INTEGER,
        "Of them, those measured at several sites. The mixed model knows each as one person; in the random effects they count at each site, which are then not wholly independent.",
        low=0,
        privacy=PLAIN,
    ),
    Field("site_count", Kind.INTEGER, "Sites pooled.", low=0, privacy=PLAIN),
)

RUNNER_CONTRASTS = Table(
    name="runner_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one outcome between two conditions or visits at one speed within one runner and site",
    key=(
        "participant_id",
        "site",
        "visit",
        "set_speed_m_per_s",
        "event_method",
        "outcome",
        "contrast",
        "reference_visit",
        "condition",
        "reference_condition",
    ),
    rows=Rows(RUNNER),
    fields=(
        f.PARTICIPANT_ID,
        f.SITE,
        CONTRAST,
        f.VISIT,
        REFERENCE_VISIT,
        f.COMPARED_SPEED,
        f.COMPARED_METHOD,
        OUTCOME_NAME,
        f.CONDITION,
        REFERENCE,
        real(
            "condition_mean_value",
            ROW,
            "Mean over trials of the trial's mean in the condition at the visit, weighed as the study says, in the outcome's own unit; of an interaction the difference between the conditions at the visit.",
        ),
        real("reference_mean_value", ROW, "The same in the reference: condition, visit, or both."),
        real("difference_value", ROW, "The first less the second, in the outcome's own unit."),
        Field(
            "trial_count",
            Kind.INTEGER,
            "Trials (or metabolic bouts) with a value behind the two.",
            low=0,
            privacy=PLAIN,
        ),
        Field(
            "reason_null",
            Kind.CODE,
            "Why there is no difference though the runner was measured on both sides; null if there is one.",
            codes=codes.NO_DIFFERENCE,
            nullable=True,
            privacy=PLAIN,
        ),
        *STUDY_PROVENANCE,
    ),
    notes="A runner who was not measured on both sides at the same site and set speed has no row; neither has an outcome "
    "of which nobody at the site has a value by that method.",
)

SITE_CONTRASTS = Table(
    name="site_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one outcome between two conditions or visits at one site and speed",
    key=(*COMPARED_KEY, "site"),
    rows=NOBODYS,
    fields=(
        OUTCOME_NAME,
        CONTRAST,
        f.VISIT,
        REFERENCE_VISIT,
        f.AT_SPEED,
        f.COMPARED_METHOD,
        f.CONDITION,
        REFERENCE,
        f.SITE,
        real("estimate_value", ROW, "Mean of the runners' differences, in the outcome's own unit."),
        real(
            "standard_error_value",
            ROW,
            "Standard deviation of the runners' differences over the square root of their number. Null with fewer runners than the study file asks for.",
            low=0,
        ),
        real(
            "lower_limit_value", ROW, "Lower end of the 95 % confidence interval, t on runners less 1. Null as error."
        ),
        real("upper_limit_value", ROW, "Upper end of it."),
        Field("runner_count", Kind.INTEGER, "Runners with a value on both sides.", low=0, privacy=PLAIN),
        *LACKS,
        Field(
            "reason_null", Kind.TEXT, "Why the site has no interval and is not pooled.", nullable=True, privacy=PLAIN
        ),
        *STUDY_PROVENANCE,
    ),
)

POOLED_CONTRASTS = Table(
    name="pooled_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one outcome between two conditions or visits at one speed, pooled over sites by one method",
    key=(*COMPARED_KEY, "pooling_method"),
    rows=NOBODYS,
    fields=(
        OUTCOME_NAME,
        CONTRAST,
        f.VISIT,
        REFERENCE_VISIT,
        f.AT_SPEED,
        f.COMPARED_METHOD,
        f.CONDITION,
        REFERENCE,
        POOLING_METHOD,
        Field(
            "family",
            Kind.CODE,
            "Whether the analysis plan names the comparison. What the plan itself says of it, with its covariates and exclusions, is in planned_contrasts.",
            codes=codes.FAMILY,
            privacy=PLAIN,
        ),
        *POOLED_NUMBERS,
        *LACKS,
        Field("reason_null", Kind.TEXT, "Why there is no estimate; null if there is.", nullable=True, privacy=PLAIN),
        *STUDY_PROVENANCE,
    ),
)

METHOD_OFFSETS = Table(
    name="method_offsets",
    layer=Layer.OUTCOME,
    one_row_is="by how much events found by one method differ from those in force at one site",
    key=("site", "event_method", "event"),
    rows=NOBODYS,
    fields=(
        f.SITE,
        Field("event_method", Kind.CODE, "Method other than force.", codes=codes.EVENT_METHOD, privacy=PLAIN),
        Field("event", Kind.CODE, "Which event.", codes=codes.EVENT, privacy=PLAIN),
        real("bias_s", "s", "Mean of the trials' mean differences, by the method less in force; late is positive."),
        real(
            "sd_s",
            "s",
            "Standard deviation of one footfall's difference: within trials and between them; from other sites also between sites. Null with a single footfall.",
            low=0,
        ),
        Field("footfall_count", Kind.INTEGER, "Footfalls told by both.", low=1, privacy=PLAIN),
        Field("trial_count", Kind.INTEGER, "Their trials.", low=1, privacy=PLAIN),
        Field("runner_count", Kind.INTEGER, "Their runners.", low=1, privacy=PLAIN),
        Field(
            "offset_basis",
            Kind.CODE,
            "Whose footfalls it rests on.",
            codes=(
                Code("own", "Trials of the site in which force is there, too."),
                Code("other_sites", "Trials of the other sites, since the site has none of its own."),
            ),
            privacy=PLAIN,
        ),
        *STUDY_PROVENANCE,
    ),
    notes="Nothing is corrected by it: values found by another method than force are marked and kept apart instead.",
)
