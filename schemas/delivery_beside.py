"""The tables a lab sends beside its trials: breathing gas, the weekly log and the questionnaire. Layer: delivery."""

from __future__ import annotations

from dataclasses import replace

from schemas import fields as f
from schemas.delivery import TO_PARTICIPANT, TO_SESSION
from schemas.model import Field, Kind, Layer, Table
from schemas.privacy import HEALTH, PLAIN, RUNNER, SENSITIVE, SESSION, Rows

_OF_WEEK = Rows(RUNNER, day="week")

SENT_BREATHS = Table(
    name="sent_breaths",
    layer=Layer.DELIVERY,
    file_name="breaths.csv",
    optional=True,
    one_row_is="one breath or one averaging interval of a metabolic bout",
    key=("session_id", "condition", "bout", "elapsed_s"),
    rows=Rows(SESSION, scopes=("metabolic",)),
    fields=(
        f.SESSION_ID,
        f.CONDITION,
        Field(
            "bout",
            Kind.INTEGER,
            "Which metabolic bout of this session and condition, from 1.",
            low=1,
            high=50,
            privacy=PLAIN,
        ),
        Field(
            "elapsed_s",
            Kind.REAL,
            "Time from the start of the bout to the end of the sample.",
            unit="s",
            low=0,
            high=7200,
            privacy=PLAIN,
        ),
        Field(
            "oxygen_uptake_ml_per_min",
            Kind.REAL,
            "Oxygen uptake at standard temperature and pressure, dry.",
            unit="mL/min",
            low=0,
            high=8000,
            privacy=SENSITIVE,
        ),
        Field(
            "carbon_dioxide_output_ml_per_min",
            Kind.REAL,
            "Carbon dioxide output at standard temperature and pressure, dry.",
            unit="mL/min",
            low=0,
            high=9000,
            privacy=SENSITIVE,
        ),
        Field(
            "heart_rate_per_min",
            Kind.REAL,
            "Heart rate.",
            unit="/min",
            low=20,
            high=250,
            nullable=True,
            privacy=SENSITIVE,
        ),
        replace(
            f.SET_SPEED,
            description="Speed that was set in the bout, the same in all its rows. Empty: that of the session.",
        ),
    ),
    references=(TO_SESSION,),
)

SENT_WEEKS = Table(
    name="sent_weeks",
    layer=Layer.DELIVERY,
    file_name="weeks.csv",
    optional=True,
    one_row_is="one week of one runner's change-over in one kind of footwear",
    key=("participant_id", "week", "condition"),
    rows=_OF_WEEK,
    fields=(
        f.PARTICIPANT_ID,
        f.WEEK,
        f.CONDITION,
        Field(
            "running_min",
            Kind.REAL,
            "Time run in this footwear in the week.",
            unit="min",
            low=0,
            high=3000,
            privacy=SENSITIVE,
        ),
    ),
    references=(TO_PARTICIPANT,),
)

SENT_SYMPTOMS = Table(
    name="sent_symptoms",
    layer=Layer.DELIVERY,
    file_name="symptoms.csv",
    optional=True,
    one_row_is="one runner's weekly answers to the overuse questionnaire (OSTRC-H2, Clarsen et al. 2020)",
    key=("participant_id", "week"),
    rows=_OF_WEEK,
    fields=(
        f.PARTICIPANT_ID,
        f.WEEK,
        *(
            Field(
                f"question_{n}_points",
                Kind.INTEGER,
                f"Points of question {n}: 0, 8, 17 or 25.",
                low=0,
                high=25,
                nullable=n > 1,
                privacy=HEALTH,
            )
            for n in (1, 2, 3, 4)
        ),
    ),
    references=(TO_PARTICIPANT,),
)
