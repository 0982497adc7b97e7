"""Columns shared by two or more tables; a column used once stands beside its table."""

from __future__ import annotations

from dataclasses import replace

from schemas import codes
from schemas.model import Field, Kind
from schemas.privacy import IDENTIFIES, PLAIN

PARTICIPANT_ID = Field(
    "participant_id",
    Kind.IDENTIFIER,
    "The runner's code in the study; never a name, initials or a birth date.",
    privacy=IDENTIFIES,
)
SESSION_ID = Field("session_id", Kind.IDENTIFIER, "One laboratory visit of one runner.", privacy=IDENTIFIES)
TRIAL_ORDER = Field(
    "trial_order", Kind.INTEGER, "Position of the trial within its session, from 1.", low=1, privacy=PLAIN
)
TRIAL_ID = Field(
    "trial_id",
    Kind.IDENTIFIER,
    "One recording; unique in the whole study, kept when the trial is resent.",
    privacy=IDENTIFIES,
)
SITE = Field("site", Kind.CODE, "The site that made the recording.", study_list="sites", privacy=PLAIN)
STUDY_DAY = Field(
    "study_day",
    Kind.INTEGER,
    "Days since the runner's enrolment; dates never travel.",
    unit="d",
    low=-60,
    high=1000,
    privacy=PLAIN,
)
VISIT = Field("visit", Kind.CODE, "Which visit of the study's plan.", study_list="visits", privacy=PLAIN)
CONDITION = Field("condition", Kind.CODE, "Footwear condition.", study_list="conditions", privacy=PLAIN)
TRIAL_KIND = Field("kind", Kind.CODE, "What the runner did in the recording.", codes=codes.TRIAL_KIND, privacy=PLAIN)
SURFACE = Field("surface", Kind.CODE, "What the runner ran on.", codes=codes.SURFACE, privacy=PLAIN)
SIDE = Field("side", Kind.CODE, "Side of the body.", codes=codes.SIDE, privacy=PLAIN)
MUSCLE = Field("muscle", Kind.CODE, "Muscle, by its SENIAM name.", study_list="muscles", privacy=PLAIN)
WEEK = Field(
    "week", Kind.INTEGER, "Week of the change-over, 1 being the first.", unit="wk", low=0, high=104, privacy=PLAIN
)
#: A week of the change-over begins this many days after enrolment: week 1 on day 0.
DAYS_PER_WEEK = 7
COMMENT = Field(
    "comment", Kind.TEXT, "Anything the laboratory wants to say; no names, no dates.", nullable=True, privacy=IDENTIFIES
)
RESEND_REASON = Field(
    "resend_reason",
    Kind.TEXT,
    "Why a trial that was accepted before is sent again with other content; no names, no dates.",
    nullable=True,
    may_be_left_out=True,
    privacy=IDENTIFIES,
)
FOOTFALL_NUMBER = Field(
    "footfall_number",
    Kind.INTEGER,
    "Order of the footfall within the trial, from 1, both sides counted together.",
    low=1,
    privacy=PLAIN,
)

#: A speed of people who run, or of a belt that they run on.
_RUNNING_SPEED = Field("set_speed_m_per_s", Kind.REAL, "As set.", unit="m/s", low=0.5, high=10, privacy=PLAIN)
SESSION_SPEED = replace(
    _RUNNING_SPEED,
    description="Speed the protocol asks for; on a treadmill the belt speed.",
)
SET_SPEED = replace(
    _RUNNING_SPEED,
    description="Speed the protocol asks for in the trial; on a treadmill the belt speed. Empty: that of the session.",
    nullable=True,
    may_be_left_out=True,
)
BELT_SPEED = replace(
    SET_SPEED,
    name="belt_speed_m_per_s",
    description="Speed of the treadmill's belt as measured during the trial. Empty: not measured, the set speed counts.",
)
#: To a step, since 12 km/h are 3.33 m/s at one laboratory and 3.3333 at another.
COMPARED_SPEED = replace(
    _RUNNING_SPEED, description="Set speed of the trials, to 0.1 m/s; trials of two speeds never share a row."
)

COMPARED_METHOD = Field(
    "event_method",
    Kind.CODE,
    "By what contact and toe-off were found; values by two methods never share a row but those marked several.",
    codes=codes.COMPARED_METHOD,
    privacy=PLAIN,
)
#: Runners are compared at one speed, as the study's ``processing.contrasts.speeds`` says.
AT_SPEED = Field(
    "at_speed",
    Kind.TEXT,
    "Set speed at which runners were compared, for example 3.0 m/s; or own speed, where each had a set speed of his or her own.",
    privacy=PLAIN,
)

ACCEPTED_BY_OVERRIDE = Field(
    "accepted_by_override",
    Kind.BOOLEAN,
    "Whether a data manager accepted it in spite of a finding that would have returned it; see overrides.",
    privacy=PLAIN,
)
DELIVERY_ID = Field("delivery_id", Kind.IDENTIFIER, "The delivery the row came from.", privacy=PLAIN)
TOLD_BY_DELIVERY = Field(
    "told_by_delivery",
    Kind.IDENTIFIER,
    "The later delivery with whose row of the session, or else of the runner, the trial was judged, if any.",
    nullable=True,
    privacy=PLAIN,
)
RAW_SHA256 = Field("raw_sha256", Kind.IDENTIFIER, "SHA-256 of the trial file the row was computed from.", privacy=PLAIN)
CODE_VERSION = Field("code_version", Kind.TEXT, "Version of manystrides that made the row.", privacy=PLAIN)
STUDY_VERSION = Field("study_version", Kind.TEXT, "Version of the study file that was in force.", privacy=PLAIN)

#: Every derived row says where it came from and what made it.
PROVENANCE = (DELIVERY_ID, RAW_SHA256, CODE_VERSION, STUDY_VERSION)


def optional(field: Field) -> Field:
    """The same column where a value may be missing."""
    return replace(field, nullable=True)


def first_day_of(week: int) -> int:
    """Study day on which a week of the change-over begins; a week before the first counts with it."""
    return max(week - 1, 0) * DAYS_PER_WEEK
