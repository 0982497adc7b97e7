"""Which outcomes are compared between conditions and visits, and by what names. No table and no setting is defined here.

An outcome's name is its column's; what else tells rows of one footfall apart stands before it, parted by slashes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from schemas.fields import PROVENANCE
from schemas.model import Field, Kind, Table
from schemas.outcomes import FOOTFALLS
from schemas.outcomes_muscle import MUSCLE_AMPLITUDES, MUSCLE_BURSTS
from schemas.outcomes_of_trials import TOGETHER, TRIAL_OUTCOMES
from schemas.outcomes_signals import FOOTFALL_JOINTS
from schemas.outcomes_study import ENERGY_BOUTS

_NOT_OUTCOMES = {"trial_id", "footfall_number", "contact_s", "toe_off_s", *(f.name for f in PROVENANCE)}

#: Footfall outcomes that have a mean.
NUMERIC = tuple(f for f in FOOTFALLS.fields if f.kind is Kind.REAL and f.name not in _NOT_OUTCOMES)
#: Of ``energy_bouts``, where a bout stands for a trial.
OF_ENERGY = ("metabolic_power_w_per_kg", "energy_cost_j_per_kg_m", "oxygen_cost_ml_per_kg_km")
#: The speed at which a trial was run, as measured.
MEASURED_SPEED = "speed_m_per_s"


def compared_speed(speed: float) -> float:
    """A set speed in m/s to 0.1, halves up, as ``compared_speed_sql`` has it to the last digit.

    ``round`` of Python and of DuckDB part at halves: 3.25 is 3.2 to the one and 3.3 to the other.
    """
    return math.floor(speed * 10 + 0.5) / 10


def speed_word(speed: float) -> str:
    """The same as the column at_speed has it."""
    return f"{compared_speed(speed):.1f} m/s"


def compared_speed_sql(column: str) -> str:
    """The same as SQL over a column of type DOUBLE."""
    return f"floor({column} * 10 + 0.5) / 10"


@dataclass(frozen=True)
class Source:
    """A table of footfalls, or of trials, with the outcomes that are compared. apart: what else tells its rows apart."""

    table: Table
    outcomes: tuple[str, ...]
    apart: tuple[str, ...] = ()


def _reals(table: Table) -> tuple[str, ...]:
    def is_outcome(field: Field) -> bool:
        return field.kind is Kind.REAL and field.nullable

    return tuple(field.name for field in table.fields if is_outcome(field))


SOURCES = (
    Source(FOOTFALLS, tuple(f.name for f in NUMERIC)),
    Source(TRIAL_OUTCOMES, tuple(f.name for f in TOGETHER)),
    Source(FOOTFALL_JOINTS, _reals(FOOTFALL_JOINTS), ("joint", "plane", "angle_against")),
    Source(MUSCLE_AMPLITUDES, ("amplitude_fraction",), ("muscle", "side", "analysis_window", "normalisation")),
    Source(MUSCLE_BURSTS, ("onset_before_contact_s", "offset_after_contact_s"), ("muscle", "side", "burst")),
)


def known_curves(muscles: Iterable[str]) -> tuple[str, ...]:
    """Every quantity that ``curves`` can have in a study with these muscles."""
    joints = [code.value for code in FOOTFALL_JOINTS.column("joint").codes]
    angles = [f"{joint}_sagittal_angle{against}_deg" for joint in joints for against in ("", "_to_vertical")]
    return ("vertical_force_bw", *angles, *(f"{muscle}_envelope_uv" for muscle in muscles))


def field_of(outcome: str) -> Field:
    """The column that defines an outcome that is compared."""
    column = outcome.rpartition("/")[2]
    table = ENERGY_BOUTS if column in OF_ENERGY else next(s.table for s in SOURCES if column in s.outcomes)
    return table.column(column)


def why_no_outcome(name: str) -> str | None:
    """What an outcome's name should look like; None if there can be such an outcome."""
    *apart, column = name.split("/")
    if column in OF_ENERGY:
        return f"{column} alone" if apart else None
    own = [source for source in SOURCES if column in source.outcomes]
    if not own:
        return "the name of an outcome that is compared, as in the column outcome of pooled_contrasts"
    fields = own[0].apart
    if len(fields) != len(apart):
        return "/".join([*(f"<{field}>" for field in fields), column])
    for field, word in zip(fields, apart, strict=True):
        words = [code.value for code in own[0].table.column(field).codes]
        if words and word not in words:
            return f"{field} {', '.join(words)} where {word!r} stands"
    return None
