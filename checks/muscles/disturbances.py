"""What disturbs a good muscle channel: noise at rest, mains, movement, the heart, and another channel's signal."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import Any

import numpy as np

from checks.muscles import shown
from checks.muscles.gains import in_microvolts
from checks.registry import Fault, Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.muscles.heartbeat import heartbeat_in
from pipelines.science.muscles.mains import hum_of, hums_of
from pipelines.science.muscles.measures import Muscle, contacts_by_side, fault_of, without_muscles
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.study import Study
from schemas.trial import FloatArray, Trial

#: Movement shows below this; muscles have next to nothing there. Common practice; the study's band begins above it.
MOVEMENT_HZ = (2.0, 19.0)
#: Own choice: cables and soft tissue swing for so long after contact.
AFTER_CONTACT_S = 0.15


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="At its quietest the {muscle} shows {quiet}, and its bursts are only {ratio:.1f} times that.",
    expected="Bursts at least {least_ratio:g} times above the quietest moments; a good electrode rests at a few "
    "microvolts.",
    remedy="Clean and rub the skin, wait until the gel has soaked in, fasten leads, and look whether the runner stands "
    "relaxed at the start; check the reference electrode if all channels are noisy. Onsets of this muscle are found "
    "too late in this trial.",
    words=("muscle", "quiet", "ratio"),
    limits={"least_ratio": Limit("1", "own choice: good channels of several recording systems reached 5 to 70")},
)
def muscle_baselines_are_quiet(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    least_ratio: float = 4.0,
) -> Looked:
    """EMG has a quiet baseline: bursts stand well above what a channel shows at rest.

    An onset is found where the signal leaves its baseline; the noisier that is, the later. Channels without any burst
    are reported by muscles_are_active_in_running, noise that comes from the mains by muscles_are_free_of_mains_hum.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    muscles = work.raw_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    faults = []
    for m in muscles:
        if 2.0 <= m.ratio < least_ratio:
            hum = hum_of(m, m.settings.mains_notch_hz)
            rest = m.quiet_uv * np.sqrt(max(1 - hum.share, 1e-6))
            if m.burst_uv < least_ratio * rest:
                at_s = m.moment_s(trial, loudest=False)
                proof = shown.above_rest(m, least_ratio)
                faults.append(fault_of(m, trial, channels, at_s, quiet=m.told(m.quiet_uv), ratio=m.ratio, shows=proof))
    return looked(len(muscles), faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="{percent:.0f} % of what the {muscle} shows while the muscle is quiet is {mains_hz:.0f} Hz mains hum with its "
    "harmonics, {size_uv:.3g} uV.",
    expected="Hum of less than {most_uv:g} uV, or of less than {most_percent:g} % of the quiet signal.",
    remedy="Check the reference electrode and the skin under this muscle's electrodes first, then keep chargers, lamps "
    "and the treadmill's motor cable away from leads. For trials that cannot be repeated the study can set "
    "mains_notch_hz, which takes out the first line only.",
    words=("percent", "muscle", "mains_hz", "size_uv"),
    limits={
        "most_percent": Limit("%", "own choice: clean channels of a real jog showed at most 6 %, simulated ones 4 %"),
        "most_uv": Limit("uV", "own choice: twice the noise of a usual electrode on skin"),
    },
)
def muscles_are_free_of_mains_hum(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    study: Study,
    *,
    most_percent: float = 30.0,
    most_uv: float = 5.0,
) -> Looked:
    """EMG is free of power-line noise: the mains does not hum in a muscle's signal.

    Hum lies in the middle of a muscle's band, so the band-pass leaves it: it lifts the baseline, hides the beginning of
    bursts, and makes a silent muscle look active, above all in swing.
    """
    muscles = work.raw_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    faults = []
    for m, hum in zip(muscles, hums_of(muscles, study.processing.muscle.mains_notch_hz), strict=True):
        if m.gain_known and 100 * hum.share > most_percent and hum.size_uv > most_uv:
            at_s = m.moment_s(trial, loudest=False)
            found = {"percent": 100 * hum.share, "mains_hz": hum.mains_hz, "size_uv": hum.size_uv}
            faults.append(fault_of(m, trial, channels, at_s, **found, shows=shown.hum(m, hum, most_percent)))
    return in_microvolts(muscles, faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="Below 20 Hz the {muscle} swings by {slow} in the {after_ms:.0f} ms after contact, {share:.1f} times the "
    "{burst} of its bursts.",
    expected="Slow swings after contact of at most {most_share:g} times the bursts of the same muscle.",
    remedy="Tape lead and transmitter to the skin so that they cannot swing, shorten free cable, and fasten electrodes "
    "that came loose with sweat. The band-pass takes out the slow part; what of the blow lies above 20 Hz stays in the "
    "loading window.",
    words=("muscle", "slow", "after_ms", "share", "burst"),
    limits={"most_share": Limit("1", "own choice: clean channels of a real jog showed at most 0.42")},
)
def muscles_are_free_of_movement(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    most_share: float = 0.8,
) -> Looked:
    """EMG is free of movement artefact: the blow of the foot does not shake electrodes and leads.

    Cables and soft tissue swing at each contact with the calf's own rhythm, which is taken for activity just where the
    study looks for it.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    muscles = work.raw_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    contacts = contacts_by_side(footfalls)
    faults, judged = [], 0
    for m in muscles:
        slow, first_s = after_contact(m, [start for start, _ in contacts[str(m.signal.side)]])
        judged += first_s is not None
        if first_s is not None and slow > most_share * m.burst_uv:
            found = {"slow": m.told(slow), "share": slow / m.burst_uv, "burst": m.told(m.burst_uv)}
            proof = shown.swings(m, m.within(*MOVEMENT_HZ), slow / m.burst_uv, most_share, first_s)
            faults.append(fault_of(m, trial, channels, first_s, after_ms=1000 * AFTER_CONTACT_S, **found, shows=proof))
    return looked(judged, faults) if judged else nothing("no muscle was recorded during a contact of its side")


def after_contact(muscle: Muscle, contacts: list[float]) -> tuple[float, float | None]:
    """Root mean square in uV below 20 Hz after these contacts, and the first of them that was recorded."""
    slow = muscle.within(*MOVEMENT_HZ)
    parts: list[FloatArray] = []
    first_s = None
    for contact in contacts:
        start = round((contact - muscle.signal.start_s) * muscle.rate_hz)
        stop = start + round(AFTER_CONTACT_S * muscle.rate_hz)
        if 0 <= start < stop <= len(slow) and np.isfinite(slow[start:stop]).all():
            parts.append(slow[start:stop])
            first_s = contact if first_s is None or first_s < 0 else first_s
    return (float(np.sqrt(np.mean(np.concatenate(parts) ** 2))) if parts else 0.0), first_s


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {muscle} shows the same deflection of {size_uv:.3g} uV {per_min:.0f} times a minute, out of step with "
    "the feet: heartbeats.",
    expected="No deflection that repeats itself at a heart's rate and not at that of steps or strides.",
    remedy="On a trunk or hip muscle move the electrodes away from the heart's side, or take the heartbeats out before "
    "comparing amplitudes. On the shank it means that the reference electrode has come off or sits too high: fasten it "
    "at the knee or ankle of the same leg.",
    words=("muscle", "size_uv", "per_min"),
    limits={
        "least_share": Limit("1", "own choice: in simulated signals without heartbeats chance gave at most 0.60"),
        "least_uv": Limit("uV", "own choice: a smaller deflection does not reach the threshold of an onset"),
    },
)
def muscles_are_free_of_heartbeats(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    least_share: float = 0.65,
    least_uv: float = 10.0,
) -> Looked:
    """EMG is free of ECG contamination: the heart's beat does not show in a muscle's signal.

    Its narrow peaks lie in the muscle's band and stand above the baseline of a quiet muscle, so each is taken for a
    short burst. A heart that beats within 8 % of step or stride rate cannot be distinguished from movement and is not
    found."""
    muscles = work.raw_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    steps = _step_times(footfalls)
    faults: list[Fault] = []
    judged = []
    for m in muscles:
        beat = heartbeat_in(m, steps) if m.gain_known else None
        if beat is not None or not m.gain_known:
            judged.append(m)
        if beat is not None and beat.share >= least_share and beat.size_uv >= least_uv:
            found = {"size_uv": beat.size_uv, "per_min": 60 / beat.interval_s}
            proof = shown.heartbeats(m, beat, least_share)
            faults.append(fault_of(m, trial, channels, beat.first_s, **found, shows=proof))
    if not judged:
        return nothing("no muscle was recorded for long enough to see heartbeats")
    return in_microvolts(judged, faults)


def _step_times(footfalls: Rows) -> tuple[float, ...]:
    """Median step and stride time in s; empty where nobody runs."""
    starts = np.sort(footfalls.numbers("contact_s"))
    starts = starts[np.isfinite(starts)]
    if len(starts) < 2:
        return ()
    step = float(np.median(np.diff(starts)))
    return (step, 2 * step)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The {muscle} and {other} show the same signal: they agree to {percent:.1f} %{turned}.",
    expected="Each muscle its own signal; neighbours share less than {most_percent:g} % of it.",
    remedy="Look whether one input was exported, or plugged in, twice, and export the right channel again. If all "
    "channels are alike, the common reference electrode was off and the trial's muscles cannot be used. If only one of "
    "the two was recorded, take the other's row out of channels.csv.",
    words=("muscle", "other", "percent", "turned"),
    limits={"most_percent": Limit("%", "own choice: crosstalk between neighbours stays far below it")},
)
def every_muscle_has_its_own_signal(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    most_percent: float = 95.0,
) -> Looked:
    """EMG channels differ: no two muscles have one and the same signal.

    A channel that was exported under two names gives two muscles that agree in every stride, and a perfect
    co-contraction, where one of them was never recorded.
    """
    muscles = work.raw_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    if len(muscles) < 2:
        return nothing("only one muscle was recorded")
    faults = []
    for one, other, agreement in _alike(muscles, most_percent / 100):
        turned = ", one of them upside down" if agreement < 0 else ""
        places: dict[str, Any] = {"place": f"{one.place}, {other.place}"}
        percent = 100 * abs(agreement)
        proof = shown.same(one, other, agreement, most_percent, one.moment_s(trial))
        fault = fault_of(one, trial, channels, other=other.name, percent=percent, turned=turned, shows=proof)
        faults.append(fault | places)
    return looked(len(muscles), faults)


def _alike(muscles: list[Muscle], least: float) -> Iterator[tuple[Muscle, Muscle, float]]:
    """Pairs whose signals, less mains, correlate at least so well: one, the other, the coefficient."""
    for one, other in combinations(muscles, 2):
        if one.rate_hz != other.rate_hz or len(one.raw) != len(other.raw):
            continue
        if abs(_correlation(one.banded, other.banded)) < least:
            continue
        without = [m.banded - hum_of(m, None).wave_uv for m in (one, other)]
        if abs(found := _correlation(*without)) >= least:
            yield one, other, found


def _correlation(one: FloatArray, other: FloatArray) -> float:
    known = np.isfinite(one) & np.isfinite(other)
    a, b = one[known], other[known]
    size = float(np.sqrt(np.sum(a**2) * np.sum(b**2)))
    return float(a @ b) / size if size > 0 else 0.0
