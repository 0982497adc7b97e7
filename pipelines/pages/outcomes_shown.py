"""Which outcomes the pages show, in which words, and where their values are; all others are one query away.

Muscles are words of the study file: shown are the first pair it names for co-contraction, or else its first two.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipelines.pages.words import short_unit
from schemas.catalogue import TABLES
from schemas.codes import NORMALISATION
from schemas.convert.to_duckdb import quote_name, quote_text
from schemas.study import Study


@dataclass(frozen=True)
class Outcome:
    """One outcome that the pages show. ``digits`` after the point; ``note`` says what a reader could mistake.

    table, column: where it is. apart: columns of that table, with the word each must have, in the order in which the
    words stand in the contrast tables. between_sites: among the outcomes compared between sites. within_runners:
    among those whose differences between conditions are drawn.
    """

    column: str
    title: str
    digits: int
    note: str = ""
    table: str = "footfalls"
    apart: tuple[tuple[str, str], ...] = ()
    between_sites: bool = True
    within_runners: bool = True

    @property
    def key(self) -> str:
        """Its name in the contrast tables, for example ankle/sagittal/segment/angle_at_contact_deg."""
        return "/".join([*(word for _, word in self.apart), self.column])

    @property
    def unit(self) -> str:
        """The unit as it reads after a number."""
        return short_unit(TABLES[self.table].column(self.column).unit)

    @property
    def axis(self) -> str:
        """Title of its axis."""
        return f"{self.title} ({self.unit})" if self.unit else self.title

    @property
    def values_sql(self) -> str:
        """Rows of site, condition, participant_id, set_speed_m_per_s, trial_id and value; a bout counts as a trial."""
        value = f"CAST(o.{quote_name(self.column)} AS DOUBLE) AS value"
        if self.table == "energy_bouts":
            bout = "concat_ws('/', o.session_id, o.condition, o.bout) AS trial_id"
            return (
                f"SELECT s.site, o.condition, s.participant_id, o.set_speed_m_per_s, {bout}, {value} "
                "FROM energy_bouts o JOIN sessions s USING (session_id)"
            )
        only = " AND ".join(f"o.{quote_name(name)} = {quote_text(word)}" for name, word in self.apart) or "true"
        return (
            f"SELECT t.site, t.condition, t.participant_id, t.set_speed_m_per_s, trial_id, {value} "
            f"FROM {quote_name(self.table)} o JOIN trials t USING (trial_id) WHERE {only}"
        )


def shown_outcomes(study: Study, side: str) -> tuple[Outcome, ...]:
    """The outcomes in the order in which they are shown. side: the one whose muscles are shown."""
    return (
        Outcome("contact_time_s", "Contact time", 3, within_runners=False),
        Outcome("stride_length_m", "Stride length", 2),
        Outcome("foot_strike_angle_deg", "Foot strike angle", 1, "Toes up is positive; 0° is the standing posture."),
        Outcome("impact_peak_bw", "Impact peak", 2, "Only footfalls that have an impact peak."),
        _angle("ankle", "Ankle angle at contact", "Dorsiflexion is positive; 0° is the standing posture."),
        _angle("knee", "Knee angle at contact", "Flexion is positive; 0° is the standing posture."),
        *_muscle_outcomes(study, side),
        Outcome("metabolic_power_w_per_kg", "Metabolic power", 2, _GROSS, "energy_bouts", between_sites=False),
        Outcome("energy_cost_j_per_kg_m", "Energy cost of running", 2, _GROSS, "energy_bouts", within_runners=False),
    )


_GROSS = "Gross, rest not subtracted; only steady bouts."


def _angle(joint: str, title: str, note: str) -> Outcome:
    apart = (("joint", joint), ("plane", "sagittal"), ("angle_against", "segment"))
    return Outcome("angle_at_contact_deg", title, 1, note, "footfall_joints", apart)


def _muscle_outcomes(study: Study, side: str) -> Iterator[Outcome]:
    settings = study.processing.muscle
    pairs = settings.co_contraction_pairs
    muscles = list(pairs[0]) if pairs else list(study.muscles)[:2]
    if not muscles:
        return
    first, last = muscles[0], muscles[-1]
    which = f"{side.capitalize()} side."
    yield Outcome(
        "onset_before_contact_s",
        f"{_words(first)}: onset before contact",
        3,
        f"Positive is before contact; of the burst that does its work in stance, where three detectors agree. {which}",
        "muscle_bursts",
        (("muscle", first), ("side", side), ("burst", "stance")),
    )
    divided = {code.value: code.meaning for code in NORMALISATION}[settings.normalisation]
    yield Outcome(
        "amplitude_fraction",
        f"{_words(last)}: amplitude before contact",
        2,
        f"{divided} {which}",
        "muscle_amplitudes",
        (
            ("muscle", last),
            ("side", side),
            ("analysis_window", "pre_contact"),
            ("normalisation", settings.normalisation),
        ),
        between_sites=False,
    )


def _words(muscle: str) -> str:
    words = muscle.replace("_", " ")
    return words[:1].upper() + words[1:]
