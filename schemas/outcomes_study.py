"""Outcome tables beyond the single trial: energy, change-over weeks, contrasts between conditions. Layer: outcome."""

from __future__ import annotations

from dataclasses import replace

from schemas import codes
from schemas import fields as f
from schemas.model import Code, Field, Kind, Layer, Reference, Table
from schemas.outcomes import real
from schemas.privacy import NOBODYS, PLAIN, QUASI, RUNNER, SENSITIVE, SESSION, Rows

_STUDY_PROVENANCE = (f.CODE_VERSION, f.STUDY_VERSION)
_OUTCOME_NAME = Field(
    "outcome",
    Kind.TEXT,
    "Column name of the outcome, its unit in its ending; what else tells it apart stands before it, parted by slashes, for example soleus/left/onset_before_contact_s.",
    privacy=PLAIN,
)
_REFERENCE = Field(
    "reference_condition", Kind.CODE, "Condition that is compared with.", study_list="conditions", privacy=PLAIN
)
_ROW = "{unit_of_row}"

ENERGY_BOUTS = Table(
    name="energy_bouts",
    layer=Layer.OUTCOME,
    one_row_is="one metabolic bout",
    key=("session_id", "condition", "bout"),
    rows=Rows(SESSION, scopes=("metabolic",)),
    fields=(
        f.SESSION_ID,
        f.CONDITION,
        Field("bout", Kind.INTEGER, "Which bout of this session and condition.", low=1, privacy=PLAIN),
        replace(
            f.SET_SPEED,
            description="Set speed of the bout. Null if it is not known or its rows tell several.",
            may_be_left_out=False,
        ),
        real(
            "oxygen_uptake_ml_per_min",
            "mL/min",
            "Mean over the plateau, the last whole minutes of the bout (study file). Null if the bout is too short, has gaps there, or a gas of zero or less.",
            low=0,
            privacy=QUASI,
        ),
        real("carbon_dioxide_output_ml_per_min", "mL/min", "The same of carbon dioxide.", low=0, privacy=QUASI),
        real(
            "plateau_change_percent",
            "%",
            "Largest change of mean oxygen uptake from one minute of the plateau to the next, of the plateau's mean. Null as oxygen_uptake_ml_per_min.",
            low=0,
        ),
        real(
            "respiratory_exchange_ratio",
            "1",
            "Carbon dioxide output over oxygen uptake on the plateau. Null as oxygen_uptake_ml_per_min.",
            low=0,
        ),
        real(
            "metabolic_power_w_per_kg",
            "W/kg",
            "Gross power (rest not subtracted) by the equation named beside it, over the session's body mass. Null unless steady and at a respiratory exchange ratio the study file allows, at most 1.0 by default.",
            low=0,
        ),
        real(
            "energy_cost_j_per_kg_m", "J/(kg.m)", "Power over the set speed. Null as power, and without a speed.", low=0
        ),
        real(
            "oxygen_cost_ml_per_kg_km",
            "mL/(kg.km)",
            "Oxygen uptake over the session's body mass and the set speed. Null as energy_cost_j_per_kg_m.",
            low=0,
        ),
        Field(
            "equation",
            Kind.CODE,
            "Published energy equation used.",
            codes=codes.ENERGY_EQUATION,
            privacy=PLAIN,
        ),
        Field("reason_null", Kind.TEXT, "Why a value is missing; null if none is.", nullable=True, privacy=PLAIN),
        f.DELIVERY_ID,
        *_STUDY_PROVENANCE,
    ),
    references=(Reference(("session_id",), "sessions", ("session_id",)),),
)

_TO_RUNNER = Reference(("participant_id",), "runners", ("participant_id",))

