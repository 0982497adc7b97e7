"""Whether a muscle's channel holds a muscle's raw signal, at the right size, and fine enough: one channel at a time.

What disturbs a good channel is for ``muscle_disturbances``, when muscles are active for ``muscle_timing``, and what the
outcomes refuse outright (stuck, standing still, no voltage) for ``channels``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from checks.muscles import shown
from checks.muscles.gains import in_microvolts
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.muscles.measures import Muscle, fault_of, levels, without_muscles
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.trial import FloatArray, Trial

#: Own choice: what counts as the upper part of the study's band.
_UPPER_PART = (0.55, 0.95)
_FORMS = {
    "rectified": "it has no negative half, as after full-wave rectification",
    "smoothed": "it has no negative half and hardly anything above 30 Hz: it was rectified and smoothed (an envelope)",
}


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The signal of {muscle} is not raw: {why}.",
    expected="The raw signal as the amplifier gave it, which swings as far below its middle as above.",
    remedy="Export this channel again before any processing step of the recording program (rectify, envelope, root "
    "mean square, normalise); if several channels are like this, look for the step in the export settings.",
    words=("muscle", "why"),
)
def muscle_signals_are_raw(trial: Trial, channels: ChannelFacts | None, work: Workspace) -> Looked:
    """EMG (muscle signals) comes raw, neither rectified nor smoothed.

    All sites' signals pass through the same filter and the same rectification here. A signal that was rectified
    before loses most of its power in the band-pass and has its frequencies doubled; an envelope is cut away nearly
    whole, and what is left looks like a weak muscle.
    """
    muscles = work.judged_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    faults = [
        fault_of(m, trial, channels, why=_FORMS[m.form], shows=shown.lopsided(m, m.moment_s(trial)))
        for m in muscles
        if m.form != "raw"
    ]
    return looked(len(muscles), faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Bursts of the {muscle} have a root mean square of {burst_uv:.3g} uV at the skin, by the unit and gain that "
    "channels.csv gives.",
    expected="Between {least_uv:g} uV and {most_uv:g} uV in bursts; in running most muscles give from 30 uV to 600 uV.",
    remedy="Look at unit_code and amplifier_gain of this channel in channels.csv: a factor near {factor:.0g} is wrong. "
    "Microvolts called millivolts, or a gain that the recording program had taken off already, are the usual reasons. "
    "Correct the row, and those of the session's other trials.",
    words=("muscle", "burst_uv", "factor"),
    limits={
        "least_uv": Limit("uV", "own choice: below any muscle's burst, above the noise of a good amplifier"),
        "most_uv": Limit("uV", "from memory: surface signals reach 1500 uV (root mean square); twice that"),
    },
)
def muscle_amplitudes_are_those_of_skin(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    least_uv: float = 2.0,
    most_uv: float = 3000.0,
) -> Looked:
    """EMG amplitudes are those of surface electrodes: bursts are as strong as these can show.

    A unit or gain that is wrong by a thousand leaves the shape of the signal as it was, and every amplitude a thousand
    times off; a session's reference recording of the right size makes nonsense of the quotient. Channels whose unit
    contradicts the file are reported by channel_units_agree_with_the_file.
    """
    told = {label for label, _, _ in channels.unit_conflicts} if channels else set()
    muscles = [
        m for m in work.raw_muscles if m.has_bursts and m.signal.label not in told
    ]  # without bursts there is only noise, whose size says nothing of the unit
    if not muscles:
        return nothing(without_muscles(trial) if not told else "units contradict the file, which is reported elsewhere")
    faults = [
        fault_of(m, trial, channels, burst_uv=m.burst_uv, factor=10 ** np.round(np.log10(m.burst_uv / 150)))
        | {"signal": None, "shows": shown.bursts(m, least_uv, most_uv)}
        for m in muscles
        if m.gain_known and not least_uv <= m.burst_uv <= most_uv
    ]
    return in_microvolts(muscles, faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {muscle} shows no bursts: its strongest 50 ms are only {ratio:.1f} times its quietest ({burst} against "
    "{quiet}).",
    expected="A muscle of a runner rises and falls with every stride, at least {least_ratio:g} times above its "
    "quietest moments.",
    remedy="Look whether electrode and lead of this muscle are on (a channel without electrode shows noise only) and "
    "whether the right input was recorded; test before the next trial by letting the runner tense the muscle. Until "
    "then take the row out of channels.csv if the channel holds nothing.",
    words=("muscle", "ratio", "burst", "quiet"),
    limits={
        "least_ratio": Limit("1", "own choice: noise alone varies by a factor of 1.7 between 50 ms windows (measured)")
    },
)
def muscles_are_active_in_running(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    least_ratio: float = 2.0,
) -> Looked:
    """EMG of every recorded muscle of a running trial shows bursts.

    An electrode that is off, or an input that is not connected, gives noise of a credible size. Its amplitudes and
    onsets are numbers like any other, and nobody sees from a table that no muscle was behind them.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    muscles = work.raw_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    faults = [
        fault_of(m, trial, channels, ratio=m.ratio, burst=m.told(m.burst_uv), quiet=m.told(m.quiet_uv))
        | {"signal": None, "shows": shown.above_rest(m, least_ratio)}
        for m in muscles
        if m.ratio < least_ratio
    ]
    return looked(len(muscles), faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {muscle} holds next to nothing above {edge_hz:.0f} Hz: there its power density lies {drop_db:.0f} dB "
    "below that from 60 Hz to 150 Hz.",
    expected="A signal that falls off slowly to the upper edge of the study's band, {upper_hz:.0f} Hz, by less than "
    "{most_db:g} dB; with an amplifier's own noise it never falls further.",
    remedy="Look for a low-pass filter in the amplifier or the export, or a channel recorded at a low rate and filled "
    "up afterwards; export the channel unfiltered at the rate it was recorded at. Until then its amplitudes are too "
    "small beside those of other sites.",
    words=("muscle", "edge_hz", "drop_db", "upper_hz"),
    limits={"most_db": Limit("dB", "own choice: real signals of six recording systems fell by 21 dB at the most")},
)
def muscle_signals_fill_their_band(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    most_db: float = 32.0,
) -> Looked:
    """EMG reaches up to the upper edge of the band that the study filters to.

    The sampling rate alone does not tell: a signal that was low-passed for another purpose, or recorded slowly and
    interpolated, comes at the full rate and has lost part of its power, so that it cannot be compared.
    """
    muscles = [m for m in work.raw_muscles if m.band[1] > 270]  # below: no upper part to look at
    if not muscles:
        return nothing(without_muscles(trial))
    faults = []
    for m in muscles:
        fall = drop_db(m)
        if fall > most_db:
            edge_hz = _UPPER_PART[0] * m.band[1]
            proof = shown.band(m, most_db)
            faults.append(fault_of(m, trial, channels, edge_hz=edge_hz, upper_hz=m.band[1], drop_db=fall, shows=proof))
    return looked(len(muscles), faults)


