"""Whether the channels that channels.csv names are there, mean what it says, and can be used: units, clocks, muscles.

Force plates' own channels are for ``force``.
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

from checks.recording import shown
from checks.registry import Looked, Subject, Weight, check, looked, nothing
from pipelines.science.muscles.signal import Conditioned, Key
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.mechanics import STANDARD_GRAVITY
from schemas.reading import ChannelFacts
from schemas.study import Study
from schemas.trial import Signal, Trial

_TABLE = "channels.csv"
_NOT_NAMED = "channels.csv names no channel of this trial"
#: Size of a unit in a basic one of its quantity. g: standard gravity (CGPM 1901).
_SIZES = {
    "uV": (1e-6, "a voltage"),
    "mV": (1e-3, "a voltage"),
    "V": (1.0, "a voltage"),
    "m/s2": (1.0, "an acceleration"),
    "[g]": (STANDARD_GRAVITY, "an acceleration"),
    "N": (1.0, "a force"),
}


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="channels.csv names {labels} for this trial; {nowhere}{near}.",
    expected="Every label in channels.csv is spelled as in the trial's C3D file or its second file; capitals and "
    "surrounding blanks do not matter.",
    remedy="If the channel was recorded under another name, correct its label in channels.csv. If it was recorded and "
    "not exported, export the file again with it. If it was not recorded in this trial (amplifier off, electrode "
    "off), take its row out: an outcome that was not measured stays empty. A force plate's own channels need no row.",
    words=("labels", "nowhere", "near"),
)
def named_channels_are_in_the_files(trial: Trial, channels: ChannelFacts | None) -> Looked:
    """Every channel that channels.csv names is in one of the trial's files.

    A label that fits nothing loses a muscle or a foot sensor without a word, and after a change of the export's labels
    it does so in every trial that follows.
    """
    if channels is None or not channels.named_count:
        return nothing(_NOT_NAMED)
    if not channels.missing:
        return looked(channels.named_count)
    if channels.second_file:
        nowhere = f"neither the C3D file nor {channels.second_file} has such a channel"
    else:
        nowhere = "the C3D file has no such channel, and there is no second file"
    fault = {
        "labels": _listed([repr(label) for label in channels.missing]),
        "nowhere": nowhere,
        "near": _nearest(channels.missing, trial),
        "file": _TABLE,
        "place": _rows(channels.missing),
    }
    return looked(channels.named_count, [fault])


def _nearest(missing: tuple[str, ...], trial: Trial) -> str:
    """Part of a sentence with what the missing labels may be called in the trial file; empty without a likeness.

    Only channels that no row of channels.csv explains come into question.
    """
    explained = {signal.label for signal in trial.signals}
    there = {c.label.casefold(): c.label for c in trial.channels if c.label not in explained}
    pairs = []
    for label in missing:
        if close := get_close_matches(label.casefold(), there, n=1, cutoff=0.6):
            pairs.append(f"{label!r} may be {there[close[0]]!r}")
    return f"; by their spelling {_listed(pairs)}" if pairs else ""


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="channels.csv gives {labels} in {stated}, the file itself in {written}: {difference}.",
    expected="The unit in channels.csv is that of the numbers in the file, before any amplifier_gain is taken off.",
    remedy="Find out which of the two is right: at the skin a calf muscle in running gives from some tenths of a "
    "millivolt to a few millivolts (common practice), a footswitch some volts; or record the amplifier's test signal. "
    "Then correct unit_code in channels.csv, or the channel's unit in the recording program, and look at the "
    "session's other trials too, since they were most likely set up alike.",
    words=("labels", "stated", "written", "difference"),
)
def channel_units_agree_with_the_file(channels: ChannelFacts | None) -> Looked:
    """The unit that channels.csv gives a channel is the one that the file gives it.

    One of the two is wrong, and the wrong one is off by powers of ten: muscle amplitudes that are a thousand times too
    large still look like muscle, and thresholds of a sensor are never reached.
    """
    if channels is None or not channels.named_count:
        return nothing(_NOT_NAMED)
    found = channels.named_count - len(channels.missing)
    if not found:
        return nothing("none of the channels that channels.csv names is in the files")
    labels: dict[tuple[str, str], list[str]] = {}
    for label, stated, written in channels.unit_conflicts:
        labels.setdefault((stated, written), []).append(label)
    return looked(
        found,
        [
            {
                "labels": _listed([repr(label) for label in own]),
                "stated": stated,
                "written": written,
                "difference": _difference(stated, written),
                "file": _TABLE,
                "place": _rows(own),
            }
            for (stated, written), own in labels.items()
        ],
    )


def _difference(stated: str, written: str) -> str:
    """What becomes of the file's numbers when they are taken for the stated unit."""
    (stated_size, quantity), (written_size, other) = (
        _SIZES.get(unit, (1.0, f"in {unit}")) for unit in (stated, written)
    )
    if quantity != other:
        return f"one is {quantity}, the other {other}"
    factor = stated_size / written_size
    size = "large" if factor > 1 else "small"
    return f"values would come out too {size} by a factor of {max(factor, 1 / factor):.7g}"


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The clock of the second file {second} cannot be matched to the trial's: {reason}.",
    expected="The same contacts of the feet in both files, at least {fewest} of them, and not more than {limit_ms:g} "
    "ms (root mean square) between them once offset and drift are taken out.",
    remedy="Check first that {second} was recorded with this trial and not with another one; start times and lengths "
    "tell. If it was, export it again from the recorder's original, since an export or a radio link may lose or double "
    "blocks of samples. If the original does not match either, record the trial again with one footswitch, or one "
    "pulse, led into both recorders, the second recorder started before the trial and stopped after it, and long "
    "enough; a few uneven steps help, since even strides fit in several ways. Without the second file (cell sidecar "
    "empty, its rows out of channels.csv) motion and force of this trial can be used as they are.",
    words=("second", "reason", "fewest", "limit_ms"),
)
def clocks_of_both_files_match(trial: Trial, channels: ChannelFacts | None, study: Study) -> Looked:
    """The clock of a running trial's second file is matched to the trial's by contacts that both recorded.

    Two recorders start at different moments and drift apart. Muscle onsets are given in milliseconds before contact, so
    a second file on an unknown clock, or of another trial, would give onsets that look right and mean nothing.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    if channels is None or channels.second_file is None:
        return nothing("no second file was recorded beside the trial")
    if channels.clock_problem is None:
        if not channels.clock_event_count:
            return nothing("channels.csv names no channel of the second file")
        return looked(channels.clock_event_count)
    settings = study.processing.clock
    fault = {
        "second": channels.second_file,
        "reason": channels.clock_problem.rstrip("."),
        "fewest": settings.fewest_events,
        "limit_ms": 1000 * settings.residual_limit_s,
        "file": channels.second_file,
        "place": "clock",
        "shows": shown.unmatched(channels.clock_events, settings.match_tolerance_s),
    }
    return looked(max(1, channels.clock_event_count), [fault])


#: problem of muscle_signals: what is seen, what is expected, what to do.
_MUSCLE_WORDS = {
    "recorded_twice": (
        "two channels are said to be this muscle",
        "One row of channels.csv for each muscle and side of a trial",
        "Correct muscle or side of the wrong row in channels.csv; nobody here can know which electrode sat where",
    ),
    "unit_not_a_voltage": (
        "its unit is {unit}, which is no voltage",
        "A muscle's unit_code in channels.csv is V, mV or uV",
        "Correct unit_code in channels.csv; a signal that is rectified, smoothed or in per cent cannot be used, export "
        "the raw one",
    ),
    "gain_not_understood": (
        "its amplifier_gain is {gain!r}",
        "A gain above 0, such as 1000, or one in decibels, such as 60 dB; empty if the values are those at the skin, "
        "unknown if nobody can tell",
        "Correct amplifier_gain in channels.csv as the amplifier's front plate or data sheet states it",
    ),
    "missing": (
        "no sample of it is a number",
        "A signal from start to end of the trial",
        "Export the channel again; if it is empty at the site too, the transmitter was off or out of reach",
    ),
    "flat": (
        "it stands still wherever it is recorded",
        "Noise of some microvolts at the least, as every electrode on skin shows",
        "Check electrode, lead and transmitter of this muscle before the next session: a lead that is pulled out, an "
        "amplifier that is switched off or an unused input reads like this",
    ),
    "saturated": (
        "{stuck_percent:.1f} % of its samples are stuck at its largest or smallest value",
        "An amplifier with room for the largest burst: at most {allowed_percent:g} % of the samples at the end of the "
        "range",
        "Bursts that were cut off cannot be brought back. Before the next trial lower this channel's gain one step, or "
        "look for a loose electrode whose jumps drive the amplifier to its end; let the runner hop and see the bursts "
        "stay clear of the range",
    ),
    "rate_too_low": (
        "it has {rate_hz:g} samples per second",
        "More than {least_hz:g} samples per second, twice the upper edge of the study's band",
        "Export the channel at the rate it was recorded at, and record at 1000 Hz or more",
    ),
    "too_short": (
        "no unbroken stretch of it is long enough to be filtered",
        "A signal without long gaps",
        "Look for a transmitter that drops out, a loose lead or an exchange of gaps for zeros in the export",
    ),
}


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The signal of {muscle} {side}{channel} cannot be used: {why}. Its amplitudes and bursts stay empty.",
    expected="{wanted}.",
    remedy="{what_to_do}. The rest of the trial is used.",
    words=("muscle", "side", "channel", "why", "wanted", "what_to_do"),
)
def muscle_signals_can_be_used(trial: Trial, channels: ChannelFacts | None, work: Workspace, study: Study) -> Looked:
    """Every muscle signal that was recorded in a running trial can be used.

    Where it cannot, its outcomes are empty and never zero; whoever sees only the gap would take it for a muscle that
    was not recorded, and the next session would be recorded the same way.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    muscles = work.muscles.conditioned
    broken = [(key, muscle) for key, muscle in muscles.items() if muscle.problem]
    faults = [_muscle_fault(key, muscle, trial, channels, study) for key, muscle in broken]
    return looked(len(muscles), faults) if muscles else nothing("no muscle was recorded")