TRANSITION_WEEKS = Table(
    name="transition_weeks",
    layer=Layer.OUTCOME,
    one_row_is="one week of one runner's change-over, weeks without a report between others included",
    key=("participant_id", "week"),
    rows=Rows(RUNNER, day="week"),
    fields=(
        f.PARTICIPANT_ID,
        f.WEEK,
        real(
            "running_min",
            "min",
            "Time run in the week, all footwear. Null, not zero, if the week was not reported in full.",
            low=0,
        ),
        real(
            "new_footwear_min", "min", "Of that, in the footwear changed to (study file). Null as running_min.", low=0
        ),
        real(
            "new_footwear_rise_fraction",
            "1",
            "Rise of new_footwear_min over the week before, as part of it. Null unless both are known and the earlier is above zero.",
            low=-1,
        ),
        real(
            "new_footwear_fraction",
            "1",
            "Share of the week's running in the footwear changed to. Null as running_min, and if nothing was run.",
            low=0,
            high=1,
        ),
        real(
            "new_footwear_change_fraction",
            "1",
            "Share less the share of the week before. Null unless both are known.",
            low=-1,
            high=1,
        ),
        real(
            "symptom_severity_score",
            "1",
            "Severity 0 to 100 (OSTRC-H2, Clarsen et al. 2020); not a diagnosis, and without a clinical cut-off. Null, not zero, if not answered in full.",
            low=0,
            high=100,
        ),
        Field(
            "health_problem",
            Kind.BOOLEAN,
            "Whether the severity is above 0. Null as severity.",
            nullable=True,
            privacy=SENSITIVE,
        ),
        Field(
            "substantial_problem",
            Kind.BOOLEAN,
            "Whether question 1 has its last option, or question 2 or 3 one of the two highest. Null as severity.",
            nullable=True,
            privacy=SENSITIVE,
        ),
        Field("symptom_scoring", Kind.TEXT, "Version of the questionnaire and its scoring.", privacy=PLAIN),
        Field(
            "reason_null",
            Kind.TEXT,
            "Why the log or the score is missing; null if neither is.",
            nullable=True,
            privacy=PLAIN,
        ),
        *_STUDY_PROVENANCE,
    ),
    references=(_TO_RUNNER,),
)

TRANSITION_CAUTIONS = Table(
    name="transition_cautions",
    layer=Layer.OUTCOME,
    one_row_is="one reason for the safety lead to look at one runner's week",
    key=("participant_id", "week", "caution"),
    rows=Rows(RUNNER, day="week"),
    stays=True,
    fields=(
        f.PARTICIPANT_ID,
        f.WEEK,
        Field(
            "caution",
            Kind.CODE,
            "What was seen.",
            codes=(
                Code("minutes_rise", "Minutes in the new footwear rose by more than the study file's limit."),
                Code("share_rise", "The new footwear's share rose by more than the study file's limit."),
                Code("health_problem", "The runner reported a health problem, not a substantial one."),
                Code("substantial_problem", "The runner reported a substantial health problem."),
                Code("problem_not_followed_up", "No score in a week after one with a health problem."),
            ),
            privacy=SENSITIVE,
        ),
        Field("seen", Kind.TEXT, "The numbers.", privacy=SENSITIVE),
        Field("basis", Kind.TEXT, "Where the limit or the rule comes from.", privacy=SENSITIVE),
        Field("wording", Kind.TEXT, "What every caution is and is not; it travels with the row.", privacy=SENSITIVE),
        *_STUDY_PROVENANCE,
    ),
    references=(_TO_RUNNER,),
)

RUNNER_CONTRASTS = Table(
    name="runner_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one outcome between two conditions at one speed within one runner, site and visit",
    key=("participant_id", "site", "visit", "set_speed_m_per_s", "outcome", "condition", "reference_condition"),
    rows=Rows(RUNNER),
    fields=(
        f.PARTICIPANT_ID,
        f.SITE,
        f.VISIT,
        f.COMPARED_SPEED,
        _OUTCOME_NAME,
        f.CONDITION,
        _REFERENCE,
        Field(
            "condition_mean_value",
            Kind.REAL,
            "Mean over trials of the trial's mean in the condition, in the outcome's own unit.",
            unit=_ROW,
            privacy=SENSITIVE,
        ),
        Field("reference_mean_value", Kind.REAL, "The same in the reference condition.", unit=_ROW, privacy=SENSITIVE),
        Field(
            "difference_value",
            Kind.REAL,
            "Condition less reference, in the outcome's own unit.",
            unit=_ROW,
            privacy=SENSITIVE,
        ),
        Field("trial_count", Kind.INTEGER, "Trials (or metabolic bouts) behind the two means.", low=2, privacy=PLAIN),
        *_STUDY_PROVENANCE,
    ),
    notes="A runner without both conditions at the same site, visit and set speed has no row.",
)

