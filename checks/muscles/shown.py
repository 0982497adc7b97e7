"""What the checks of muscles and of channels show beside what they say. Registers no check and judges nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from checks import showing as show
from checks.evidence import Kind, Panel, Part, Picture, Role
from pipelines.science.muscles.heartbeat import BEAT_HZ, Heartbeat
from pipelines.science.muscles.mains import Hum
from pipelines.science.muscles.measures import LEVEL_WINDOW_S, Muscle
from pipelines.science.muscles.phases import HALF, PARTS, Phased
from schemas.trial import FloatArray, Signal

#: Own choice: so short that the steps of a coarse converter are seen.
_SHORT_PIECE_S = 0.03


def words(muscle: Muscle) -> str:
    """Muscle and side in words."""
    return muscle.place.replace("_", " ")


def raw(muscle: Muscle, around: float) -> Part:
    """A muscle's signal as it came, in uV."""
    return show.line(words(muscle), muscle.raw, muscle.rate_hz, muscle.signal.start_s, around=around)


def banded(muscle: Muscle, around: float, *, half_s: float = show.HALF_WINDOW_S, beside: bool = False) -> Part:
    """A muscle's signal as outcomes filter it, in uV."""
    start_s = muscle.signal.start_s
    return show.line(words(muscle), muscle.banded, muscle.rate_hz, start_s, around=around, half_s=half_s, beside=beside)


