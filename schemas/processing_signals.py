"""How muscle, foot-sensor and marker signals become outcomes; settings with their units and sources."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from schemas.settings import Settings


class MuscleProcessing(Settings):
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
        description="Zero-lag low-pass of the squared signal; the root of it is the envelope, a root mean square as amplitudes are. Common practice for envelopes: 3 to 8 Hz.",
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
        default=8.0,
        gt=0,
        description="The same after the Teager-Kaiser operator. Own choice: with 15 (from memory: Solnik et al. 2010) one onset in ten of real muscles comes more than 50 ms late, with 8 one in thirty (python -m benchmarks.onsets).",
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
    onset_agreement_s: float = Field(
        default=0.03,
        gt=0,
        description="An onset is given where all three detectors lie within this of each other; it is the middle one. Own choice: on signals of known onset the errors of those within 20 ms and within 30 ms are alike (python -m benchmarks.onsets).",
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
    peak_window_s: float = Field(
        default=0.10,
        gt=0,
        description="The largest root mean square over a stretch of this length is a stride's peak; a dynamic peak is the mean over strides. Own choice: about as long as the shortest window that is divided by it.",
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


class SensorProcessing(Settings):
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
    tibial_cutoff_hz: float = Field(
        default=60.0,
        gt=0,
        description="Zero-lag low-pass of an accelerometer on the shin before its peak is taken. Common practice: 60 Hz, 40 to 100 Hz are in use (review of Sheerin et al. 2019, Gait Posture 67:12, from memory). A channel that is not sampled at more than twice this has no value.",
    )
    contact_bias_s: float = Field(
        default=0.01,
        ge=0,
        description="Standard uncertainty of contact that is alike in all footfalls of a trial. Own choice: rules for foot sensors differ by tens of ms (Kiernan et al. 2023); where a site has force as well, method_offsets tells its own.",
    )
    contact_scatter_s: float = Field(default=0.005, ge=0, description="The same, of each footfall for itself.")
    toe_off_bias_s: float = Field(default=0.02, ge=0, description="As contact_bias_s, of toe-off. Own choice.")
    toe_off_scatter_s: float = Field(default=0.01, ge=0, description="As contact_scatter_s, of toe-off.")


class MarkerEventProcessing(Settings):
    """How contact and toe-off are found in foot markers where there is no force."""

    cutoff_hz: float = Field(
        default=25.0,
        ge=3,
        description="Zero-lag low-pass before markers are differentiated, below half of each site's marker rate. Common practice.",
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
    toe_off: Literal["rise", "jerk"] = Field(
        default="rise",
        description="Toe-off is where the front of the foot has risen by toe_off_rise_m over its lowest place in the contact, since a real foot rolls over its toes (position of the foot's front, as in Leitch et al. 2011); or the peak of its vertical jerk (Handsaker et al. 2016), for feet that lift flat.",
    )
    toe_off_rise_m: float = Field(
        default=0.022,
        gt=0,
        le=0.06,
        description="How far the metatarsal markers have risen at toe-off. Source: our own choice, measured on two real runners (2.5 and 3.6 m/s), whose toe-off is then -2 to 0 ms from force, SD 2 ms on a belt; on a third with two footfalls +3 and +23 ms. More than a foot's height is never reached on the ground.",
    )
    contact_bias_s: float = Field(
        default=0.007,
        ge=0,
        description="Standard uncertainty of contact that is alike in all footfalls of a trial. On two real runners contact came 4 to 7 ms late, SD 1 ms.",
    )
    contact_scatter_s: float = Field(default=0.002, ge=0, description="The same, of each footfall for itself.")
    toe_off_bias_s: float = Field(
        default=0.012,
        ge=0,
        description="As contact_bias_s, of toe-off. On three real runners it came 2 ms early to 13 ms late by toe_off: rise, SD up to 10 ms; by jerk on feet that roll over their toes 20 ms early, SD 23 to 37 ms.",
    )
    toe_off_scatter_s: float = Field(default=0.01, ge=0, description="As contact_scatter_s, of toe-off.")


class ClockProcessing(Settings):
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
