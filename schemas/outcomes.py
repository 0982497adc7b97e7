"""What is computed from accepted trials and shown per footfall: time, force, foot strike.

Formulas stand with the functions in ``pipelines.science``; a column's description says what it is, when it is null
and, where a published definition is used, which. Layer: outcome. What trials say as a whole is in
``outcomes_of_trials``; the families that other signals bring (joints, muscles, energy, change-over, contrasts) are in
``outcomes_signals``, ``outcomes_study`` and ``outcomes_contrasts``.
"""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.delivery import RECORDED
from schemas.leaving import Leaves
from schemas.model import Field, Kind, Layer, Reference, Table
from schemas.privacy import PLAIN, SENSITIVE, Privacy

TO_TRIAL = Reference(("trial_id",), "trials", ("trial_id",))


def real(
    name: str,
    unit: str,
    description: str,
    low: float | None = None,
    high: float | None = None,
    privacy: Privacy = SENSITIVE,
) -> Field:
    """An outcome: a real number that may be null, for a reason its description gives."""
    return Field(name, Kind.REAL, description, unit=unit, low=low, high=high, nullable=True, privacy=privacy)


_EVENTS = (
    Field(
        "contact_s",
        Kind.REAL,
        "Start of contact on the trial's clock, at the linear crossing of the threshold.",
        unit="s",
        low=0,
        privacy=SENSITIVE,
    ),
    Field("toe_off_s", Kind.REAL, "End of contact on the trial's clock.", unit="s", low=0, privacy=SENSITIVE),
    Field("event_method", Kind.CODE, "Signal the events were found in.", codes=codes.EVENT_METHOD, privacy=PLAIN),
    Field(
        "plate_count",
        Kind.INTEGER,
        "Force plates under the foot during the contact; null for events not from force.",
        low=0,
        nullable=True,
        privacy=PLAIN,
    ),
)

_TIME_AND_DISTANCE = (
    real("contact_time_s", "s", "Contact to toe-off of the same foot.", low=0),
    real(
        "flight_time_s",
        "s",
        "Toe-off to the next contact, of the other foot. Null for the last footfall, and where the next recorded contact is of the same foot.",
        low=0,
    ),
    real("step_time_s", "s", "Contact to the next contact, of the other foot. Null as flight_time_s.", low=0),
    real(
        "stride_time_s",
        "s",
        "Contact to the next contact of the same foot. Null where it is not recorded.",
        low=0,
    ),
    real("cadence_step_per_min", "{step}/min", "60 divided by step_time_s.", low=0),
    real(
        "step_length_m",
        "m",
        "Distance the body moves in one step: on a treadmill belt speed times step_time_s; on a runway distance along the running direction between the two feet's heel markers, each in the middle of its contact.",
        low=0,
    ),
    real("stride_length_m", "m", "The same over one stride.", low=0),
    real(
        "speed_m_per_s",
        "m/s",
        "Mean running speed: belt speed, or on a runway the slope of the pelvis or trunk markers along the running direction.",
        low=0,
    ),
    real(
        "duty_factor_fraction",
        "1",
        "contact_time_s divided by stride_time_s; where only the step was recorded, by twice step_time_s.",
        low=0,
        high=1,
    ),
)

