"""Outcome tables of differences: between conditions within runners, at sites, pooled; between methods. Layer: outcome."""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.fields_of_differences import (
    COMPARED_FIELDS,
    COMPARED_KEY,
    LACKS,
    NO_ESTIMATE,
    POOLED_NUMBERS,
    POOLING_METHOD,
    SIDES,
    difference_and_interval,
    why_missing,
)
from schemas.leaving import OF_RUNNERS, OVER_RUNNERS, Leaves
from schemas.model import Code, Field, Kind, Layer, Table
from schemas.outcomes import real
from schemas.outcomes_study import STUDY_PROVENANCE
from schemas.privacy import NOBODYS, PLAIN, RUNNER, Rows

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
    leaves=Leaves(
        "participant_id site outcome contrast visit reference_visit condition reference_condition "
        "set_speed_m_per_s event_method condition_mean_value reference_mean_value difference_value "
        "trial_count reason_null code_version study_version",
        by="outcome",
        quantities=OF_RUNNERS,
    ),
    fields=(
        f.PARTICIPANT_ID,
        f.SITE,
        *COMPARED_FIELDS,
        f.COMPARED_SPEED,
        f.COMPARED_METHOD,
        *SIDES,
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
    leaves=Leaves(
        "outcome contrast visit reference_visit condition reference_condition at_speed event_method site "
        "estimate_value standard_error_value lower_limit_value upper_limit_value runner_count "
        "measured_count lacking_value_count lacking_reference_count lacking_both_count reason_null "
        "code_version study_version",
        by="outcome",
        quantities=OVER_RUNNERS,
    ),
    fields=(
        *COMPARED_FIELDS,
        f.AT_SPEED,
        f.COMPARED_METHOD,
        f.SITE,
        *difference_and_interval(
            "Mean of the runners' differences, in the outcome's own unit.",
            "Standard deviation of the runners' differences over the square root of their number. Null with fewer runners than the study file asks for.",
            "Lower end of the 95 % confidence interval, t on runners less 1. Null as error.",
        ),
        Field("runner_count", Kind.INTEGER, "Runners with a value on both sides.", low=0, privacy=PLAIN),
        *LACKS,
        why_missing("interval of the site, which is then not in the random effects"),
        *STUDY_PROVENANCE,
    ),
)

POOLED_CONTRASTS = Table(
    name="pooled_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one outcome between two conditions or visits at one speed, pooled over sites by one method",
    key=(*COMPARED_KEY, "pooling_method"),
    rows=NOBODYS,
    leaves=Leaves(
        "outcome contrast visit reference_visit condition reference_condition at_speed event_method "
        "pooling_method family estimate_value standard_error_value lower_limit_value upper_limit_value "
        "interval degrees_of_freedom two_sided_p_value between_site_sd_value runner_sd_value rest_sd_value "
        "cochran_q_index heterogeneity_percent prediction_lower_value prediction_upper_value "
        "fitted_components singular reason_simpler runner_count travelling_runner_count site_count "
        "measured_count lacking_value_count lacking_reference_count lacking_both_count reason_null "
        "caution code_version study_version",
        by="outcome",
        quantities=OVER_RUNNERS,
    ),
    fields=(
        *COMPARED_FIELDS,
        f.AT_SPEED,
        f.COMPARED_METHOD,
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
        NO_ESTIMATE,
        *STUDY_PROVENANCE,
    ),
    notes="Every comparison has the row of the mixed model, with an answer or the reason why there is none. Random effects "
    "have rows where two sites or more have an interval, as site_contrasts tells.",
)


METHOD_OFFSETS = Table(
    name="method_offsets",
    layer=Layer.OUTCOME,
    one_row_is="by how much events found by one method differ from those in force at one site",
    key=("site", "event_method", "event"),
    rows=NOBODYS,
    leaves=Leaves(
        "site event_method event bias_s sd_s footfall_count trial_count runner_count offset_basis "
        "code_version study_version"
    ),
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
        Field("footfall_count", Kind.INTEGER, "Footfalls found by both.", low=1, privacy=PLAIN),
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
