"""Closed vocabularies of the analysis plan and its answers."""

from __future__ import annotations

from schemas.model import Code

PARTICIPATION = (
    Code("in_it", "In the answer."),
    Code("not_at_visit", "No accepted trial at the visit: not there yet, dropped out, or all went back."),
    Code("not_at_reference_visit", "There, but not at the visit it is compared with."),
    Code("not_in_condition", "At the visits, but never in the condition there."),
    Code("not_in_reference", "In the condition, but never in the reference."),
    Code("at_other_speed", "On all sides, but not at the set speed that is asked about."),
    Code("sides_apart", "On all sides, but never at one site, one set speed and by one event method."),
    Code("left_out_by_plan", "Only with trials that the plan leaves out, or by event methods that it does not pool."),
    Code("lacking_value", "Measured on all sides, but without a value on one or more of them."),
    Code("other_method", "With a difference, but by another event method than the one that is used of the site."),
    Code("lacking_covariate", "With a difference, but without a covariate that the model allows for."),
)

PLAN_STATE = (
    Code("frozen", "The plan in force is the one that was frozen last."),
    Code(
        "not_frozen",
        "The plan in force was never frozen: nobody can tell whether it was made before the data were seen.",
    ),
    Code(
        "changed",
        "The plan in force is another one than was frozen last, or means something else since what it leaves to the study file was changed.",
    ),
    Code("replaced", "It was frozen once and is not in force any more."),
)

PLAN_VARIANT = (
    Code("main", "The analysis as planned."),
    Code("without_site", "Without the site named in the detail."),
    Code("without_overridden", "Without trials that a data manager accepted in spite of a finding."),
    Code("without_noted", "Without trials that have a finding of weight notes."),
    Code(
        "one_event_method", "Only values by the event method named in the detail, and of outcomes that need no events."
    ),
    Code("uncertainty_weights", "A runner's trials weighed by 1 over the square of their standard uncertainty."),
    Code("other_model", "By the pooling model that the plan did not choose, without covariates."),
    Code("without_covariates", "Without the plan's covariates."),
)

MULTIPLICITY = (
    Code("holm", "Holm (1979): holds the chance of any false finding in the family."),
    Code(
        "benjamini_hochberg", "Benjamini & Hochberg (1995): holds the expected part of false ones among the findings."
    ),
    Code("none", "Not adjusted."),
)

AGAINST_SMALLEST = (
    Code("matters", "The whole interval is further from zero than the smallest effect."),
    Code("too_small", "The whole interval is nearer to zero than the smallest effect, on both sides."),
    Code(
        "is_there",
        "The interval leaves out zero and not the smallest effect: a difference, perhaps too small to matter.",
    ),
    Code("open", "The interval holds zero and reaches as far as the smallest effect: nothing is decided."),
)
