"""Outcome tables from runners who were measured at several sites: how alike the sites measure. Layer: outcome."""

from __future__ import annotations

from dataclasses import replace

from schemas import fields as f
from schemas.fields_of_differences import OUTCOME_NAME, ROW
from schemas.leaving import OVER_RUNNERS, Leaves
from schemas.model import Field, Kind, Layer, Table
from schemas.outcomes import real
from schemas.outcomes_study import STUDY_PROVENANCE
from schemas.privacy import NOBODYS, PLAIN

_SAME = ("outcome", "visit", "condition", "set_speed_m_per_s")
_SAME_FIELDS = (OUTCOME_NAME, f.VISIT, f.CONDITION, f.COMPARED_SPEED)
_REASON = Field("reason_null", Kind.TEXT, "Why there are no numbers; null if there are.", nullable=True, privacy=PLAIN)

RELIABILITY = Table(
    name="reliability",
    layer=Layer.OUTCOME,
    one_row_is="how alike one outcome is when the same runners are measured at several sites, in one condition and visit",
    key=_SAME,
    rows=NOBODYS,
    leaves=Leaves(
        "outcome visit condition set_speed_m_per_s icc_2_1_ratio icc_2_1_lower_ratio icc_2_1_upper_ratio "
        "icc_3_1_ratio icc_3_1_lower_ratio icc_3_1_upper_ratio between_site_sd_value "
        "measurement_error_value measurement_error_at_one_site_value smallest_detectable_change_value "
        "runner_count travelling_runner_count site_count sites interval_reason_null reason_null code_version "
        "study_version",
        by="outcome",
        quantities=OVER_RUNNERS,
    ),
    fields=(
        *_SAME_FIELDS,
        real(
            "icc_2_1_ratio",
            "1",
            "Intraclass correlation of single measurements, sites as a sample of sites: ICC(2,1) of Shrout & Fleiss (1979), absolute agreement. The estimate is not cut: by chance it can lie below -1 / (sites - 1), the least that a correlation can be, and then tells only that there is no sign of runners differing.",
        ),
        real(
            "icc_2_1_lower_ratio",
            "1",
            "Lower end of its 95 % interval (Shrout & Fleiss), cut at -1 / (sites - 1). Null as interval_reason_null says.",
            low=-1,
            high=1,
        ),
        real("icc_2_1_upper_ratio", "1", "Upper end of it.", low=-1, high=1),
        Field(
            "interval_reason_null",
            Kind.TEXT,
            "Why ICC(2,1) has no interval though it has a value; null where it has one, and where there are no numbers at all.",
            nullable=True,
            privacy=PLAIN,
        ),
        real("icc_3_1_ratio", "1", "The same with these sites and no others: ICC(3,1), consistency."),
        real("icc_3_1_lower_ratio", "1", "Lower end of its 95 % interval.", low=-1, high=1),
        real("icc_3_1_upper_ratio", "1", "Upper end of it.", low=-1, high=1),
        real(
            "between_site_sd_value",
            ROW,
            "Standard deviation of what the sites add of their own, 0 where it was estimated at or below zero.",
            low=0,
        ),
        real(
            "measurement_error_value", ROW, "Standard error of one measurement at any of such sites (Weir 2005).", low=0
        ),
        real("measurement_error_at_one_site_value", ROW, "The same at one and the same site.", low=0),
        real(
            "smallest_detectable_change_value",
            ROW,
            "Change between two measurements at any of such sites that chance alone exceeds in 5 %: 1.96 times the root of two standard errors.",
            low=0,
        ),
        Field(
            "runner_count", Kind.INTEGER, "Runners who were measured at all the sites counted.", low=0, privacy=PLAIN
        ),
        Field(
            "travelling_runner_count",
            Kind.INTEGER,
            "Runners who were measured at several sites, whichever; those beyond runner_count are in site_agreement only.",
            low=1,
            privacy=PLAIN,
        ),
        Field(
            "site_count",
            Kind.INTEGER,
            "Sites: the largest set at all of which enough runners were, of sets as large that with most runners.",
            low=2,
            privacy=PLAIN,
        ),
        Field("sites", Kind.TEXT, "Which, parted by commas.", privacy=PLAIN),
        _REASON,
        *STUDY_PROVENANCE,
    ),
    notes="Runners who were at only some of the sites are in site_agreement. Visits of a runner at two sites are as far "
    "apart as they were: what changed meanwhile counts as measurement error.",
)

SITE_AGREEMENT = Table(
    name="site_agreement",
    layer=Layer.OUTCOME,
    one_row_is="by how much one outcome of the same runners differs between two sites, in one condition and visit",
    key=(*_SAME, "site", "other_site"),
    rows=NOBODYS,
    leaves=Leaves(
        "outcome visit condition set_speed_m_per_s site other_site event_method other_event_method "
        "bias_value bias_lower_value bias_upper_value sd_value low_limit_value low_limit_lower_value "
        "low_limit_upper_value high_limit_value high_limit_lower_value high_limit_upper_value runner_count "
        "reason_null code_version study_version",
        by="outcome",
        quantities=OVER_RUNNERS,
    ),
    fields=(
        *_SAME_FIELDS,
        f.SITE,
        replace(f.SITE, name="other_site", description="The site it is compared with."),
        replace(f.COMPARED_METHOD, description="By what contact and toe-off were found at the site."),
        replace(
            f.COMPARED_METHOD,
            name="other_event_method",
            description="The same at the other; where the two differ, so do the methods.",
        ),
        real("bias_value", ROW, "Mean difference, site less other site, one per runner."),
        real("bias_lower_value", ROW, "Lower end of its 95 % interval."),
        real("bias_upper_value", ROW, "Upper end of it."),
        real("sd_value", ROW, "Standard deviation of the differences.", low=0),
        real("low_limit_value", ROW, "Lower limit of agreement: mean less 1.96 standard deviations (Bland & Altman)."),
        real("low_limit_lower_value", ROW, "Lower end of its 95 % interval."),
        real("low_limit_upper_value", ROW, "Upper end of it."),
        real("high_limit_value", ROW, "Upper limit of agreement."),
        real("high_limit_lower_value", ROW, "Lower end of its 95 % interval."),
        real("high_limit_upper_value", ROW, "Upper end of it."),
        Field("runner_count", Kind.INTEGER, "Runners measured at both.", low=1, privacy=PLAIN),
        _REASON,
        *STUDY_PROVENANCE,
    ),
)