SITE_CONTRASTS = Table(
    name="site_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one outcome between two conditions at one site, visit and speed",
    key=("outcome", "visit", "at_speed", "condition", "reference_condition", "site"),
    rows=NOBODYS,
    fields=(
        _OUTCOME_NAME,
        f.VISIT,
        f.AT_SPEED,
        f.CONDITION,
        _REFERENCE,
        f.SITE,
        real("estimate_value", _ROW, "Mean of the runners' differences, in the outcome's own unit."),
        real(
            "standard_error_value",
            _ROW,
            "Standard deviation of the runners' differences over the square root of their number. Null with fewer runners than the study file asks for.",
            low=0,
        ),
        real(
            "lower_limit_value", _ROW, "Lower end of the 95 % confidence interval, t on runners less 1. Null as error."
        ),
        real("upper_limit_value", _ROW, "Upper end of it."),
        Field("runner_count", Kind.INTEGER, "Runners with both conditions.", low=1, privacy=PLAIN),
        Field(
            "reason_null", Kind.TEXT, "Why the site has no interval and is not pooled.", nullable=True, privacy=PLAIN
        ),
        *_STUDY_PROVENANCE,
    ),
)

POOLED_CONTRASTS = Table(
    name="pooled_contrasts",
    layer=Layer.OUTCOME,
    one_row_is="the difference of one outcome between two conditions at one speed, pooled over sites by one method",
    key=("outcome", "visit", "at_speed", "condition", "reference_condition", "pooling_method"),
    rows=NOBODYS,
    fields=(
        _OUTCOME_NAME,
        f.VISIT,
        f.AT_SPEED,
        f.CONDITION,
        _REFERENCE,
        Field("pooling_method", Kind.CODE, "How it was pooled.", codes=codes.POOLING_METHOD, privacy=PLAIN),
        real("estimate_value", _ROW, "Pooled difference, in the outcome's own unit."),
        real("standard_error_value", _ROW, "Its standard error, as used in the interval.", low=0),
        real("lower_limit_value", _ROW, "Lower end of the 95 % confidence interval."),
        real("upper_limit_value", _ROW, "Upper end of it."),
        Field(
            "interval",
            Kind.CODE,
            "How the interval was made.",
            codes=codes.INTERVAL,
            privacy=PLAIN,
        ),
        real(
            "between_site_sd_value",
            _ROW,
            "Standard deviation of the true difference between sites: the root of tau squared. Null for the mixed model.",
            low=0,
        ),
        real("cochran_q_index", "1", "Cochran's Q over the sites. Null for the mixed model.", low=0),
        real("heterogeneity_percent", "%", "I squared; null for the mixed model.", low=0, high=100),
        real(
            "prediction_lower_value",
            _ROW,
            "Lower end of the 95 % interval for the true difference at a further site, t on sites less 2 (Higgins et al. 2009). Null for the mixed model and below 3 sites.",
        ),
        real("prediction_upper_value", _ROW, "Upper end of it."),
        Field(
            "runner_count",
            Kind.INTEGER,
            "Different runners. One measured at several sites counts at each in the estimate, so that the sites are then not wholly independent.",
            low=0,
            privacy=PLAIN,
        ),
        Field("site_count", Kind.INTEGER, "Sites pooled.", low=0, privacy=PLAIN),
        Field("reason_null", Kind.TEXT, "Why there is no estimate; null if there is.", nullable=True, privacy=PLAIN),
        *_STUDY_PROVENANCE,
    ),
)
