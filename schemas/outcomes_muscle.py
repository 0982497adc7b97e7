"""Outcome tables of muscle signals: amplitudes, bursts, co-contraction, and the quality of each. Layer: outcome."""

from __future__ import annotations

from schemas import codes
from schemas import fields as f
from schemas.leaving import Leaves
from schemas.model import Code, Field, Kind, Layer, Table
from schemas.outcomes import TO_TRIAL, real
from schemas.outcomes_signals import TO_FOOTFALL
from schemas.privacy import PLAIN, TRIAL, Rows

_MUSCLE = Rows(TRIAL, scopes=("motion", "force", "muscle"))
_NORMALISATION = Field(
    "normalisation", Kind.CODE, "What amplitudes were divided by.", codes=codes.NORMALISATION, privacy=PLAIN
)

MUSCLE_AMPLITUDES = Table(
    name="muscle_amplitudes",
    layer=Layer.OUTCOME,
    one_row_is="the activity of one muscle in one window of one footfall",
    key=("trial_id", "footfall_number", "muscle", "side", "analysis_window"),
    rows=_MUSCLE,
    leaves=Leaves(
        "trial_id footfall_number muscle side analysis_window window_s amplitude_uv amplitude_fraction "
        "normalisation reference_uv delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.MUSCLE,
        f.SIDE,
        Field("analysis_window", Kind.CODE, "Part of the stride.", codes=codes.ANALYSIS_WINDOW, privacy=PLAIN),
        Field("window_s", Kind.REAL, "Length of the window.", unit="s", low=0, privacy=PLAIN),
        real(
            "amplitude_uv",
            "uV",
            "Root mean square of the band-passed signal in the window. Null where the signal is missing or of no use, or its gain not known; muscle_signals says why.",
            low=0,
        ),
        real(
            "amplitude_fraction",
            "1",
            "The same divided by the reference. Null without a reference; there also where the gain is not known, if it is that of the reference too.",
            low=0,
        ),
        _NORMALISATION,
        real(
            "reference_uv",
            "uV",
            "The reference amplitude. Null without a reference, or where the gain is not known.",
            low=0,
        ),
        *f.PROVENANCE,
    ),
    references=(TO_FOOTFALL,),
    notes="A muscle that was not recorded has no rows, and a window that is not wholly recorded has none.",
)

MUSCLE_BURSTS = Table(
    name="muscle_bursts",
    layer=Layer.OUTCOME,
    one_row_is="one of the two bursts that a muscle may have around one contact",
    key=("trial_id", "footfall_number", "muscle", "side", "burst"),
    rows=_MUSCLE,
    leaves=Leaves(
        "trial_id footfall_number muscle side burst onset_before_contact_s onset_uncertainty_s "
        "onset_quality onset_spread_s offset_after_contact_s onset_by_threshold_s "
        "onset_by_energy_operator_s onset_by_change_point_s delivery_id raw_sha256 code_version "
        "study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.MUSCLE,
        f.SIDE,
        Field("burst", Kind.CODE, "Where the middle of the burst's area lies.", codes=codes.BURST, privacy=PLAIN),
        real(
            "onset_before_contact_s",
            "s",
            "Time from onset to contact, the middle one of three detectors; positive is before contact. Null where they do not agree; onset_quality says why.",
        ),
        real(
            "onset_uncertainty_s",
            "s",
            "Standard uncertainty of that onset: the more, the further the detectors lie apart and the slower the burst rises. Null where there is no onset.",
            low=0,
        ),
        Field(
            "onset_quality",
            Kind.CODE,
            "How many detectors agree on the onset, or why there is none.",
            codes=codes.ONSET_QUALITY,
            privacy=PLAIN,
        ),
        real(
            "onset_spread_s",
            "s",
            "How far apart the onsets of this burst by all detectors lie. Null where fewer than two give one.",
            low=0,
        ),
        real(
            "offset_after_contact_s",
            "s",
            "Time from contact to the end of the burst; negative if it ends before contact. By the energy operator alone. Null where no burst was found or its end is not recorded.",
        ),
        *(
            real(
                f"onset_by_{code.value}_s",
                "s",
                f"Time from onset to contact by one detector, whether another agrees or not. {code.meaning} Null where it gives none.",
            )
            for code in codes.ONSET_METHOD
        ),
        *f.PROVENANCE,
    ),
    references=(TO_FOOTFALL,),
    notes="A muscle that was not recorded has no rows; every recorded contact has two for each muscle. Of several bursts with their middle before contact, or in stance, the one with the largest area counts. Where onsets are missing or unsure, the amplitude of the pre-contact window is the surer outcome.",
)

