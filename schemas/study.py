"""The study file and the site profile: what a study decides, as typed, checked, documented settings.

Conditions, visits, muscles, marker roles and sites are data here, never words in code. Every number carries its unit
in its name. Nothing here opens a file; ``pipelines.study_file`` does.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

LabAxis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Surface = Literal["treadmill", "runway"]
EnergyEquation = Literal["peronnet_massicotte_1991", "brockway_1987", "weir_1949"]


class _Settings(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Axes(_Settings):
    """Which axis of the lab points which way of the study (ISB: X forward, Y up, Z to the runner's right)."""

    forward: LabAxis = Field(description="Lab axis along the running direction.")
    up: LabAxis = Field(description="Lab axis against gravity.")
    right: LabAxis = Field(description="Lab axis to the runner's right.")

    @model_validator(mode="after")
    def _three_axes_right_handed(self) -> Axes:
        if len({a[1] for a in (self.forward, self.up, self.right)}) != 3:
            raise ValueError("forward, up and right must name three different lab axes")
        order = "".join(a[1] for a in (self.forward, self.up, self.right))
        parity = 1 if order in ("xyz", "yzx", "zxy") else -1
        sign = parity * (-1) ** sum(a[0] == "-" for a in (self.forward, self.up, self.right))
        if sign < 0:
            raise ValueError("the three axes are left-handed; turn one of them round")
        return self


class SiteProfile(_Settings):
    """How one laboratory records: its axes, rates, plates and marker labels."""

    site: str = Field(description="Short name of the laboratory, as in the study file.")
    description: str = Field(default="", description="The equipment in a few words.")
    surface: Surface = Field(description="treadmill or runway.")
    axes: Axes = Field(description="Rotation from the lab's axes to the study's.")
    runs_both_ways: bool = Field(
        default=False,
        description="Whether runners pass in both directions; then a trial run backwards along 'forward' is turned about the vertical.",
    )
    marker_rate_hz: float = Field(gt=0, description="Marker frames per second.")
    force_rate_hz: float | None = Field(
        default=None, gt=0, description="Force samples per second; leave out without force plates."
    )
    plate_types: tuple[int, ...] = Field(default=(), description="C3D type of each force plate, in file order.")
    markers: dict[str, str] = Field(
        description="Marker role with side, for example calcaneus_left, to the lab's label in the file."
    )


class Described(_Settings):
    """Something that only needs a description."""

    description: str = Field(description="In a few words.")


class Visit(_Settings):
    """One visit of the plan."""

    description: str = Field(default="", description="In a few words.")
    planned_week: int = Field(ge=0, description="Week of the change-over in which the visit is due.")


class MarkerRole(_Settings):
    """One anatomical landmark that labs mark."""

    description: str = Field(description="Where the marker sits.")
    sided: bool = Field(
        default=True, description="Whether there is one on each side; then roles end in _left and _right."
    )
    required: bool = Field(default=False, description="Whether a trial without it goes back.")


class Site(_Settings):
    """A laboratory of the study. ``profile`` is read from the file named in the study file."""

    description: str = Field(description="The laboratory in a few words.")
    profile: SiteProfile = Field(description="How it records; in the study file, the path of the profile.")


class MuscleProcessing(_Settings):
    """How muscle signals become amplitudes, bursts and co-contraction. The offset and what is outside the band always go."""

    band_low_hz: float = Field(
        default=20.0, gt=0, description="Lower edge of the zero-lag band-pass. Common practice: 20 Hz."
    )
    band_high_hz: float = Field(
        default=450.0,
        gt=0,
        description="Upper edge of the zero-lag band-pass. Common practice: 450 Hz. A signal whose rate is not above twice this has no values.",
    )
    filter_order: int = Field(
        default=2,
        ge=1,
        le=8,
        description="Order of the Butterworth filters of one pass; two passes double it. Edges and cut-offs are corrected for the two passes.",
    )
    mains_notch_hz: Literal[50, 60] | None = Field(
        default=None, description="Mains frequency to take out with a zero-lag notch; null for none. Harmonics stay."
    )
    mains_notch_width_hz: float = Field(
        default=2.0, gt=0, description="Width of the notch between its half-power points. Common practice."
    )
    envelope_cutoff_hz: float = Field(
        default=8.0,
        gt=0,
        description="Zero-lag low-pass of the rectified signal for the linear envelope. Common practice: 3 to 8 Hz.",
    )
    pre_contact_s: float = Field(
        default=0.10, gt=0, description="Length of the window before contact. Common practice: 0.05 to 0.15 s."
    )
    loading_fraction: float = Field(
        default=0.5,
        gt=0,
        lt=1,
        description="End of the loading window as part of contact; push-off is the rest. Common practice: half.",
    )
    onset_cutoff_hz: float = Field(
        default=50.0,
        gt=0,
        description="Zero-lag low-pass of the rectified signal in which bursts are looked for. From memory: 50 Hz (Hodges & Bui 1996).",
    )
    threshold_sd: float = Field(
        default=3.0,
        gt=0,
        description="A burst stands so many standard deviations above the baseline mean. From memory: 3 (Hodges & Bui 1996; Solnik et al. 2010).",
    )
    operator_threshold_sd: float = Field(
        default=15.0,
        gt=0,
        description="The same after the Teager-Kaiser operator. From memory: 15 (Solnik et al. 2010).",
    )
    shortest_burst_s: float = Field(
        default=0.03, ge=0, description="Shorter bursts are noise. Common practice: 0.025 to 0.05 s."
    )
    longest_pause_s: float = Field(
        default=0.03, ge=0, description="Pauses up to this length do not end a burst. Common practice."
    )
    burst_search_s: float = Field(
        default=0.25,
        gt=0,
        description="A contact's burst is looked for from so long before it, but not before the toe-off before, to its toe-off. Common practice.",
    )
    baseline_window_s: float = Field(
        default=0.10,
        gt=0,
        description="Length of the windows among which the quietest are the baseline. Common practice.",
    )
    baseline_fraction: float = Field(
        default=0.10, gt=0, le=1, description="Part of those windows that counts as baseline. Common practice."
    )
    normalisation: Literal["reference_contraction", "dynamic_peak", "none"] = Field(
        default="none",
        description="What amplitudes are divided by; one kind for the whole study, since kinds cannot be pooled (Burden 2010, from memory).",
    )
    reference_condition: str | None = Field(
        default=None, description="Condition whose running trials give the dynamic peak; needed for that kind only."
    )
    reference_window_s: float = Field(
        default=0.5,
        gt=0,
        description="The strongest stretch of this length is a reference contraction's amplitude. Common practice.",
    )
    co_contraction_pairs: tuple[tuple[str, str], ...] = Field(
        default=(),
        description="Pairs of muscles of one side whose co-contraction is computed; names of the study's muscles.",
    )
    longest_flat_s: float = Field(
        default=0.10,
        gt=0,
        description="Where the signal does not change for this long it counts as missing. Common practice.",
    )
    saturated_fraction_max: float = Field(
        default=0.001,
        ge=0,
        lt=1,
        description="A signal with more than this part of its samples stuck at its largest or smallest value has no values. Common practice.",
    )

    @model_validator(mode="after")
    def _fits_together(self) -> MuscleProcessing:
        if not self.band_low_hz < self.band_high_hz:
            raise ValueError("band_low_hz must be below band_high_hz")
        if self.normalisation == "dynamic_peak" and not self.reference_condition:
            raise ValueError("normalisation dynamic_peak needs reference_condition, the condition that gives the peak")
        if any(a == b for a, b in self.co_contraction_pairs):
            raise ValueError("a pair of co_contraction_pairs names the same muscle twice")
        if len(set(self.co_contraction_pairs)) != len(self.co_contraction_pairs):
            raise ValueError("a pair of co_contraction_pairs stands twice")
        return self


class SensorProcessing(_Settings):
    """How contact and push-off are found in foot sensors."""

    shortest_contact_s: float = Field(default=0.08, ge=0, description="Shorter contacts are noise. Common practice.")
    shortest_open_s: float = Field(
        default=0.03, ge=0, description="A footswitch that opens for less has bounced. Common practice."
    )
    switch_closed_level: Literal["shorter", "high", "low"] = Field(
        default="shorter",
        description="Level of a footswitch on the ground; 'shorter' takes the level it holds for less of the time, since a running foot is on the ground for less than half of the stride.",
    )
    switch_contrast: float = Field(
        default=6.0,
        gt=0,
        description="The two levels of a footswitch must lie further apart than this many times their own spread. Common practice.",
    )
    impact_fraction: float = Field(
        default=0.4,
        gt=0,
        lt=1,
        description="An impact peak of an accelerometer reaches this part of the usual one. Common practice.",
    )
    onset_fraction: float = Field(
        default=0.2,
        gt=0,
        lt=1,
        description="Contact is where the acceleration rises through this part of its impact peak. Common practice.",
    )
    push_off_fraction: float = Field(
        default=0.1,
        gt=0,
        lt=1,
        description="A push-off peak stands out by this part of the impact peak. Common practice.",
    )
    shortest_stride_s: float = Field(
        default=0.4, gt=0, description="Impact peaks of one foot are no closer than this. Common practice."
    )
    longest_contact_s: float = Field(
        default=0.45, gt=0, description="Push-off comes no later after contact. Common practice."
    )


class MarkerEventProcessing(_Settings):
    """How contact and toe-off are found in foot markers where there is no force."""

    cutoff_hz: float = Field(
        default=25.0, gt=0, description="Zero-lag low-pass before markers are differentiated. Common practice."
    )
    metatarsal_roles: tuple[str, ...] = Field(
        default=("second_metatarsal_head", "fifth_metatarsal_head"),
        description="Marker roles of the front of the foot, without side; the mean of those that are there is used.",
    )
    low_fraction: float = Field(
        default=0.25,
        gt=0,
        lt=1,
        description="A marker within this part of its whole rise may be on the ground. Own choice.",
    )
    slow_fraction: float = Field(
        default=0.15,
        gt=0,
        lt=1,
        description="A marker whose speed differs from the ground's by less than this part of the largest difference may be on the ground. Own choice.",
    )


class ClockProcessing(_Settings):
    """How the clock of a second file is matched to the trial's, and what is not accepted."""

    largest_offset_s: float = Field(
        default=60.0, gt=0, description="The two recordings started no further apart than this."
    )
    largest_drift_ppm: float = Field(
        default=500.0, gt=0, description="The two clocks differ in rate by no more than this, parts per million."
    )
    residual_limit_s: float = Field(
        default=0.010, gt=0, description="A match that leaves more than this (root mean square) is refused."
    )
    fewest_events: int = Field(default=8, ge=4, description="Shared events a match needs.")
    least_likelihood_ratio: float = Field(
        default=1000.0,
        gt=1,
        description="The best alignment must be so many times as likely as any other; evenly spaced strides fit several ways.",
    )
    match_tolerance_s: float = Field(
        default=0.05, gt=0, description="Events further apart than this are not taken for the same."
    )


class JointProcessing(_Settings):
    """How joint angles and moments are computed: which landmark is which, and the filter of inverse dynamics."""

    ankle_role: str = Field(default="lateral_malleolus", description="Marker role of the ankle in the sagittal plane.")
    knee_role: str = Field(
        default="lateral_femoral_epicondyle", description="Marker role of the knee in the sagittal plane."
    )
    hip_role: str = Field(
        default="greater_trochanter",
        description="Marker role of the hip in the sagittal plane; where a trial lacks it, the hip joint centre is estimated from the pelvis markers (Harrington et al. 2007).",
    )
    ankle_medial_role: str = Field(
        default="medial_malleolus", description="Second marker role of the ankle, for angles in space."
    )
    knee_medial_role: str = Field(
        default="medial_femoral_epicondyle", description="Second marker role of the knee, for angles in space."
    )
    foot_outer_role: str = Field(
        default="fifth_metatarsal_head", description="Marker role of the foot's outer side, for angles in space."
    )
    foot_inner_role: str = Field(
        default="first_metatarsal_head",
        description="Marker role of the foot's inner side, for angles in space; where a trial lacks it, the forefoot role stands in.",
    )
    pelvis_front_role: str = Field(
        default="anterior_superior_iliac_spine", description="Marker role of the front of the pelvis, one on each side."
    )
    pelvis_back_role: str = Field(
        default="posterior_superior_iliac_spine", description="Marker role of the back of the pelvis, one on each side."
    )
    pelvis_back_middle_role: str = Field(
        default="sacrum", description="Marker role between the two at the back; stands in where a trial lacks them."
    )
    moment_cutoff_hz: float = Field(
        default=20.0,
        gt=0,
        description="Zero-lag low-pass of markers and force alike before inverse dynamics. Common practice: the same cut-off for both, 15 to 20 Hz. Moments are null where it is not below half the marker rate.",
    )
    segments_when_sex_unknown: Literal["female", "male", "mean"] = Field(
        default="mean",
        description="Segment parameters (de Leva 1996) of runners who did not state female or male; mean is the mean of the two columns, our own choice.",
    )


class EnergyProcessing(_Settings):
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


class TransitionProcessing(_Settings):
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


class ContrastProcessing(_Settings):
    """How conditions are compared within runners and pooled over sites."""

    reference_condition: str | None = Field(
        default=None,
        description="Condition the others are compared with; null for every pair, the first in the alphabet being the reference.",
    )
    fewest_runners: int = Field(
        default=3,
        ge=2,
        description="With fewer runners a site has no estimate of its own, and the pool no mixed model. Own limit.",
    )
    interval: Literal["hartung_knapp", "normal"] = Field(
        default="hartung_knapp",
        description="Confidence interval of the meta-analysis: Hartung & Knapp (2001) with t on sites less 1 degrees of freedom, its variance never below that of the normal one; or normal.",
    )


class Processing(_Settings):
    """How signals become outcomes. The defaults filter nothing: a study declares its filters."""

    contact_threshold_n: float = Field(
        default=20.0, gt=0, description="Vertical force that counts as contact. Common practice: 20 N."
    )
    shortest_contact_s: float = Field(default=0.08, ge=0, description="Shorter contacts are noise. Common practice.")
    shortest_flight_s: float = Field(
        default=0.02, ge=0, description="Shorter interruptions do not end a contact. Common practice."
    )
    force_cutoff_hz: float | None = Field(
        default=None,
        gt=0,
        description="Zero-lag low-pass for force before peaks and loading rates; null for none. Events and impulses use the unfiltered force.",
    )
    marker_cutoff_hz: float | None = Field(
        default=None, gt=0, description="Zero-lag low-pass for markers; null for none."
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
        lt=1,
        description="Part of contact in which an impact peak is looked for. Common practice.",
    )
    impact_prominence_bw: float = Field(
        default=0.02, ge=0, description="A smaller bump is not an impact peak. Common practice."
    )
    loading_fallback_fraction: float = Field(
        default=0.13,
        gt=0,
        lt=1,
        description="End of the loading phase when there is no impact peak, as part of contact. From memory: 13 % is the usual one.",
    )
    cop_threshold_n: float = Field(
        default=20.0, gt=0, description="Below this vertical force there is no centre of pressure."
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


class Study(_Settings):
    """The study file."""

    title: str = Field(description="Name of the study.")
    version: str = Field(description="Version of this file; raise it with every change.")
    invented: bool = Field(default=False, description="Set for demonstration data, so that every page says so.")
    citation: str = Field(default="", description="How to cite the study.")
    conditions: dict[str, Described] = Field(description="Footwear conditions.")
    visits: dict[str, Visit] = Field(description="Visits of the plan.")
    muscles: dict[str, Described] = Field(default_factory=dict, description="Muscles, by SENIAM name.")
    marker_roles: dict[str, MarkerRole] = Field(description="Anatomical landmarks.")
    sites: dict[str, Site] = Field(description="Laboratories.")
    processing: Processing = Field(default_factory=Processing, description="How signals become outcomes.")
    limits: dict[str, dict[str, float]] = Field(
        default_factory=dict,
        description="Thresholds of checks that differ from their defaults: check name, then threshold.",
    )
    trial_time_limit_s: float = Field(
        default=60.0, gt=0, description="Reading and judging one trial may take this long."
    )
    trial_memory_limit_mb: int = Field(default=2048, ge=256, description="Memory one trial may take, in MiB.")

    @model_validator(mode="after")
    def _conditions_that_processing_names(self) -> Study:
        named = {"processing.transition.new_footwear": self.processing.transition.new_footwear}
        if self.processing.contrasts.reference_condition is not None:
            named["processing.contrasts.reference_condition"] = (self.processing.contrasts.reference_condition,)
        for setting, words in named.items():
            if unknown := [word for word in words if word not in self.conditions]:
                raise ValueError(f"{setting} names {', '.join(unknown)}, which is not among the conditions")
        return self

    def words(self, study_list: str) -> tuple[str, ...]:
        """The allowed words of a ``study_list`` column, for example ``conditions``."""
        return tuple(getattr(self, study_list))

    def roles_with_side(self, *, required_only: bool = False) -> tuple[str, ...]:
        """Every marker name a profile may map, for example calcaneus_left."""
        names: list[str] = []
        for role, spec in self.marker_roles.items():
            if spec.required or not required_only:
                names += [f"{role}_left", f"{role}_right"] if spec.sided else [role]
        return tuple(names)
