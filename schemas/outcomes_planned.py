"""Tables of the analysis plan: which plans there were, and what the one in force says. Layer: outcome."""

from __future__ import annotations

from schemas import codes, codes_of_plans
from schemas import fields as f
from schemas.fields_of_differences import (
    COMPARED_FIELDS,
    CONTRAST,
    LACKS,
    NO_ESTIMATE,
    OUTCOME_NAME,
    POOLED_NUMBERS,
    POOLING_METHOD,
    REFERENCE,
    ROW,
    SIDES,
)
from schemas.leaving import OF_RUNNERS, OVER_RUNNERS, Leaves
from schemas.model import Field, Kind, Layer, Table
from schemas.outcomes import real
from schemas.outcomes_study import STUDY_PROVENANCE
from schemas.privacy import NOBODYS, PLAIN, QUASI, RUNNER, Rows

_PLAN = Field("plan_sha256", Kind.IDENTIFIER, "SHA-256 of plan.yaml, as sha256sum tells it.", privacy=PLAIN)
_STATE = Field("plan_state", Kind.CODE, "Whether the plan was frozen.", codes=codes_of_plans.PLAN_STATE, privacy=PLAIN)
_VERSION = Field("plan_version", Kind.TEXT, "Version that the plan gives itself.", privacy=PLAIN)

PLAN_FIELDS = (_PLAN, _VERSION, _STATE)

_ASKED = ("outcome", "contrast", "visit", "condition", "reference_condition", "at_speed")
_AT_SPEED = Field(
    "at_speed",
    Kind.TEXT,
    "Set speed that the plan asks about, for example 3.0 m/s; or each runner's speeds, whose differences are averaged first.",
    privacy=PLAIN,
)

ANALYSIS_PLANS = Table(
    name="analysis_plans",
    layer=Layer.OUTCOME,
    one_row_is="one analysis plan that is in force or was frozen once",
    key=("plan_sha256", "settings_sha256"),
    rows=NOBODYS,
    leaves=Leaves(
        "plan_sha256 plan_version plan_state frozen_utc accepted_trial_count plan_settings settings_sha256 "
        "code_version study_version"
    ),
    fields=(
        _PLAN,
        _VERSION,
        _STATE,
        Field(
            "frozen_utc",
            Kind.TEXT,
            "When it was frozen last, ISO 8601, UTC; the ledger says by whom. Null if never.",
            nullable=True,
            privacy=PLAIN,
        ),
        Field(
            "accepted_trial_count",
            Kind.INTEGER,
            "Trials, running and standing, each once, that were accepted already when it was frozen last: whoever froze it could have seen them. Null if never.",
            low=0,
            nullable=True,
            privacy=PLAIN,
        ),
        Field(
            "plan_settings",
            Kind.TEXT,
            "What it means, as JSON: what it says, with the references that it leaves to the study file filled in, and under study_file what else it rests on there: processing, planned weeks of visits, what conditions are, limits of checks, what the study does without, and of each site its limits, events and the SHA-256 of its profile.",
            privacy=PLAIN,
        ),
        Field(
            "settings_sha256",
            Kind.IDENTIFIER,
            "SHA-256 of plan_settings: the same file means something else once the study file has another reference condition, processes otherwise, or has other limits, sites or profiles.",
            privacy=PLAIN,
        ),
        *STUDY_PROVENANCE,
    ),
)