def _muscle_fault(
    key: Key, muscle: Conditioned, trial: Trial, channels: ChannelFacts | None, study: Study
) -> dict[str, Any]:
    settings = study.processing.muscle
    own = [s for s in trial.signals if s.role == "muscle" and (s.muscle, s.side) == key]
    values = {
        "unit": own[0].unit if own else "not known",
        "gain": own[0].amplifier_gain if own else "not known",
        "stuck_percent": 100 * muscle.saturated_fraction,
        "allowed_percent": 100 * settings.saturated_fraction_max,
        "rate_hz": muscle.rate_hz,
        "least_hz": 2 * settings.band_high_hz,
    }
    why, wanted, what_to_do = (words.format(**values) for words in _MUSCLE_WORDS[str(muscle.problem)])
    return {
        "muscle": key[0],
        "side": key[1],
        "channel": f" ({'channels' if len(own) > 1 else 'channel'} {_labels(own)})" if own else "",
        "why": why,
        "wanted": wanted,
        "what_to_do": what_to_do,
        "file": channels.second_file if channels and own and own[0].source == "sidecar" else trial.file,
        "place": f"{key[0]} {key[1]}",
        "shows": shown.unusable(str(muscle.problem), values, own),
    }


def _labels(own: list[Signal]) -> str:
    return _listed([repr(signal.label) for signal in own])


def _rows(labels: Iterable[str]) -> str:
    return "label " + ", ".join(labels)


def _listed(items: list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)
