"""Table of the dose-responses that the analysis plan asks about: one slope over runners for each. Layer: outcome."""

from __future__ import annotations

from dataclasses import replace

from schemas import fields as f
from schemas.fields_of_differences import difference_and_interval, p_value, why_missing
from schemas.leaving import OVER_RUNNERS, Leaves
from schemas.model import Field, Kind, Layer, Table
from schemas.outcomes import real
from schemas.outcomes_planned import PLAN_FIELDS
from schemas.outcomes_study import STUDY_PROVENANCE
from schemas.privacy import NOBODYS, PLAIN, QUASI

#: The response that is not an outcome of trials.
SYMPTOMS = "symptom_severity_score"
#: By how much more dose a slope is told.
HOURS = 10

PLANNED_DOSE_RESPONSES = Table(
    name="planned_dose_responses",
    layer=Layer.OUTCOME,
    one_row_is="how one response goes with the hours run in the new footwear until one visit, over runners",
    key=("response", "visit", "condition"),
    rows=NOBODYS,
    leaves=Leaves(
        "response visit condition plan_sha256 plan_version plan_state estimate_value standard_error_value "
        "lower_limit_value upper_limit_value degrees_of_freedom two_sided_p_value runner_count site_count "
        "lacking_dose_count lacking_response_count lacking_both_count alone_at_site_count reason_null "
        "code_version study_version",
        by="response",
        quantities=f"{OVER_RUNNERS} symptom_severity_score",
    ),
    fields=(
        Field(
            "response",
            Kind.TEXT,
            "An outcome, as in planned_contrasts: its change from the first visit to this one, one per runner; or symptom_severity_score: the runner's mean over the weeks until the visit.",
            privacy=PLAIN,
        ),
        replace(f.VISIT, description="Visit until whose planned week hours and weeks count."),
        Field(
            "condition",
            Kind.TEXT,
            "Condition in which the outcome was measured; none for symptoms.",
            privacy=PLAIN,
        ),
        *PLAN_FIELDS,
        *difference_and_interval(
            f"By how much the response differs between two runners of one site of whom one ran {HOURS} hours more in the new footwear (study file), in the response's own unit. Who ran more was not drawn by lot: it goes with the hours and need not come of them. No diagnosis.",
            "Its standard error, HC3 (MacKinnon & White 1985). Null without an answer.",
            "Lower end of the 95 % confidence interval. Null as error.",
        ),
        real("degrees_of_freedom", "1", "Runners less sites less 1.", low=0),
        p_value("Of no slope. Not adjusted for the number of responses."),
        # minutes are one runner's at the ends, and of means over few can be solved
        real(
            "mean_dose_min", "min", "Mean over the runners of their minutes in the new footwear.", low=0, privacy=QUASI
        ),
        real("smallest_dose_min", "min", "The fewest minutes.", low=0, privacy=QUASI),
        real("largest_dose_min", "min", "The most.", low=0, privacy=QUASI),
        Field("runner_count", Kind.INTEGER, "Runners with a dose and a response, each once.", low=0, privacy=PLAIN),
        Field("site_count", Kind.INTEGER, "Their sites, one of each runner's.", low=0, privacy=PLAIN),
        Field(
            "lacking_dose_count",
            Kind.INTEGER,
            "Runners with a response of whom a week's log is missing: a missing week is not a week without running.",
            low=0,
            privacy=PLAIN,
        ),
        Field(
            "lacking_response_count",
            Kind.INTEGER,
            "Runners with every week's log and no response: no value at one of the visits, or a week without answers. Where those differ from the others, the slope is of the others.",
            low=0,
            privacy=PLAIN,
        ),
        Field(
            "lacking_both_count",
            Kind.INTEGER,
            "Runners of whom a week was reported until the visit, and who have neither.",
            low=0,
            privacy=PLAIN,
        ),
        Field(
            "alone_at_site_count",
            Kind.INTEGER,
            "Runners with both who are the only ones at their site; they tell nothing of a slope within sites.",
            low=0,
            privacy=PLAIN,
        ),
        why_missing("slope"),
        *STUDY_PROVENANCE,
    ),
    notes="An association between runners within sites, from one pair of numbers per runner: weeks of one runner are never "
    "counted as if they were of several. It is no dose limit and no advice.",
)
