"""The analysis plan: which differences a study asks about, by which model, and what is done to doubt the answer.

It stands in ``plan.yaml`` beside the study file. Nothing here opens a file; ``pipelines.study.plan`` does. The
analyses are carried out by ``pipelines.science.statistics.planned``.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import Final, Literal

from pydantic import Field, field_validator, model_validator

from schemas.compared import speed_word
from schemas.settings import Settings

ContrastWord = Literal["condition", "visit", "interaction"]
PoolingModel = Literal["one_stage_mixed_model", "random_effects_restricted_likelihood"]
Covariate = Literal["order", "speed", "mass", "sex"]
PooledMethod = Literal["force", "sensor", "markers"]
Rule = Literal["holm", "benjamini_hochberg", "none"]
Sensitivity = Literal[
    "leave_one_site_out",
    "without_overridden",
    "without_noted",
    "one_event_method",
    "uncertainty_weights",
    "other_model",
    "without_covariates",
]
ONE_STAGE: Final = "one_stage_mixed_model"
#: Where the settings of a plan that was read hold what it leaves to the study file.
STUDY_FILE: Final = "study_file"


class PlannedComparison(Settings):
    """One question: of which outcome, and between what."""

    outcome: str = Field(description="Name of the outcome, as in the column outcome of pooled_contrasts.")
    contrast: ContrastWord = Field(
        default="condition",
        description="condition: two conditions at one visit; visit: one condition at a later visit and at the first of the plan; interaction: the difference between two conditions at a later visit less that at the first.",
    )
    visit: str = Field(description="Visit that is asked about.")
    condition: str = Field(description="Condition that is asked about.")
    reference_condition: str | None = Field(
        default=None,
        description="Condition it is compared with; null for processing.contrasts.reference_condition of the study file. Not used for contrast visit.",
    )
    set_speed_m_per_s: float | None = Field(
        default=None,
        gt=0,
        description="Only runs at this set speed, to 0.1 m/s; null for all, a runner's differences at several set speeds being averaged first, so that a runner counts once.",
    )
    smallest_effect: float | None = Field(
        default=None,
        gt=0,
        description="Smallest difference that matters, in the outcome's unit; the interval is compared with it. Null if none is set.",
    )


class PlannedCurve(Settings):
    """One comparison of whole curves, answered over all of their points at once."""

    quantity: str = Field(description="What the curve shows, as in the column quantity of curves.")
    contrast: Literal["condition", "visit"] = Field(
        default="condition",
        description="condition: two conditions at one visit; visit: one condition at a later visit and at the first of the plan.",
    )
    visit: str = Field(description="Visit that is asked about.")
    condition: str = Field(description="Condition that is asked about.")
    reference_condition: str | None = Field(default=None, description="As of a comparison.")


class PlannedDose(Settings):
    """One dose-response: how a response goes with the hours that runners ran in the new footwear."""

    response: str = Field(
        description="Name of an outcome, whose change from the first visit is meant; or symptom_severity_score, of which it is the mean over the weeks."
    )
    visit: str = Field(description="Visit until whose planned week hours count; not the first.")
    condition: str | None = Field(
        default=None, description="Condition in which the outcome was measured; null for symptoms, which have none."
    )


class Exclusions(Settings):
    """Which accepted trials the plan leaves out."""

    accepted_by_override: bool = Field(
        default=False, description="Trials that a data manager accepted in spite of a finding."
    )
    noted: bool = Field(default=False, description="Trials with a finding of weight notes.")
    notes_of: tuple[str, ...] = Field(default=(), description="Trials with a note of one of these checks.")
    largest_speed_off_fraction: float | None = Field(
        default=None,
        gt=0,
        lt=1,
        description="Trials whose measured speed is further from their set speed than this part of it, and those of which none was measured; not energy bouts, which have a set speed alone. Null for any.",
    )


class Multiplicity(Settings):
    """How p values of one family are adjusted for their number; a comparison without an answer counts with p = 1."""

    primary: Rule = Field(
        default="holm", description="Holm (1979) holds the chance of any false finding in the family."
    )
    secondary: Rule = Field(
        default="benjamini_hochberg",
        description="Benjamini & Hochberg (1995) hold the expected part of false ones among the findings.",
    )


class Plan(Settings):
    """The analysis plan."""

    version: str = Field(description="Version of the plan; raise it with every change.")
    primary: tuple[PlannedComparison, ...] = Field(min_length=1, description="Comparisons the study is made for.")
    secondary: tuple[PlannedComparison, ...] = Field(default=(), description="Further ones that were planned.")
    curves: tuple[PlannedCurve, ...] = Field(
        default=(),
        description="Curves that are compared, by the same event methods and exclusions, without covariates; not adjusted for their number.",
    )
    dose_responses: tuple[PlannedDose, ...] = Field(
        default=(),
        description="Responses that are set against the hours in the new footwear (processing.transition.new_footwear of the study file), one pair of numbers per runner, by the same event methods and exclusions, without covariates; not adjusted for their number.",
    )
    pooling_model: PoolingModel = Field(default=ONE_STAGE, description="By which model sites are pooled.")
    event_methods: tuple[PooledMethod, ...] = Field(
        default=("force", "sensor", "markers"),
        min_length=1,
        description="By what contacts may have been found; of each site the one is used by which most of its runners have a difference, of two with as many the first of force, sensor, markers. Who has one by another is told in planned_participants.",
    )
    covariates: tuple[Covariate, ...] = Field(
        default=(),
        description="What the mixed model allows for. order: by how many places the condition came later than the reference in the session as it was run, the answer being for equal places; speed: by how much faster it was run, the answer being for equal speeds; mass, sex: the answer being for the mean of the runners; every sex that was stated is a level of its own, and only runners of whom none was are left out.",
    )
    exclude: Exclusions = Field(default_factory=Exclusions, description="Which accepted trials are left out.")
    sensitivity: tuple[Sensitivity, ...] = Field(
        default=(),
        description="What else is computed of each planned comparison: without each site in turn; without trials that were accepted in spite of a finding, or noted; by one event method alone; a runner's trials weighed by their uncertainty; the other pooling model; without covariates.",
    )
    multiplicity: Multiplicity = Field(default_factory=Multiplicity, description="How p values are adjusted.")

    @field_validator("version")
    @classmethod
    def _short(cls, version: str) -> str:
        if not re.fullmatch(r"[0-9A-Za-z._-]{1,20}", version):
            raise ValueError("up to 20 letters, digits, points and dashes")
        return version

    @model_validator(mode="after")
    def _fits_together(self) -> Plan:
        if self.covariates and self.pooling_model != ONE_STAGE:
            raise ValueError(f"covariates need pooling_model {ONE_STAGE}")
        for name in ("event_methods", "covariates", "sensitivity"):
            if twice := [word for word, count in Counter(getattr(self, name)).items() if count > 1]:
                raise ValueError(f"{name} names {', '.join(twice)} twice")
        if len(set(self.dose_responses)) < len(self.dose_responses):
            raise ValueError("the same dose-response is planned twice")
        return self


def question(one: PlannedComparison | PlannedCurve) -> tuple[str | None, ...]:
    """What makes two planned comparisons, with their references filled in, the same question: speeds count to 0.1 m/s."""
    reference = None if one.contrast == "visit" else one.reference_condition
    compared = one.contrast, one.visit, one.condition, reference
    if isinstance(one, PlannedCurve):
        return one.quantity, *compared
    return one.outcome, *compared, None if one.set_speed_m_per_s is None else speed_word(one.set_speed_m_per_s)