PLANNED_CONTRASTS = Table(
    name="planned_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="what the analysis plan says of one comparison, as planned or in one way of doubting it",
    key=(*_ASKED, "variant", "variant_detail"),
    rows=NOBODYS,
    leaves=Leaves(
        "family outcome contrast visit reference_visit condition reference_condition at_speed variant "
        "variant_detail plan_sha256 plan_version plan_state pooling_method covariates event_methods "
        "estimate_value standard_error_value lower_limit_value upper_limit_value interval "
        "degrees_of_freedom two_sided_p_value between_site_sd_value runner_sd_value rest_sd_value "
        "cochran_q_index heterogeneity_percent prediction_lower_value prediction_upper_value "
        "fitted_components singular reason_simpler runner_count travelling_runner_count site_count "
        "multiplicity family_count adjusted_p_value smallest_effect_value against_smallest_effect "
        "measured_count lacking_value_count lacking_reference_count lacking_both_count "
        "lacking_covariate_count sites_left_out condition_later_count condition_earlier_count "
        "excluded_trial_count covariates_kept_back caution changes_nothing same_as reason_null code_version study_version",
        by="outcome",
        quantities=OVER_RUNNERS,
        unless="covariates_kept_back",  # with runners' differences beside it, an answer tells sex or mass of each
    ),
    fields=(
        Field("family", Kind.CODE, "Family of the plan.", codes=codes.FAMILY, privacy=PLAIN),
        *COMPARED_FIELDS,
        _AT_SPEED,
        Field("variant", Kind.CODE, "Which analysis.", codes=codes_of_plans.PLAN_VARIANT, privacy=PLAIN),
        Field("variant_detail", Kind.TEXT, "Site or event method it is about; none for the others.", privacy=PLAIN),
        *PLAN_FIELDS,
        POOLING_METHOD,
        Field("covariates", Kind.TEXT, "What the model allows for, parted by commas; none for nothing.", privacy=PLAIN),
        Field(
            "covariates_kept_back",
            Kind.TEXT,
            "Those of them that planned_differences of a release does not hold, since they would tell who a runner is: from a release alone the answer cannot be computed anew. none for none.",
            privacy=PLAIN,
        ),
        Field(
            "rare_levels",
            Kind.TEXT,
            "Words of a covariate that fewer than 3 runners have, with their count: each is a level of its own that says little of others. none for none. In no release, since so few are nearly a name.",
            privacy=QUASI,
        ),
        Field(
            "event_methods",
            Kind.TEXT,
            "By what contacts were found, parted by commas; none where none are needed or nothing is known.",
            privacy=PLAIN,
        ),
        *POOLED_NUMBERS,
        Field("multiplicity", Kind.CODE, "How p was adjusted.", codes=codes_of_plans.MULTIPLICITY, privacy=PLAIN),
        Field("family_count", Kind.INTEGER, "Comparisons in the family.", low=1, privacy=PLAIN),
        real(
            "adjusted_p_value",
            "1",
            "The p value adjusted for the number of comparisons in the family. Null but for the analysis as planned.",
            low=0,
            high=1,
        ),
        real(
            "smallest_effect_value", ROW, "Smallest difference that matters, by the plan; null if none is set.", low=0
        ),
        Field(
            "against_smallest_effect",
            Kind.CODE,
            "Where the 95 % interval lies against it, which is not adjusted for the number of comparisons, as adjusted_p_value is; null without an interval or a smallest effect.",
            codes=codes_of_plans.AGAINST_SMALLEST,
            nullable=True,
            privacy=PLAIN,
        ),
        Field(
            "changes_nothing",
            Kind.BOOLEAN,
            "Whether this way of doubting leaves the very same differences, model and covariates as the one in same_as, as where no trial was overridden, or the only site with one method is left out: its numbers are those, and no further evidence. False for main.",
            privacy=PLAIN,
        ),
        Field(
            "same_as",
            Kind.TEXT,
            "The first way with the very same differences, model and covariates: main, or another way of doubting with its site or method, for example without_site tarn. none where it is the first itself.",
            privacy=PLAIN,
        ),
        *LACKS,
        Field(
            "lacking_covariate_count",
            Kind.INTEGER,
            "Runners at sites with a difference of whom a covariate is not known; they are left out.",
            low=0,
            privacy=PLAIN,
        ),
        Field(
            "sites_left_out",
            Kind.TEXT,
            "Sites that are not in it, since a covariate is not known of any runner with a difference there, each with the covariates in brackets, parted by commas; none for none. Variant without_covariates has them.",
            privacy=PLAIN,
        ),
        Field(
            "condition_later_count",
            Kind.INTEGER,
            "Runners at sites who ran the condition after the reference; of an interaction, later at the visit than at the first. Where this and the next differ much and the model does not allow for order, what comes last is in the answer.",
            low=0,
            privacy=PLAIN,
        ),
        Field(
            "condition_earlier_count",
            Kind.INTEGER,
            "Runners at sites who ran it before the reference. Those of whom no order is known are in neither.",
            low=0,
            privacy=PLAIN,
        ),
        Field(
            "excluded_trial_count",
            Kind.INTEGER,
            "Accepted trials with a value in the conditions and visits compared that are left out by the plan's exclusions, or by those of the variant.",
            low=0,
            privacy=PLAIN,
        ),
        NO_ESTIMATE,
        *STUDY_PROVENANCE,
    ),
    notes="Start here: what is in no plan is in pooled_contrasts, where family says so. A plan that was not frozen, or was "
    "changed after it was (plan_state), promises nothing.",
)

