"""Outcome tables beyond the single trial: energy and change-over weeks. Layer: outcome."""

from __future__ import annotations

from dataclasses import replace

from schemas import codes
from schemas import fields as f
from schemas.leaving import Leaves
from schemas.model import Field, Kind, Layer, Reference, Table
from schemas.outcomes import real
from schemas.privacy import HEALTH, PLAIN, QUASI, RUNNER, SESSION, Rows

STUDY_PROVENANCE = (f.CODE_VERSION, f.STUDY_VERSION)
ENERGY_BOUTS = Table(
    name="energy_bouts",
    layer=Layer.OUTCOME,
    one_row_is="one metabolic bout",
    key=("session_id", "condition", "bout"),
    rows=Rows(SESSION, scopes=("metabolic",)),
    leaves=Leaves(
        "session_id condition bout set_speed_m_per_s plateau_change_percent respiratory_exchange_ratio "
        "metabolic_power_w_per_kg energy_cost_j_per_kg_m oxygen_cost_ml_per_kg_km equation reason_null "
        "delivery_id code_version study_version"
    ),
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
            "Mean over the plateau, the last whole minutes of the bout (study file). Samples that count as no breaths are left out (samples_left_out_fraction). Null if the bout is too short, has gaps there, or too many such samples.",
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
            "samples_left_out_fraction",
            "1",
            "Part of the plateau's samples that count as no breaths and are left out: a gas of zero or less, or further from the mean of the samples around it than the study file allows (Lamarra et al. 1987, from memory). Null if the bout is too short.",
            low=0,
            high=1,
        ),
        real(
            "oxygen_drift_percent_per_min",
            "%/min",
            "Slope of oxygen uptake over the plateau, weighted least squares, of the plateau's mean. Null as oxygen_uptake_ml_per_min.",
        ),
        real(
            "oxygen_drift_uncertainty_percent_per_min",
            "%/min",
            "Standard uncertainty of that slope by the scatter of the samples about it. Null as oxygen_uptake_ml_per_min.",
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
            "metabolic_power_uncertainty_w_per_kg",
            "W/kg",
            "Standard uncertainty of the power by the scatter of the samples alone; what the analyser and the equation are off by is no part of it. Null as metabolic_power_w_per_kg.",
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
        *STUDY_PROVENANCE,
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
            privacy=QUASI,  # with a speed that can be guessed it is the weekly distance
        ),
        real(
            "new_footwear_min",
            "min",
            "Of that, in the footwear changed to (study file). Null as running_min.",
            low=0,
            privacy=QUASI,
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
            privacy=HEALTH,
        ),
        Field(
            "health_problem",
            Kind.BOOLEAN,
            "Whether the severity is above 0. Null as severity.",
            nullable=True,
            privacy=HEALTH,
        ),
        Field(
            "substantial_problem",
            Kind.BOOLEAN,
            "Whether question 1 has its last option, or question 2 or 3 one of the two highest. Null as severity.",
            nullable=True,
            privacy=HEALTH,
        ),
        Field("symptom_scoring", Kind.TEXT, "Version of the questionnaire and its scoring.", privacy=PLAIN),
        Field(
            "reason_null",
            Kind.TEXT,
            "Why the log or the score is missing; null if neither is.",
            nullable=True,
            privacy=PLAIN,
        ),
        Field(
            "reason_no_change",
            Kind.TEXT,
            "Why there is no rise or no change over the week before; null if there are both.",
            nullable=True,
            privacy=PLAIN,
        ),
        *STUDY_PROVENANCE,
    ),
    references=(_TO_RUNNER,),
)
