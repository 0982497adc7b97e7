"""The noise of an empty force plate: how large it is, and what software did to it before the upload."""

from __future__ import annotations

import numpy as np

from checks import showing as show
from checks.force import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.gait.spells import Spell, plate_place, rate_of, resting_spells, without_trend
from pipelines.science.signals import measures as signals
from pipelines.science.signals.middle import median
from pipelines.science.workspace import Workspace
from schemas.trial import FloatArray, Plate, Trial

#: Own choices: what is cut off the ends of a rest, where the foot still leaves the plate, and the windows looked at.
EDGE_S, WINDOW_S = 0.02, 0.06
#: Own choices: fewer windows do not tell a tone from noise; a tone's power varies less from window to window.
FEWEST, TONE_VARIES = 5, 0.4
#: Own choice: where more samples repeat exactly there is no noise to look at.
SILENT_PERCENT = 80.0
#: Own choice: with a gap between 0 and the smallest force, fewer samples that repeat are enough to tell of a cut.
CUT_PERCENT = 25.0
_NO_REST = "no plate rests long enough to show its noise"


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="With nobody on it, plate {number} shows vertical noise with a standard deviation of {found_n:.1f} N{mostly}.",
    expected="The noise of an empty plate has a standard deviation below {noise_n:g} N.",
    remedy="Nothing to correct in this trial: it is kept, and its contact times scatter more. Near 50 or 60 Hz look "
    "for a ground loop or a power supply beside the cable, at other single frequencies for the belt's motor or a fan "
    "on the plate's frame; broad noise comes from a loose plug, a wet cable or a range far too large.",
    words=("number", "found_n", "mostly"),
    limits={"noise_n": Limit("N", "common practice: three standard deviations stay near the 20 N contact threshold")},
)
def empty_plates_are_quiet(trial: Trial, *, noise_n: float = 7.0) -> Looked:
    """The noise of an empty plate is small against the contact threshold.

    Noise that reaches the threshold moves contact and toe-off from step to step and adds to every loading rate.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    rate, faults, examined = rate_of(trial), [], 0
    for plate in trial.plates:
        windows = _windows(plate, rate)
        examined += sum(map(len, windows))
        found = float(np.median([w.std() for w in windows])) if windows else 0.0
        if found > noise_n:
            fault = {"number": plate.number, "found_n": found, "mostly": _mostly(windows, rate)}
            (start, _), *_ = resting_spells(plate, rate, EDGE_S, WINDOW_S)
            limit = show.number("Standard deviation of the noise of the empty plate", "N", found, high=noise_n)
            drawn = show.spectrum("Noise of the empty plate by frequency", "N", shown.amplitudes(windows, rate))
            proof = {"place": f"plate {plate.number}", "shows": show.picture(limit, drawn)}
            faults.append({**fault, "moment_s": start / rate, **proof})
    return looked(examined, faults) if examined else nothing(_NO_REST)


def _windows(plate: Plate, rate: float) -> list[FloatArray]:
    """Vertical force of the empty plate in windows of ``WINDOW_S``, each without its trend."""
    length = max(8, round(WINDOW_S * rate))
    force = signals.vertical(plate)
    rests = resting_spells(plate, rate, EDGE_S, WINDOW_S)
    starts = [i for a, b in rests for i in range(a, b - length + 1, length)]
    if not starts:
        return []
    return list(without_trend(np.stack([force[i : i + length] for i in starts], axis=1)).T)


def _spectra(windows: list[FloatArray], rate: float) -> tuple[FloatArray, FloatArray]:
    """Frequencies (m,) Hz and power (w, m) of w windows of equal length, tapered by a raised cosine."""
    length = len(windows[0])
    power = np.abs(np.fft.rfft(np.stack(windows) * np.hanning(length), axis=1)) ** 2
    return np.asarray(np.fft.rfftfreq(length, 1 / rate), float), np.asarray(power, float)


def _noise_spectrum(windows: list[FloatArray], rate: float) -> tuple[FloatArray, FloatArray]:
    """Frequencies (m,) Hz and power (m,) of noise alone.

    The median over windows, since a neighbour's landing or ringing fills a few of them only. A tone (mains hum, a
    motor) is as strong in every window, which noise is not; the frequencies it covers are left out.
    """
    frequencies, power = _spectra(windows, rate)
    typical = np.median(power, axis=0)
    top = int(np.argmax(typical))
    tone = power[:, top].std() < TONE_VARIES * power[:, top].mean()
    keep = np.abs(np.arange(len(typical)) - top) > 2 if tone else np.full(len(typical), True)
    return frequencies[keep], typical[keep]


def _mostly(windows: list[FloatArray], rate: float) -> str:
    """Where the noise is, if more than half of it lies around one frequency."""
    frequencies, power = _spectra(windows, rate)
    power = np.median(power, axis=0)
    top = int(np.argmax(power))
    around = power[max(0, top - 2) : top + 3].sum() / max(power.sum(), 1e-12)
    return f", most of it near {frequencies[top]:.0f} Hz" if around > 0.6 else ", spread over all frequencies"


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="With nobody on it, {same_percent:.0f} % of the samples of {place} are exactly the same as the one before, in "
    "all channels{left_n}.",
    expected="An amplifier is never silent: fewer than {still_percent:g} % of an empty plate's samples repeat exactly, "
    "and small forces are left in, all above {cut_n:g} N if a trial is to be kept.",
    remedy="Switch off whatever sets small forces to zero, or smooths them away, before the export, and export again "
    "as recorded. If nothing does, check that the plate's cable is plugged in.",
    words=("same_percent", "left_n"),
    limits={
        "still_percent": Limit("%", "own choice; 95 to 97 % in one real trial that was smoothed and cut"),
        "cut_n": Limit("N", "own choice: 15 to 22 N in two real recordings; contact and toe-off are read at 20 N"),
    },
)
def empty_plates_keep_their_noise(
    trial: Trial, work: Workspace, *, still_percent: float = SILENT_PERCENT, cut_n: float = 25.0
) -> Looked:
    """Nothing has set the force of an empty plate to exactly zero.

    Where software cut away small forces, contact times are those of its own threshold, and whether the plate was
    zeroed can no longer be seen. It is a habit of the site's program, so it is reported once for all plates. Where
    more was cut away than events are read at, contacts are shorter than those of other sites: the trial goes
    back.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    rate, examined, silent = rate_of(trial), 0, []
    bands = {reading.number: reading.dead_band_n for reading in work.plate_readings}
    for plate in trial.plates:
        rests = resting_spells(plate, rate, EDGE_S, WINDOW_S / 2)
        share = _same_share(plate, rests)
        examined += sum(b - a for a, b in rests)
        if share > still_percent or (share > CUT_PERCENT and bands.get(plate.number) is not None):
            start = rests[0][0] / rate if rests else 0.0
            silent.append((plate, share, start, bands.get(plate.number)))
    if not silent:
        return looked(examined) if examined else nothing(_NO_REST)
    first, _, moment, _ = silent[0]
    left = [band for *_, band in silent if band is not None]
    same = float(np.mean([share for _, share, *_ in silent]))
    fault = {
        **plate_place(first),
        "place": f"plate{'s' * (len(silent) > 1)} {', '.join(str(plate.number) for plate, *_ in silent)}",
        "same_percent": same,
        "left_n": f"; the smallest force but zero is {min(left):.1f} N" if left else "",
        "moment_s": moment,
        "signal": None,
        "shows": shown.silent(trial, first, same, still_percent if same > still_percent else CUT_PERCENT, moment),
    }
    if any(band and min(band, _cut_at_least(signals.vertical(plate))) > cut_n for plate, *_, band in silent):
        fault["weight"] = "returns"
    return looked(max(examined, 1), [fault])