def drop_db(muscle: Muscle) -> float:
    """How far the power density in the upper part of the band lies below that from 60 Hz to 150 Hz, in dB."""
    low, high = (part * muscle.band[1] for part in _UPPER_PART)
    middle, top = muscle.power_density(60, 150), muscle.power_density(low, high)
    return float(10 * np.log10(middle / max(top, 1e-12 * middle))) if middle > 0 else 0.0


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {muscle} is sampled {rate_hz:.0f} times per second.",
    expected="At least {least_hz:g} samples per second, twice the upper edge of a surface signal's band (500 Hz).",
    remedy="Set the channel to {least_hz:g} Hz or more before the next session; this trial is used as it is. If it was "
    "recorded faster and thinned out in the export, export it again at its own rate.",
    words=("muscle", "rate_hz"),
    limits={"least_hz": Limit("Hz", "from memory: SENIAM recommends 1000 Hz or more and a low-pass at about 500 Hz")},
)
def muscle_rates_leave_room_for_the_band(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    least_hz: float = 1000.0,
) -> Looked:
    """EMG is sampled as fast as surface electrodes ask for.

    Just above twice the band's upper edge values can be computed, but what lies beyond half the rate has been folded
    back into the band, the more the gentler the amplifier's own filter. Slower channels have no values at all, which
    muscle_signals_can_be_used tells.
    """
    muscles = work.judged_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    slack = 0.999  # a second recorder's rate is told by the trial's clock, a few hundred parts per million off
    slow = [m for m in muscles if m.rate_hz < slack * least_hz]
    faults = [fault_of(m, trial, channels, rate_hz=m.rate_hz, shows=shown.rate(m, least_hz)) for m in slow]
    return looked(len(muscles), faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {muscle} is stored in steps of {step}, while its bursts have a root mean square of {burst}: {steps:.1f} "
    "steps.",
    expected="At least {least_steps:g} steps of the converter in the root mean square of a burst.",
    remedy="Raise this channel's gain, or choose a smaller input range, before the next session; a 16-bit channel set "
    "to 10 mV at the skin has steps of 0.3 uV. If the file was exported with fewer digits than were recorded, export "
    "it again.",
    words=("muscle", "step", "burst", "steps"),
    limits={"least_steps": Limit("1", "own choice: the noise at rest, a thirtieth of a burst, is lost below that")},
)
def muscle_channels_are_fine_enough(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    least_steps: float = 10.0,
) -> Looked:
    """EMG is stored in steps that are small beside a muscle's bursts.

    Where steps are coarser than the noise at rest, the resting signal stands still: it counts as missing, the baseline
    has no spread, and the onset of a burst is where the converter moved and not where the muscle did.
    """
    # a channel of noise alone may be as coarse as it likes
    muscles = [m for m in work.raw_muscles if m.ratio >= 2]
    if not muscles:
        return nothing(without_muscles(trial))
    faults = []
    for m in muscles:
        if (steps := m.burst_uv / m.step_uv) < least_steps:
            step, burst, proof = m.told(m.step_uv), m.told(m.burst_uv), shown.steps(m, least_steps, m.moment_s(trial))
            faults.append(fault_of(m, trial, channels, step=step, burst=burst, steps=steps, shows=proof))
    return looked(len(muscles), faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {muscle} has {count} single samples that stand out by up to {height:.0f} times what its bursts make of "
    "one sample against its neighbours; the first is at {moment_s:.3f} s.",
    expected="No sample that leaves its neighbours by more than {most:g} times as much.",
    remedy="Look for a loose plug, a lost packet of the transmitter or static discharge from clothing and belt; the "
    "affected windows' amplitudes are too large. If only the export shows them, export the trial again.",
    words=("muscle", "count", "height"),
    limits={"most": Limit("1", "own choice: real bursts of six recording systems reached 12")},
)
def muscle_signals_have_no_spikes(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    most: float = 20.0,
) -> Looked:
    """EMG has no spikes: no single sample jumps out of its neighbourhood.

    One such sample doubles the amplitude of its window, and the band-pass makes a small burst of it, which can be taken
    for an onset.
    """
    muscles = work.raw_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    faults = []
    for m in muscles:
        bend, usual, peaks = _spikes(m, trial, most)
        if len(peaks):
            at_s = m.signal.start_s + float(peaks[0]) / m.rate_hz
            height = float(bend[peaks].max()) / usual
            proof = shown.spikes(m, height, most, at_s)
            faults.append(fault_of(m, trial, channels, at_s, count=len(peaks), height=height, shows=proof))
    return looked(len(muscles), faults)


def _spikes(muscle: Muscle, trial: Trial, most: float) -> tuple[FloatArray, float, NDArray[np.intp]]:
    """How far each sample (n,) is from its two neighbours' mean, what is usual in bursts, and which samples spike."""
    raw = muscle.raw
    bend = np.zeros(len(raw))
    bend[1:-1] = np.abs(np.nan_to_num(raw[1:-1] - (raw[:-2] + raw[2:]) / 2))
    usual = max(float(np.percentile(levels(bend, muscle.rate_hz), 90)), muscle.step_uv)
    times = muscle.signal.start_s + np.arange(len(raw)) / muscle.rate_hz
    beside = np.maximum(np.roll(bend, 1), np.roll(bend, -1))  # a spike lifts its neighbours' bend to half of its own
    spikes = (bend > most * usual) & (bend > beside) & (times >= 0) & (times <= trial.duration_s)
    return bend, usual, np.flatnonzero(spikes)