_FORCE = (
    real(
        "impact_peak_bw",
        "{BW}",
        "First local maximum of filtered vertical force in the early part of contact and early enough to be the foot's collision (study file), standing out by more than the plates shake, as a multiple of body weight. Null when there is none.",
        low=0,
    ),
    real("impact_peak_time_s", "s", "Time from contact to the impact peak. Null when there is none.", low=0),
    real("active_peak_bw", "{BW}", "Largest vertical force after the early part of contact.", low=0),
    real("active_peak_time_s", "s", "Time from contact to the active peak.", low=0),
    real(
        "average_loading_rate_bw_per_s",
        "{BW}/s",
        "Mean slope of vertical force from 20 % to 80 % of the loading phase (that span: Milner et al. 2006; source from memory), which ends at the same fraction of contact in every footfall (study file), so that conditions with and without impact peaks compare.",
    ),
    real(
        "instantaneous_loading_rate_bw_per_s",
        "{BW}/s",
        "Steepest slope between two samples of the filtered force over the same span.",
    ),
    real(
        "loading_rate_to_peak_bw_per_s",
        "{BW}/s",
        "Mean slope of vertical force from 20 % to 80 % of the time from contact to the impact peak (Milner et al. 2006; source from memory). Null when there is none; its means rest on the footfalls that have one, so that two conditions do not compare by it.",
    ),
    real("vertical_impulse_bw_s", "{BW}.s", "Integral of vertical force over the contact, trapezoid rule."),
    real(
        "braking_impulse_bw_s",
        "{BW}.s",
        "Integral of backward-directed fore-aft force over the contact; negative.",
    ),
    real(
        "propulsive_impulse_bw_s",
        "{BW}.s",
        "Integral of forward-directed fore-aft force over the contact; positive.",
    ),
    real("net_fore_aft_impulse_bw_s", "{BW}.s", "Sum of the two; about zero at steady speed."),
    real("braking_peak_bw", "{BW}", "Largest backward-directed force, as a negative number."),
    real("propulsive_peak_bw", "{BW}", "Largest forward-directed force."),
    real(
        "effective_mass_fraction",
        "1",
        "Part of body mass that the impact stops: impulse of vertical force from contact to the impact peak, over the ankle marker's downward speed at contact plus gravity times that time (Lieberman et al. 2010; Chi & Schmitt 2005; sources from memory). The speed is that of a parabola through the marker as recorded in the last 50 ms before contact, since a filter lets the collision slow what comes before it. Null without an impact peak, where the marker is not seen in all of that time, or not falling.",
        low=0,
    ),
    real(
        "tibial_acceleration_peak_in_g",
        "[g]",
        "Peak tibial acceleration: largest acceleration along the shin, of either direction, less the trial's mean, within impact_latest_s of contact; below tibial_cutoff_hz (study file), as a multiple of standard gravity. Null without an accelerometer on that shin, or where its signal is missing.",
        low=0,
    ),
    real("mean_vertical_force_bw", "{BW}", "Mean vertical force over the contact."),
    real(
        "centre_of_mass_fall_m",
        "m",
        "How far the centre of mass falls from contact to its lowest place: twice the integral of vertical force over the whole stride, which ends as high and as fast as it began (Cavagna 1975, from memory). Null where the stride is not wholly in force.",
    ),
    real(
        "centre_of_mass_oscillation_m",
        "m",
        "From the lowest to the highest place of the centre of mass in the step, from contact to the next contact; by the same integral. Null as centre_of_mass_fall_m.",
        low=0,
    ),
    real(
        "measured_vertical_stiffness_kn_per_m",
        "kN/m",
        "Largest filtered vertical force of the contact over centre_of_mass_fall_m. Null as that.",
        low=0,
    ),
    real(
        "vertical_stiffness_kn_per_m",
        "kN/m",
        "Modelled peak force over modelled fall of the centre of mass (Morin et al. 2005). Null without flight time.",
        low=0,
    ),
    real(
        "leg_stiffness_kn_per_m",
        "kN/m",
        "Modelled peak force over modelled leg compression (Morin et al. 2005; McMahon & Cheng 1990). Null without flight time, leg length or speed.",
        low=0,
    ),
)

_FOOT_STRIKE = (
    real(
        "foot_strike_angle_deg",
        "deg",
        "Angle of the heel-to-forefoot line to the ground at contact, less the same angle standing; toes up is positive. Null without a standing trial or a marker.",
        low=-180,
        high=180,
    ),
    Field(
        "strike_class_by_angle",
        Kind.CODE,
        "Class by foot_strike_angle_deg at the cut-offs of Altman & Davis (2012): rearfoot above 8.0, forefoot below -1.6 deg; uncertain where one of them is nearer than the angle's standard uncertainty.",
        codes=codes.STRIKE_CLASS,
        nullable=True,
        privacy=SENSITIVE,
    ),
    real(
        "strike_index_percent",
        "%",
        "Centre of pressure along the foot's axis as seen from above, from the heel (0) to the toes (100) (Cavanagh & Lafortune 1980), at the moment, between samples, at which vertical force first reaches strike_index_force_n (200 N), force and moments filtered at force_cutoff_hz, markers of that moment. Null without force or markers, and if that comes after a tenth of contact.",
    ),
    Field(
        "strike_class_by_index",
        Kind.CODE,
        "Class by strike_index_percent in thirds (Cavanagh & Lafortune 1980); uncertain where the end of a third is nearer than the index's standard uncertainty.",
        codes=codes.STRIKE_CLASS,
        nullable=True,
        privacy=SENSITIVE,
    ),
    Field(
        "strike_classes_agree",
        Kind.BOOLEAN,
        "Whether the two classes are the same. Null unless both are known and none is uncertain.",
        nullable=True,
        privacy=SENSITIVE,
    ),
)

FOOTFALLS = Table(
    name="footfalls",
    layer=Layer.OUTCOME,
    one_row_is="one foot on the ground, from contact to toe-off",
    key=("trial_id", "footfall_number"),
    rows=RECORDED,
    leaves=Leaves(
        "trial_id footfall_number side contact_s toe_off_s event_method plate_count contact_time_s "
        "flight_time_s step_time_s stride_time_s cadence_step_per_min step_length_m stride_length_m "
        "speed_m_per_s duty_factor_fraction impact_peak_bw impact_peak_time_s active_peak_bw "
        "active_peak_time_s average_loading_rate_bw_per_s instantaneous_loading_rate_bw_per_s "
        "loading_rate_to_peak_bw_per_s vertical_impulse_bw_s braking_impulse_bw_s propulsive_impulse_bw_s "
        "net_fore_aft_impulse_bw_s braking_peak_bw propulsive_peak_bw mean_vertical_force_bw "
        "foot_strike_angle_deg strike_class_by_angle strike_index_percent strike_class_by_index "
        "strike_classes_agree delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.SIDE,
        *_EVENTS,
        *_TIME_AND_DISTANCE,
        *_FORCE,
        *_FOOT_STRIKE,
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)