def levels(muscle: Muscle, around: float | None) -> Part:
    """Root mean square of a muscle's signal in windows of 50 ms, uV."""
    hop = max(round(LEVEL_WINDOW_S * muscle.rate_hz) // 2, 1)
    start_s = muscle.signal.start_s + LEVEL_WINDOW_S / 2
    return show.line(words(muscle), muscle.levels_uv, muscle.rate_hz / hop, start_s, around=around)


def lopsided(muscle: Muscle, around: float) -> Picture:
    """A signal without a negative half: how far it reaches below its middle, as a part of how far it reaches above."""
    low, middle, high = np.nanpercentile(muscle.raw, [2, 50, 98])
    part = float((middle - low) / max(high - middle, 1e-12))
    return show.picture(
        show.number("Reach of the signal below its middle, as a part of that above it", "1", min(part, 9.9), low=0.25),
        show.over_time("The signal as it came", "uV", raw(muscle, around)),
    )


def bursts(muscle: Muscle, least_uv: float, most_uv: float) -> Picture:
    """The level of a muscle's bursts beside what skin can show."""
    strong = muscle.burst_uv > most_uv
    limit = {"high": most_uv} if strong else {"low": least_uv}
    return show.picture(
        show.number("Root mean square of the bursts", "uV", muscle.burst_uv, **limit),
        show.over_time("Root mean square in windows of 50 ms", "uV", levels(muscle, None)),
    )


def same(one: Muscle, other: Muscle, agreement: float, most_percent: float, around: float) -> Picture:
    """Two signals over each other, and how far they agree."""
    both = [banded(one, around, half_s=0.15), banded(other, around, half_s=0.15, beside=True)]
    return show.picture(
        show.number("Agreement of the two signals", "%", 100 * abs(agreement), high=most_percent),
        show.over_time("Both signals in the study's band", "uV", *both),
    )


def by_delay(fit: FloatArray, stride_s: float, least_gain: float) -> Picture:
    """How well all muscles together fit the contacts, if they are taken to be so much later."""
    order = (np.arange(PARTS) - HALF) % PARTS
    late_ms = 1000 * (np.arange(PARTS) - HALF) / PARTS * stride_s
    curve = show.curve("", late_ms, fit[order])
    title = "Fit of all muscles together with the feet's contacts, from −1 to 1"
    now = Part(Role.BESIDE, "as they are", ((0.0, float(np.nanmin(fit))), (0.0, float(np.nanmax(fit)))))
    parts = (curve, now, *show.expected(None, float(fit[0]) + least_gain))
    return show.picture(Panel(Kind.ONE_BY_ONE, title, "1", parts, "Taken to be late by (ms)"))


def over_strides(muscles: Sequence[Phased], limit: Panel) -> Picture:
    """A number, and the level of muscles over the left foot's stride, each by its largest."""
    percent = 100 * np.arange(PARTS) / PARTS
    lines = [
        show.curve(words(p.muscle), percent, p.profile / max(float(np.nanmax(p.profile)), 1e-12)) for p in muscles[:4]
    ]
    title = "Level over the stride, each by its largest; the left foot lands at 0 %, the right at 50 %"
    return show.picture(limit, Panel(Kind.ONE_BY_ONE, title, "1", tuple(lines), "Part of the left foot's stride (%)"))


def fits(title: str, found: Mapping[str, float], *, low: float | None = None, high: float | None = None) -> Panel:
    """One number for each muscle; the numbers' names stand in the title's order."""
    names = ", ".join(f"{i} {name}".replace("_", " ") for i, name in enumerate(found, start=1))
    return show.one_by_one(f"{title}: {names}", "1", list(found.values()), low=low, high=high, across="Muscle")


def twice(signal: Signal, first: int, second: int, length: int, shortest_s: float) -> Picture:
    """A block of samples and the same block once more, over each other, and how long it is."""
    rate = signal.rate_hz
    block, again = (np.asarray(signal.samples[at : at + length], float) for at in (first, second))
    start_s = signal.start_s + second / rate
    over = show.line("once more", again, rate, start_s)
    before = show.line(f"the block of {(second - first) / rate:.3f} s before", block, rate, start_s, beside=True)
    lasts = show.lasting("the same for", start_s, start_s + length / rate)
    title = f"Channel {signal.label}".replace("_", " ")
    return show.picture(show.over_time(title, signal.unit, over, before, lasts, high=shortest_s))


def held(signal: Signal, first: int, stop: int, allowed_s: float) -> Picture:
    """A stretch in which a channel holds one value."""
    rate = signal.rate_hz
    start_s, stop_s = signal.start_s + first / rate, signal.start_s + stop / rate
    half_s = 0.1 + (stop_s - start_s) / 2
    samples = np.asarray(signal.samples, float)
    line = show.line("", samples, rate, signal.start_s, around=(start_s + stop_s) / 2, half_s=half_s)
    lasts = show.lasting("one value for", start_s, stop_s)
    title = f"Channel {signal.label}".replace("_", " ")
    return show.picture(show.over_time(title, signal.unit, line, show.span("", start_s, stop_s), lasts, high=allowed_s))


def above_rest(muscle: Muscle, least_ratio: float) -> Picture:
    """How many times bursts stand above the quietest moments."""
    limit = show.number("Bursts, as a multiple of the quietest moments", "1", muscle.ratio, low=least_ratio)
    return show.picture(limit, show.over_time("Root mean square in windows of 50 ms", "uV", levels(muscle, None)))


def rate(muscle: Muscle, least_hz: float) -> Picture:
    """How often a muscle is sampled."""
    return show.picture(show.number(f"Samples per second of {words(muscle)}", "Hz", muscle.rate_hz, low=least_hz))


def steps(muscle: Muscle, least: float, around: float) -> Picture:
    """How many steps of the converter a burst has, and a short piece of it, in which they are seen."""
    limit = show.number(
        "Steps of the converter in a burst's root mean square", "1", muscle.burst_uv / muscle.step_uv, low=least
    )
    line = show.line(
        words(muscle), muscle.raw, muscle.rate_hz, muscle.signal.start_s, around=around, half_s=_SHORT_PIECE_S
    )
    return show.picture(limit, show.over_time("A short piece of a burst, as it came", "uV", line))


def spikes(muscle: Muscle, height: float, most: float, at_s: float) -> Picture:
    """How far the highest single sample stands out, and the signal around the first one."""
    title = "Highest single sample against its neighbours, as a multiple of what bursts make"
    line = show.line(words(muscle), muscle.raw, muscle.rate_hz, muscle.signal.start_s, around=at_s, half_s=0.15)
    return show.picture(show.number(title, "1", height, high=most), show.over_time("The signal as it came", "uV", line))


def heartbeats(muscle: Muscle, beat: Heartbeat, most_share: float) -> Picture:
    """How much of the slow quiet signal returns at the heart's interval, and where in the signal its beats are."""
    start_s, end_s = beat.first_s - 0.1, beat.first_s + 2.5 * beat.interval_s
    middle, half_s = (start_s + end_s) / 2, (end_s - start_s) / 2
    slow, first_s = muscle.within(*BEAT_HZ), muscle.signal.start_s
    line = show.line(words(muscle), slow, muscle.rate_hz, first_s, around=middle, half_s=half_s)
    beats = [show.span("beat", at - 0.03, at + 0.03) for at in beat.first_s + beat.interval_s * np.arange(3)]
    title = "Part of the slow quiet signal that repeats itself with the heart"
    low, high = BEAT_HZ
    return show.picture(
        show.number(title, "1", beat.share, high=most_share),
        show.over_time(f"The signal from {low:g} to {high:g} Hz", "uV", line, *beats),
    )


def band(muscle: Muscle, most_db: float) -> Picture:
    """Power density of a muscle's signal by frequency, against that from 60 Hz to 150 Hz."""
    edges = np.arange(20.0, muscle.band[1] + 1, 20.0)
    usual = max(muscle.power_density(60, 150), 1e-30)
    power = np.array([muscle.power_density(a, a + 20) for a in edges[:-1]])
    curve = show.curve(words(muscle), edges[:-1] + 10, 10 * np.log10(np.maximum(power / usual, 1e-12)))
    return show.picture(show.spectrum("Power density against that from 60 Hz to 150 Hz", "dB", curve, low=-most_db))


def hum(muscle: Muscle, found: Hum, most_percent: float) -> Picture:
    """The part of the quiet signal that is mains, and signal and hum by frequency, below 300 Hz."""
    lines = []
    for name, values in (("mains hum", found.wave_uv), ("the whole signal", np.nan_to_num(muscle.banded))):
        count = len(values)
        size = 2 * np.sqrt(2) * np.abs(np.fft.rfft(values * np.hanning(count))) / max(count, 1)
        below = np.fft.rfftfreq(count, 1 / muscle.rate_hz) <= 300
        hz = np.flatnonzero(below) * muscle.rate_hz / max(count, 1)
        lines.append(show.curve(name, hz, size[below], beside=name != "mains hum"))
    title = f"Part of the quiet signal that is {found.mains_hz:.0f} Hz mains hum"
    limit = show.number(title, "%", 100 * found.share, high=most_percent)
    return show.picture(limit, show.spectrum("Signal and hum by frequency", "uV", *lines))


def swings(muscle: Muscle, slow: FloatArray, share: float, most_share: float, around: float) -> Picture:
    """How large the slow swings after contact are beside bursts, and the slow part itself."""
    limit = show.number("Slow swings after contact, as a multiple of the bursts", "1", share, high=most_share)
    line = show.line("below 20 Hz", slow, muscle.rate_hz, muscle.signal.start_s, around=around)
    burst = banded(muscle, around, beside=True)
    return show.picture(limit, show.over_time("Slow part of the signal", "uV", line, burst))
