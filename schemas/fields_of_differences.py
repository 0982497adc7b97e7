"""Columns that tables of differences share: what is compared, estimate, interval, p value, who lacks what, and why."""

from __future__ import annotations

from dataclasses import replace

from schemas import codes
from schemas import fields as f
from schemas.model import Field, Kind
from schemas.outcomes import real
from schemas.privacy import PLAIN

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
#: What every table of differences begins with, or has after whose they are.
COMPARED_FIELDS = (OUTCOME_NAME, CONTRAST, f.VISIT, REFERENCE_VISIT, f.CONDITION, REFERENCE)
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
        (
            "measured_count",
            "Runners at sites who were measured on both sides, with or without a value. In planned_contrasts all of them; elsewhere not those at sites where nobody has the outcome, nor who has no value of that kind (of breathing gas, or of trials) on one of the sides.",
        ),
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


def difference_and_interval(estimate: str, error: str, lower: str) -> tuple[Field, ...]:
    """The four columns of every table that holds a difference with an interval: what they are made of is said."""
    return (
        real("estimate_value", ROW, estimate),
        real("standard_error_value", ROW, error, low=0),
        real("lower_limit_value", ROW, lower),
        real("upper_limit_value", ROW, "Upper end of it."),
    )


def why_missing(what: str) -> Field:
    """Why a row has no ``what``."""
    return Field("reason_null", Kind.TEXT, f"Why there is no {what}; null if there is.", nullable=True, privacy=PLAIN)


def p_value(description: str) -> Field:
    """A p value for the two sides together."""
    return real("two_sided_p_value", "1", description, low=0, high=1)


NO_ESTIMATE = why_missing("estimate")
#: What a method of pooling says of one comparison.
POOLED_NUMBERS = (
    *difference_and_interval(
        "Pooled difference, in the outcome's own unit.",
        "Its standard error, as used in the interval.",
        "Lower end of the 95 % confidence interval.",
    ),
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
    p_value(
        "Probability of an estimate at least as far from zero if the true difference were zero. Not adjusted for the number of comparisons.",
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
        "Standard deviation of one runner's difference at one site, less what the two columns before it say. Only of the mixed model, and null where each site has one runner.",
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
    Field(
        "caution",
        Kind.TEXT,
        "What to know before the interval is used: that it rests on two sites, that runners vary unequally between sites, which the method does not wholly allow for, or that the sites are such that this could hardly be seen. Null where there is none of it.",
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

#: What a runner's difference is made of.
SIDES = (
    real(
        "condition_mean_value",
        ROW,
        "Mean over trials of the trial's mean in the condition at the visit, weighed as the study says, in the outcome's own unit; of an interaction the difference between the conditions at the visit.",
    ),
    real("reference_mean_value", ROW, "The same in the reference: condition, visit, or both."),
    real("difference_value", ROW, "The first less the second, in the outcome's own unit."),
)