def _cut_at_least(force: FloatArray) -> float:
    """N up to which forces were surely set to zero, of (n,) vertical force that rises steeply from sample to sample.

    At the zero beside its end the force would have gone on about as it does behind that end; so much was cut away.
    """
    sizes = np.abs(force)
    rises: list[float] = []
    for one, two, three in ((sizes[:-2], sizes[1:-1], sizes[2:]), (sizes[2:], sizes[1:-1], sizes[:-2])):
        ends = (one == 0) & (two > 0) & (three > two)
        rises += (2 * two - three)[ends].tolist()
    return max(rises, default=0.0)


def _same_share(plate: Plate, rests: list[Spell]) -> float:
    """Per cent of the empty plate's samples that repeat the one before, in force and in every channel."""
    force = np.asarray(plate.force, float)
    rows = np.hstack([force, plate.raw]) if len(plate.raw) == len(force) else force
    same = [(np.diff(rows[a:b], axis=0) == 0).all(axis=1) for a, b in rests]
    return 100 * float(np.mean(np.concatenate(same))) if same else 0.0


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="Above about {edge_hz:.0f} Hz the noise of the empty plate {number} falls to 1/{times:.0f} of its power below "
    "it, as a low-pass filter leaves it.",
    expected="Force comes as recorded: its noise reaches up to half the sampling rate, falling by less than a factor "
    "of {fall_times:g}.",
    remedy="Export the force again without a filter; the study filters all sites alike. If it was not "
    "filtered, the noise is the belt's own vibration: leave the trial as it is.",
    words=("edge_hz", "number", "times"),
    limits={"fall_times": Limit("1", "own choice; 4 at most in the demonstration, 15 or more after a 50 Hz filter")},
)
def force_was_not_filtered_before(trial: Trial, *, fall_times: float = 10.0) -> Looked:
    """Force comes unfiltered, so that every site's is filtered once and alike.

    A second filter on top of the study's lowers the impact peak and the loading rate of one site against the
    others, which then looks like an effect of its shoes or its runners.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    rate, faults, examined = rate_of(trial), [], 0
    for plate in trial.plates:
        rests = resting_spells(plate, rate, EDGE_S, WINDOW_S)
        if _same_share(plate, rests) > SILENT_PERCENT:
            continue  # without noise there is no spectrum to look at; see empty_plates_keep_their_noise
        if len(windows := _windows(plate, rate)) < FEWEST:
            continue
        examined += sum(map(len, windows))
        times, edge = _fall(*_noise_spectrum(windows, rate))
        if times > fall_times:
            fault = {"number": plate.number, "times": times, "edge_hz": edge, "moment_s": rests[0][0] / rate}
            proof = shown.falling(*_noise_spectrum(windows, rate), edge, fall_times)
            faults.append({**fault, "place": f"plate {plate.number}", "shows": proof})
    return looked(examined, faults) if examined else nothing("no plate shows its noise for long enough")


def _fall(frequencies: FloatArray, power: FloatArray) -> tuple[float, float]:
    """By how much the noise's power falls over the octave in which it falls most, and the frequency below it.

    Medians below the octave and above it; the lowest frequency, which taking out the trend has weakened, counts for
    nothing.
    """
    best = 0.0, 0.0
    for k in range(3, len(power)):
        above = power[np.searchsorted(frequencies, 2 * frequencies[k]) :]
        if len(above) < 3:
            break
        usual = median(power[1 : k + 1])
        times = usual / max(median(above), 1e-12 * usual, 1e-300)
        best = max(best, (times, float(frequencies[k])))
    return best
