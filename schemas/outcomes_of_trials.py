"""What a trial says as a whole: mass and speed, and what footfalls give only together. Layer: outcome.

These are asymmetry of the sides, variability, and the load of a kilometre. Formulas stand with the functions in ``pipelines.science.whole_trial``.
"""

from __future__ import annotations

from schemas import fields as f
from schemas.delivery import RECORDED
from schemas.leaving import Leaves
from schemas.model import Code, Field, Kind, Layer, Table, suffix_unit
from schemas.outcomes import TO_TRIAL, real
from schemas.privacy import PLAIN, QUASI

#: Asymmetry -> the column of ``footfalls`` it is of.
OF_SIDES = {
    "contact_time_asymmetry_percent": "contact_time_s",
    "step_time_asymmetry_percent": "step_time_s",
    "active_peak_asymmetry_percent": "active_peak_bw",
    "average_loading_rate_asymmetry_percent": "average_loading_rate_bw_per_s",
    "vertical_impulse_asymmetry_percent": "vertical_impulse_bw_s",
    "braking_impulse_asymmetry_percent": "braking_impulse_bw_s",
    "propulsive_impulse_asymmetry_percent": "propulsive_impulse_bw_s",
}
#: Variability -> the column of ``footfalls`` it is of.
OF_SPREAD = {
    "stride_time_sd_s": "stride_time_s",
    "contact_time_sd_s": "contact_time_s",
    "step_length_sd_m": "step_length_m",
    "foot_strike_angle_sd_deg": "foot_strike_angle_deg",
    "active_peak_sd_bw": "active_peak_bw",
    "average_loading_rate_sd_bw_per_s": "average_loading_rate_bw_per_s",
}
#: Load of a kilometre -> words for what is added up over its footfalls. Vertical impulse is none of them: at steady speed
#: it is body weight times the time of the kilometre, however one runs.
LOADS_PER_KM = {
    "impact_peaks_bw_per_km": "impact peaks",
    "active_peaks_bw_per_km": "active peaks",
    "achilles_impulse_bw_s_per_km": "impulses of the Achilles tendon's estimated force",
}


def _unit(name: str) -> str:
    unit = suffix_unit(name)
    assert unit is not None, name
    return unit


def _asymmetry(name: str, of: str) -> Field:
    words = f"Symmetry index of {of}: difference of the sides' means over the mean of both, whichever is larger (Robinson, Herzog & Nigg 1987, from memory, without the sign). Scatter of few footfalls makes it larger. Null where a side has fewer than two values."
    return real(name, _unit(name), words, low=0)


def _spread(name: str, of: str) -> Field:
    words = f"Standard deviation of {of} from footfall to footfall of the same side, both sides pooled. The noise of the method is part of it. Null with fewer than eight degrees of freedom, that is ten footfalls of both sides."
    return real(name, _unit(name), words, low=0)


def _load(name: str, of: str) -> Field:
    words = f"Sum of the {of} over the footfalls of a kilometre, both legs together: mean of the sides' means times the footfalls that have one (load per unit of distance: Miller et al. 2014, Med Sci Sports Exerc 46:572, from memory). Null where either is not known."
    return real(name, _unit(name), words, low=0)


TOGETHER: tuple[Field, ...] = (
    *(_asymmetry(name, of) for name, of in OF_SIDES.items()),
    *(_spread(name, of) for name, of in OF_SPREAD.items()),
    real(
        "footfalls_per_km",
        "/km",
        "Footfalls of both legs in a kilometre: 1000 m over the mean step length, both sides counting alike. Null without a step length.",
        low=0,
    ),
    real(
        "impacts_per_km",
        "/km",
        "Of those, footfalls with an impact peak, by footfalls_with_impact_peak_fraction. Null as either.",
        low=0,
    ),
    *(_load(name, of) for name, of in LOADS_PER_KM.items()),
)

TRIAL_OUTCOMES = Table(
    name="trial_outcomes",
    layer=Layer.OUTCOME,
    one_row_is="what one running trial says as a whole",
    key=("trial_id",),
    rows=RECORDED,
    leaves=Leaves(
        "trial_id footfall_count footfalls_with_impact_peak_fraction speed_m_per_s mass_source "
        "has_standing_posture filled_fraction delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        Field("footfall_count", Kind.INTEGER, "Complete footfalls found.", low=0, privacy=PLAIN),
        real(
            "footfalls_with_impact_peak_fraction",
            "1",
            "Share of the footfalls with force that have an impact peak. Null without force.",
            low=0,
            high=1,
        ),
        real("speed_m_per_s", "m/s", "Mean running speed, as in footfalls.", low=0),
        real("mass_used_kg", "kg", "Body mass that forces were divided by.", low=0, privacy=QUASI),
        Field(
            "mass_source",
            Kind.CODE,
            "Where that mass came from.",
            codes=(
                Code("session", "Weighed on the day."),
                Code("force", "Estimated from the mean vertical force of this trial."),
            ),
            nullable=True,
            privacy=PLAIN,
        ),
        real(
            "mass_from_force_kg",
            "kg",
            "Mean vertical force over whole steps divided by standard gravity. Null with fewer than two contacts.",
            low=0,
            privacy=QUASI,
        ),
        Field(
            "has_standing_posture",
            Kind.BOOLEAN,
            "Whether a standing trial of the session and condition was there for the angles.",
            privacy=PLAIN,
        ),
        real(
            "filled_fraction",
            "1",
            "Share of marker samples that were filled across short gaps.",
            low=0,
            high=1,
        ),
        *TOGETHER,
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)