PLANNED_PARTICIPANTS = Table(
    name="planned_participants",
    layer=Layer.OUTCOME,
    one_row_is="how many runners are in one answer of the analysis plan, or are not for one reason",
    key=(*_ASKED, "participation"),
    rows=NOBODYS,
    leaves=Leaves(
        "outcome contrast visit condition reference_condition at_speed plan_sha256 plan_version plan_state "
        "participation runner_count code_version study_version"
    ),
    fields=(
        OUTCOME_NAME,
        CONTRAST,
        f.VISIT,
        f.CONDITION,
        REFERENCE,
        _AT_SPEED,
        *PLAN_FIELDS,
        Field(
            "participation",
            Kind.CODE,
            "Whether they are in it, or the first reason why not, in the order of this list.",
            codes=codes_of_plans.PARTICIPATION,
            privacy=PLAIN,
        ),
        Field("runner_count", Kind.INTEGER, "Different runners.", low=0, privacy=PLAIN),
        *STUDY_PROVENANCE,
    ),
    notes="The rows of one comparison add up to all runners of whom a running trial was accepted. Who dropped out, or never "
    "ran a condition, stands here and in no other table; where many did, the answer is about those who stayed.",
)

PLANNED_DIFFERENCES = Table(
    name="planned_differences",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one runner at one site in one comparison of the analysis plan",
    key=("participant_id", "site", *_ASKED),
    rows=Rows(RUNNER),
    leaves=Leaves(
        "participant_id site outcome contrast visit reference_visit condition reference_condition at_speed "
        "condition_mean_value reference_mean_value difference_value order_difference_index "
        "speed_difference_m_per_s code_version study_version",
        by="outcome",
        quantities=OF_RUNNERS,
    ),
    fields=(
        f.PARTICIPANT_ID,
        f.SITE,
        *COMPARED_FIELDS,
        _AT_SPEED,
        *SIDES,
        real(
            "order_difference_index",
            "1",
            "By how many places the condition was run later than the reference, in the mean over what the difference is made of. A place is counted in the session as it was run, over all running trials that are known, accepted or not: 1, and 1 more each time the condition changed. Null where no order was given, and unless the plan allows for order.",
        ),
        real(
            "speed_difference_m_per_s",
            "m/s",
            "By how much faster it was run, as measured. Null where no speed was measured, and unless the plan allows for speed.",
        ),
        Field(
            "mass_kg",
            Kind.REAL,
            "The runner's mass in the mean of the sessions compared; in the model less its mean over the rows of the answer. Null unless the plan allows for mass.",
            unit="kg",
            low=25,
            high=200,
            nullable=True,
            privacy=QUASI,
        ),
        Field(
            "sex",
            Kind.CODE,
            "As stated by the runner; in the model a column of 0 and 1 for each word but one, less its mean over the rows. Null unless the plan allows for sex.",
            codes=codes.SEX,
            nullable=True,
            privacy=QUASI,
        ),
        *STUDY_PROVENANCE,
    ),
    notes="What the rows of planned_contrasts with variant main are made of, the plan's exclusions, methods and speeds being "
    "applied: start here to compute a planned answer anew with a program of your own. A release holds neither mass nor sex of it "
    "(covariates_kept_back of planned_contrasts).",
)