CO_CONTRACTIONS = Table(
    name="co_contractions",
    layer=Layer.OUTCOME,
    one_row_is="the co-contraction of one pair of muscles in one window of one footfall",
    key=("trial_id", "footfall_number", "side", "muscle", "opposing_muscle", "analysis_window", "formula"),
    rows=_MUSCLE,
    leaves=Leaves(
        "trial_id footfall_number side muscle opposing_muscle analysis_window formula co_contraction_index "
        "normalisation delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.FOOTFALL_NUMBER,
        f.SIDE,
        f.MUSCLE,
        Field("opposing_muscle", Kind.CODE, "The other muscle of the pair.", study_list="muscles", privacy=PLAIN),
        Field("analysis_window", Kind.CODE, "Part of the stride.", codes=codes.ANALYSIS_WINDOW, privacy=PLAIN),
        Field(
            "formula",
            Kind.CODE,
            "Published formula, over the envelopes (root mean square) of both muscles, each divided by its reference.",
            codes=(
                Code("falconer_winter", "100 x 2 sum(min) / sum(both), Falconer & Winter 1985."),
                Code("rudolph", "Mean of (low / high) x (low + high), Rudolph et al. 2000."),
            ),
            privacy=PLAIN,
        ),
        real(
            "co_contraction_index",
            "1",
            "Value of the formula. Null when both muscles are silent, when one has no reference, and where a signal is missing or of no use.",
            low=0,
        ),
        _NORMALISATION,
        *f.PROVENANCE,
    ),
    references=(TO_FOOTFALL,),
    notes="Only pairs of which both muscles were recorded, and windows that are wholly recorded, have rows.",
)

MUSCLE_SIGNALS = Table(
    name="muscle_signals",
    layer=Layer.OUTCOME,
    one_row_is="the quality of one muscle signal in one trial",
    key=("trial_id", "muscle", "side"),
    rows=_MUSCLE,
    leaves=Leaves(
        "trial_id muscle side signal_problem signal_to_noise_db baseline_uv sampling_rate_hz "
        "saturated_fraction missing_fraction above_reference_fraction shared_fraction mains_notch_used "
        "gain_known delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        f.MUSCLE,
        f.SIDE,
        Field(
            "signal_problem",
            Kind.CODE,
            "Why no outcome of this signal has a value. Null when it is of use.",
            codes=(
                Code("recorded_twice", "Two channels are said to be this muscle; which one is right is not known."),
                Code("unit_not_a_voltage", "The unit of the channel is not a voltage."),
                Code("gain_not_understood", "The amplifier's gain is neither a number above 0 nor one in dB."),
                Code("missing", "No sample of the channel is a number, or it has none."),
                Code("flat", "The signal stands still wherever it is recorded."),
                Code("saturated", "The amplifier was stuck at its largest or smallest value too often."),
                Code("rate_too_low", "The sampling rate is not above twice the upper edge of the band."),
                Code("too_short", "No unbroken stretch is as long as three periods of the band's lower edge."),
            ),
            nullable=True,
            privacy=PLAIN,
        ),
        real(
            "signal_to_noise_db",
            "dB",
            "Power of the band-passed signal in all bursts found by threshold over its power in the baseline. Null without a burst.",
        ),
        real(
            "baseline_uv",
            "uV",
            "Root mean square of the quietest windows of the band-passed signal. Null where the gain is not known.",
            low=0,
        ),
        real("sampling_rate_hz", "Hz", "Samples per second.", low=0),
        real(
            "saturated_fraction",
            "1",
            "Part of the samples that is stuck, three or more in a row, at the largest or smallest value.",
            low=0,
            high=1,
        ),
        real("missing_fraction", "1", "Part of the samples that is missing or flat.", low=0, high=1),
        real(
            "above_reference_fraction",
            "1",
            "Part of its windows in muscle_amplitudes whose amplitude lies above its reference. Null without a reference or a window.",
            low=0,
            high=1,
        ),
        real(
            "shared_fraction",
            "1",
            "Largest squared correlation, at no delay, of the band-passed signal with that of another muscle of the trial (common signal, Winter, Fuglevand & Archambault 1994, from memory): what crosstalk raises, and working at the same moments does not. Null without another muscle of the same rate, and where the signal is of no use.",
            low=0,
            high=1,
        ),
        Field("mains_notch_used", Kind.BOOLEAN, "Whether a mains notch filter was applied.", privacy=PLAIN),
        Field(
            "gain_known",
            Kind.BOOLEAN,
            "Whether the amplifier's gain is known. If not, every value in uV of this muscle is null, here, in muscle_amplitudes and in curves; values that are divided by a reference, onsets and co-contraction are there.",
            privacy=PLAIN,
        ),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)
