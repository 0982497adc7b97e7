"""How signals become outcomes: what a study declares, with its units and sources. By default force alone is filtered,
and no marker."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from schemas.processing_joints import JointProcessing
from schemas.processing_signals import (
    ClockProcessing,
    MarkerEventProcessing,
    MuscleProcessing,
    SensorProcessing,
)
from schemas.settings import Settings

#: N, own choice: twice what is in use (common practice: 10 to 50 N); more shortens every contact.
MOST_THRESHOLD_N = 100.0
#: Hz, own choice: half a period is then as long as the shortest contacts, so that a slower filter blurs every event.
LEAST_EVENT_CUTOFF_HZ = 10.0
#: N, own choice: beyond it is no zero that drifted, but a plate that somebody stands on or that was never zeroed.
MOST_LEVEL_N = 50.0

EnergyEquation = Literal["peronnet_massicotte_1991", "brockway_1987", "weir_1949"]


class EnergyProcessing(Settings):
    """How breathing gas becomes metabolic power: which minutes of a bout are used, and when there is no value."""

    equation: EnergyEquation = Field(
        default="peronnet_massicotte_1991",
        description="Published energy equation. At a respiratory exchange ratio of 0.90 the first gives 2.9 % more than the others; the name is stored with every value.",
    )
    warm_up_s: float = Field(
        default=180.0, ge=0, description="Start of every bout that is not used. Common practice: 3 to 4 minutes."
    )
    plateau_minutes: int = Field(
        default=2, ge=2, description="Last whole minutes of a bout that are averaged. Common practice: 2."
    )
    plateau_change_limit_fraction: float = Field(
        default=0.10,
        gt=0,
        description="Steady means that mean oxygen uptake changes from minute to minute by no more than this part of the plateau's mean. Common practice: 5 to 10 %.",
    )
    lowest_covered_fraction: float = Field(
        default=0.9, gt=0, le=1, description="Part of each minute of the plateau that samples must cover. Own limit."
    )
    local_samples: int = Field(
        default=10,
        ge=4,
        description="So many samples on each side are what a sample is held against before it counts as a breath. Own choice: half a minute of breaths on each side.",
    )
    largest_breath_sd: float = Field(
        default=4.0,
        gt=0,
        description="A sample further from the mean of those around it than this many of their standard deviations is left out, as is one of zero or less. Lamarra et al. 1987 (J Appl Physiol 62:2003), from memory: 4.",
    )
    largest_left_out_fraction: float = Field(
        default=0.05,
        ge=0,
        lt=1,
        description="With more of the plateau's samples left out there is no value. Own limit: a swallow or a cough a minute.",
    )
    highest_respiratory_exchange_ratio: float = Field(
        default=1.0,
        gt=0,
        description="Above it part of the power does not come from oxygen, and there is no value. Common practice: 1.0.",
    )
    lowest_respiratory_exchange_ratio: float = Field(
        default=0.65,
        ge=0,
        description="Below it gases were measured wrongly, and there is no value: fat alone gives 0.7036 (Peronnet & Massicotte 1991). Own limit.",
    )


class TransitionProcessing(Settings):
    """How the weeks of the change-over are read, and which of them are shown to the safety lead."""

    new_footwear: tuple[str, ...] = Field(
        default=(),
        description="Conditions the runners change over to; their minutes are added. Empty: shares are null.",
    )
    minutes_rise_limit_fraction: float = Field(
        default=0.30,
        gt=0,
        description="A larger rise of the minutes in the new footwear over the week before is a caution. No published dose limit; own suggestion.",
    )
    share_rise_limit_fraction: float = Field(
        default=0.10,
        gt=0,
        description="A larger rise of the new footwear's share of the week's running is a caution. No published dose limit; own suggestion.",
    )


class ContrastProcessing(Settings):
    """How conditions are compared within runners and pooled over sites."""

    reference_condition: str | None = Field(
        default=None,
        description="Condition the others are compared with; null for every pair, the first in the alphabet being the reference.",
    )
    speeds: Literal["as_set", "own"] = Field(
        default="as_set",
        description="Over which runners a contrast goes: as_set, those with the same set speed to 0.1 m/s; own, all, each at a set speed of his or her own, without runners who ran at several.",
    )
    fewest_runners: int = Field(
        default=3,
        ge=2,
        description="With fewer runners a site has no estimate of its own, and the pool no mixed model. Own limit.",
    )
    trial_weights: Literal["equal", "uncertainty"] = Field(
        default="equal",
        description="How a runner's trials in one condition are averaged: each alike; or by 1 over the square of its standard uncertainty in outcome_uncertainties, which needs one for every trial of the mean (else they weigh alike).",
    )
    interval: Literal["hartung_knapp", "normal"] = Field(
        default="hartung_knapp",
        description="Confidence interval of the meta-analysis: Hartung & Knapp (2001) with t on sites less 1 degrees of freedom, its variance never below that of the normal one; or normal.",
    )


class Processing(Settings):
    """How signals become outcomes. By default force is filtered as for peaks, and nothing else: a study declares its
    filters."""

    contact_threshold_n: float = Field(
        default=20.0,
        gt=0,
        le=MOST_THRESHOLD_N,
        description="Vertical force that counts as contact, not above contact_sure_n. Common practice: 20 N, 10 to 50 N are in use.",
    )
    contact_sure_n: float = Field(
        default=50.0,
        gt=0,
        le=200,
        description="A contact counts only if vertical force reaches it, so that noise above the threshold is none. Own choice: well above the noise of a belt, well below any footfall; more than half of a light runner's weight would lose footfalls.",
    )
    event_cutoff_hz: float | None = Field(
        default=None,
        ge=LEAST_EVENT_CUTOFF_HZ,
        description="Zero-lag low-pass for force before contact and toe-off are looked for; null for none. On a real treadmill 20 N on raw samples made contacts 7 ms too long and doubled their scatter; at 50 Hz both are gone. Below half of each site's force rate.",
    )
    largest_level_n: float = Field(
        default=15.0,
        ge=0,
        le=MOST_LEVEL_N,
        description="What a plate reads with nobody on it is taken off, in each channel, up to this force (or, of a moment, this force at the plate's corner); a trial with more goes back. Common practice: below the contact threshold.",
    )
    shortest_contact_s: float = Field(default=0.08, ge=0, description="Shorter contacts are noise. Common practice.")
    shortest_flight_s: float = Field(
        default=0.02, ge=0, description="Shorter interruptions do not end a contact. Common practice."
    )
    force_cutoff_hz: float = Field(
        default=50.0,
        ge=5,
        description="Zero-lag low-pass for force before peaks, loading rates and the centre of pressure, part of their definition: between 15 and 100 Hz the instantaneous loading rate of one simulated footfall goes from 51 to 248 kN/s. Common practice in running: 50 Hz; the authors of a real treadmill's data took 10 Hz (Fukuchi et al. 2017). Below half of each site's force rate. Impulses use the unfiltered force.",
    )
    marker_cutoff_hz: float | None = Field(
        default=None,
        ge=3,
        description="Zero-lag low-pass for markers; null for none. Below half of each site's marker rate; 3 Hz is about the rate of steps, below which nothing of a step is left.",
    )
    filter_order: int = Field(
        default=2,
        ge=1,
        le=8,
        description="Order of the Butterworth filter of one pass; two passes double it. The cut-off is corrected for the two passes.",
    )
    longest_gap_s: float = Field(default=0.10, ge=0, description="Longer marker gaps are left open. Common practice.")
    impact_window_fraction: float = Field(
        default=0.25,
        gt=0,
        le=0.4,
        description="Part of contact in which an impact peak is looked for. Common practice; from memory: the active peak comes at 40 to 50 %.",
    )
    impact_latest_s: float = Field(
        default=0.05,
        gt=0,
        description="An impact peak comes no later after contact; a later maximum is no collision of the foot, as that of a footfall on the forefoot. From memory: earlier than 50 ms (Nigg 2001, Clin J Sport Med 11:2).",
    )
    impact_prominence_bw: float = Field(
        default=0.02,
        ge=0,
        description="A smaller bump is not an impact peak; nor is one that vibration of the plate makes, three times what the filtered force shakes by. Common practice.",
    )
    loading_fraction: float = Field(
        default=0.13,
        gt=0,
        le=0.4,
        description="End of the loading phase as part of contact, in every footfall whether it has an impact peak or not. From memory: 13 % is what is usually taken where there is no peak. Beyond 40 % comes the active peak.",
    )
    cop_threshold_n: float = Field(
        default=20.0,
        gt=0,
        le=200,
        description="Below this vertical force there is no centre of pressure; not above strike_index_force_n, at which it is read.",
    )
    strike_index_force_n: float = Field(
        default=200.0,
        gt=0,
        le=400,
        description="The strike index is read when the filtered vertical force first reaches it. On a real treadmill it scatters by 31 to 52 % of the foot at 50 N unfiltered, by 12 to 21 % at 50 N and by 4 to 5 % at 200 N at 50 Hz. A runner of 40 kg weighs 392 N; with more, light runners would have no index.",
    )
    strike_angle_rearfoot_deg: float = Field(default=8.0, description="Above it: rearfoot (Altman & Davis 2012).")
    strike_angle_forefoot_deg: float = Field(default=-1.6, description="Below it: forefoot (Altman & Davis 2012).")
    heel_role: str = Field(default="calcaneus", description="Marker role of the heel end of the foot line.")
    forefoot_role: str = Field(
        default="second_metatarsal_head",
        description="Marker role of the front end of the foot line for the angle.",
    )
    toe_role: str = Field(
        default="second_metatarsal_head",
        description="Marker role from which foot length is measured for the strike index.",
    )
    strike_index_toe_fraction: float = Field(
        default=1.0,
        gt=0,
        description="Foot length divided by the heel-to-toe_role distance; above 1 when that marker sits behind the toes.",
    )
    speed_roles: tuple[str, ...] = Field(
        default=("sacrum", "anterior_superior_iliac_spine", "posterior_superior_iliac_spine"),
        description="Marker roles whose mean gives the runner's speed on a runway; any that are there are used.",
    )
    energy: EnergyProcessing = Field(
        default_factory=EnergyProcessing, description="How breathing gas becomes metabolic power."
    )
    transition: TransitionProcessing = Field(
        default_factory=TransitionProcessing, description="How the weeks of the change-over are read."
    )
    contrasts: ContrastProcessing = Field(
        default_factory=ContrastProcessing, description="How conditions are compared and pooled over sites."
    )
    joints: JointProcessing = Field(
        default_factory=JointProcessing, description="How joint angles and moments are computed."
    )
    sensors: SensorProcessing = Field(
        default_factory=SensorProcessing, description="How contact and push-off are found in foot sensors."
    )
    marker_events: MarkerEventProcessing = Field(
        default_factory=MarkerEventProcessing, description="How events are found in markers where there is no force."
    )
    clock: ClockProcessing = Field(
        default_factory=ClockProcessing, description="How the clock of a second file is matched to the trial's."
    )
    muscle: MuscleProcessing = Field(
        default_factory=MuscleProcessing, description="How muscle signals become outcomes."
    )

    @model_validator(mode="after")
    def _thresholds_in_their_order(self) -> Processing:
        if self.contact_threshold_n > self.contact_sure_n:
            raise ValueError(
                f"contact_sure_n, {self.contact_sure_n:g}, not below contact_threshold_n, {self.contact_threshold_n:g}"
            )
        if self.cop_threshold_n > self.strike_index_force_n:
            raise ValueError(
                f"strike_index_force_n, {self.strike_index_force_n:g}, not below cop_threshold_n, "
                f"{self.cop_threshold_n:g}, under which there is no centre of pressure"
            )
        return self
