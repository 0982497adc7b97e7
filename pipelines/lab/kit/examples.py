"""One example row for each table a laboratory sends: an invented runner, in the study's own words and codes."""

from __future__ import annotations

import re

from schemas import delivery, delivery_beside
from schemas.fields import PARTICIPANT_ID
from schemas.model import Field, Kind, Table
from schemas.study import Study

_RUNNERS = ("P01", "P-01", "P001", "01", "001", "1")
#: Plausible values for an invented runner; columns of codes take the first word of their list where none stands here.
_VALUES: dict[str, str] = {
    "birth_year": "1988", "sex": "undisclosed", "stature_m": "1.74", "mass_kg": "68.5", "leg_length_m": "0.88",
    "weekly_distance_km_per_wk": "35", "scope": "motion", "event": "given", "study_day": "0", "form_version": "1",
    "set_speed_m_per_s": "3.0", "trial_order": "1", "label": "EMG 1", "unit_code": "mV",
    "amplifier_gain": "1000", "bout": "1", "elapsed_s": "5", "oxygen_uptake_ml_per_min": "2450",
    "carbon_dioxide_output_ml_per_min": "2200", "heart_rate_per_min": "148", "week": "0", "running_min": "120",
    "question_1_points": "0", "question_2_points": "0", "question_3_points": "0", "question_4_points": "0",
}  # fmt: skip


def example(table: Table, study: Study, site: str) -> dict[str, str]:
    """Column -> cell of the example row. Columns that may be empty and have nothing usual to say are empty."""
    runner = runner_code(study)
    session = _code(study.codes.session, (f"{runner}-{next(iter(study.visits))}", f"{runner}-1", f"{runner}-S1", "S1"))
    trial = _code(study.codes.trial, (f"{session}-1", f"{runner}-1-1", f"{runner}-T1", "T1"))
    own = {
        PARTICIPANT_ID.name: runner, "session_id": session, "trial_id": trial, "file": "trials/standing-1.c3d",
        "surface": study.sites[site].profile.surface if site in study.sites else "treadmill",
        "kind": "standing", "form_version": (*study.consent_forms, "1")[0],
    }  # fmt: skip
    return {field.name: own.get(field.name, _usual(table, field, study)) for field in table.fields}


def runner_code(study: Study) -> str:
    """A code as the study writes its runners'; for a form that nothing tried here fits, P01."""
    form = study.codes.runner
    prefix = re.match(r"[A-Za-z0-9_-]*", form)
    head = prefix[0] if prefix is not None else ""
    return _code(form, (*(head + "0" * (width - 1) + "1" for width in range(1, 6)), *_RUNNERS), otherwise="P01")


def _code(form: str, tried: tuple[str, ...], otherwise: str = "") -> str:
    fitting = (code for code in tried if not form or re.fullmatch(form, code))
    return next(fitting, otherwise or tried[0]) if form else (otherwise or tried[0])


def _usual(table: Table, field: Field, study: Study) -> str:
    if field.study_list:
        needed = not field.nullable or table in (delivery.SENT_CHANNELS, delivery.SENT_PARTICIPANTS)
        return next(iter(study.words(field.study_list)), "") if needed else ""
    if table is delivery.SENT_TRIALS and field.nullable:
        return ""
    if table is delivery_beside.SENT_BREATHS and field.may_be_left_out:
        return ""
    if field.name in _VALUES:
        return _VALUES[field.name]
    return field.codes[0].value if field.kind is Kind.CODE else ""
