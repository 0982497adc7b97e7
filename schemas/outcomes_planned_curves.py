"""Tables of the curves that the analysis plan compares: one answer over the whole curve, and its band. Layer: outcome."""

from __future__ import annotations

from dataclasses import replace

from schemas import codes
from schemas import fields as f
from schemas.fields_of_differences import (
    CONTRAST,
    REFERENCE,
    REFERENCE_VISIT,
    ROW,
    difference_and_interval,
    p_value,
    why_missing,
)
from schemas.leaving import CURVES_OVER_RUNNERS, Leaves
from schemas.model import Field, Kind, Layer, Table
from schemas.outcomes import real
from schemas.outcomes_planned import PLAN_FIELDS
from schemas.outcomes_signals import CURVES
from schemas.outcomes_study import STUDY_PROVENANCE
from schemas.privacy import NOBODYS, PLAIN

_KEY = ("quantity", "contrast", "visit", "condition", "reference_condition")
_COMPARED = (CURVES.column("quantity"), replace(CONTRAST, codes=codes.CONTRAST[:2]), f.VISIT, f.CONDITION, REFERENCE)

PLANNED_CURVES = Table(
    name="planned_curves",
    layer=Layer.OUTCOME,
    one_row_is="what one comparison of curves in the analysis plan says over the whole curve at once",
    key=_KEY,
    rows=NOBODYS,
    leaves=Leaves(
        "quantity contrast visit condition reference_condition reference_visit plan_sha256 plan_version "
        "plan_state runner_count site_count pattern_count all_patterns largest_t_index threshold_index "
        "two_sided_p_value beyond_points sites_largest_t_index sites_threshold_index sites_two_sided_p_value "
        "sites_beyond_points sites_reason_null reason_null code_version study_version",
        by="quantity",
        quantities=CURVES_OVER_RUNNERS,
    ),
    fields=(
        *_COMPARED,
        REFERENCE_VISIT,
        *PLAN_FIELDS,
        Field("runner_count", Kind.INTEGER, "Runners with a curve on both sides.", low=0, privacy=PLAIN),
        Field("site_count", Kind.INTEGER, "Sites at which they were measured.", low=0, privacy=PLAIN),
        Field("pattern_count", Kind.INTEGER, "Patterns of signs that were looked at.", low=0, privacy=PLAIN),
        Field("all_patterns", Kind.BOOLEAN, "Whether these are all there are.", nullable=True, privacy=PLAIN),
        real(
            "largest_t_index",
            "1",
            "Largest paired t of the curve, without its sign: mean difference over its standard error.",
            low=0,
        ),
        real(
            "threshold_index",
            "1",
            "What the largest t of the whole curve exceeds in 5 % of the patterns of signs (Nichols & Holmes 2002).",
            low=0,
        ),
        p_value(
            "Share of the patterns of signs whose largest t reaches that of the data. Not adjusted for the number of curves.",
        ),
        Field(
            "beyond_points",
            Kind.TEXT,
            "Stretches of points in which the band leaves out zero, for example 3-12, 88-100; none without one. That a "
            "stretch begins here and not there is not tested.",
            privacy=PLAIN,
        ),
        why_missing("band"),
        real(
            "sites_largest_t_index",
            "1",
            "Largest t of the sites' mean curves, without its sign, sites being the unit. Null where sites_reason_null says why.",
            low=0,
        ),
        real(
            "sites_threshold_index",
            "1",
            "What that exceeds with 5 % probability if there is no difference: t on sites less 1 over a curve as rough as these (Worsley 1994).",
            low=0,
        ),
        real(
            "sites_two_sided_p_value",
            "1",
            "Probability of so large a t at any point if there is no difference at sites like these. Not adjusted for the number of curves.",
            low=0,
            high=1,
        ),
        Field(
            "sites_beyond_points",
            Kind.TEXT,
            "Stretches of points in which the band over sites leaves out zero; none without one.",
            privacy=PLAIN,
        ),
        Field(
            "sites_reason_null",
            Kind.TEXT,
            "Why there is no band over sites; null if there is.",
            nullable=True,
            privacy=PLAIN,
        ),
        *STUDY_PROVENANCE,
    ),
    notes="Each runner counts once: trials, speeds and sites are averaged first. Two questions: whether there is a "
    "difference in runners of these very sites, and (sites_) whether there is one at sites like these, for which every "
    "site counts once, who was at several of them at one. Only the second allows for differences between sites "
    "(measured: docs/reference/coverage.md).",
)

PLANNED_CURVE_POINTS = Table(
    name="planned_curve_points",
    layer=Layer.OUTCOME,
    one_row_is="one point of the mean difference curve of one comparison in the analysis plan, with its band",
    key=(*_KEY, "point_number"),
    rows=NOBODYS,
    leaves=Leaves(
        "quantity contrast visit condition reference_condition point_number estimate_value "
        "standard_error_value lower_limit_value upper_limit_value sites_mean_value sites_lower_limit_value "
        "sites_upper_limit_value code_version study_version",
        by="quantity",
        quantities=CURVES_OVER_RUNNERS,
    ),
    fields=(
        *_COMPARED,
        CURVES.column("point_number"),
        *difference_and_interval(
            "Mean over runners of their difference, in the quantity's unit.",
            "Its standard error over runners.",
            "Lower end of the band that holds the whole true curve of runners of these very sites with about 95 %.",
        ),
        real(
            "sites_mean_value",
            ROW,
            "Mean over sites of the mean differences of their runners; this and the next two null where planned_curves.sites_reason_null says why.",
        ),
        real(
            "sites_lower_limit_value",
            ROW,
            "Lower end of the band that holds the whole true curve over sites like these with about 95 %.",
        ),
        real("sites_upper_limit_value", ROW, "Upper end of it."),
        *STUDY_PROVENANCE,
    ),
)
