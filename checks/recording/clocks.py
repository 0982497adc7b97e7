"""How well the second file's clock keeps to the trial's, where the two could be matched at all (see ``channels``)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from checks import showing as show
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.trial import Trial

_NO_CLOCK = "no second file's clock was matched"


def _fit(work: Workspace) -> Mapping[str, Any] | None:
    """The row of ``clock_fits`` of a clock that was matched."""
    return next((row for row in work.clock_fits.records if row["is_matched"]), None)


def _number(value: Any) -> float | None:
    try:
        found = float(value)
    except (TypeError, ValueError):
        return None
    return found if np.isfinite(found) else None


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="{second} runs {drift_ppm:.0f} parts per million {way} than the trial's (standard error "
    "{error_ppm:.0f}), {per_ten_min_ms:.0f} ms in ten minutes.",
    expected="Two quartz clocks differ by at most {most_ppm:g} parts per million.",
    remedy="Drift is taken out of this trial. Have the recorder's clock looked at, and see whether its file states the "
    "true sampling rate: a rate that is rounded, or lost samples, look like drift.",
    words=("second", "drift_ppm", "way", "error_ppm", "per_ten_min_ms"),
    limits={"most_ppm": Limit("[ppm]", "common practice: a quartz clock keeps to 100 parts per million, two to 200")},
)
def clock_drift_is_that_of_quartz(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    most_ppm: float = 200.0,
) -> Looked:
    """The two recorders' clocks run as nearly alike as quartz clocks do.

    The match takes a steady drift out, but a drift that large has another cause than two clocks, and then there is no
    reason why it should be steady.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    fit = _fit(work)
    drift, error = (_number(fit[f"clock_drift_{part}ppm"]) if fit else None for part in ("", "error_"))
    if fit is None or drift is None or error is None:
        return nothing(_NO_CLOCK)
    if abs(drift) - 2 * error <= most_ppm:
        return looked(int(fit["event_count"]))
    fault = {
        "drift_ppm": abs(drift),
        "error_ppm": error,
        "way": "slower" if drift > 0 else "faster",
        "per_ten_min_ms": abs(drift) * 0.6,
    }
    limit = show.number("How much slower its clock is (parts per million)", "1", drift, low=-most_ppm, high=most_ppm)
    return looked(int(fit["event_count"]), [fault | _where(channels, trial) | {"shows": show.picture(limit)}])


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="{second} and the trial's own file agree only to {residual_ms:.1f} ms (root mean square over {count} events) "
    "even after their clocks were matched.",
    expected="At most {most_ms:g} ms; a shared footswitch leaves less than 1 ms.",
    remedy="Look whether both recorders hear the same switch, whether it bounces, and whether one of the two files "
    "lost samples. Times of muscles in this trial, onsets above all, are uncertain by as much.",
    words=("second", "residual_ms", "count"),
    limits={"most_ms": Limit("ms", "own choice: onsets differ between conditions by about 10 ms to 20 ms")},
)
def clock_match_leaves_little(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    most_ms: float = 2.0,
) -> Looked:
    """Both files tell the same events at the same time once their clocks are matched.

    A match is refused only where it leaves more than the study allows; well before that the onset of a muscle moves by
    as much as footwear moves it.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    fit = _fit(work)
    residual = _number(fit["residual_s"]) if fit else None
    if fit is None or residual is None or fit["clock_basis"] != "shared_signal":
        return nothing("no clock was matched by a signal that both files recorded")
    count = int(fit["event_count"])
    if residual <= most_ms / 1000:
        return looked(count)
    limit = show.number("What the match of both clocks leaves, root mean square", "s", residual, high=most_ms / 1000)
    fault = {"residual_ms": 1000 * residual, "count": count, "shows": show.picture(limit)}
    return looked(count, [fault | _where(channels, trial)])


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="{second} {what}, of the {length_s:.1f} s of the trial.",
    expected="A second file that begins before the trial and ends after it; at most {most_s:g} s are missing.",
    remedy="Start the second recorder before the trial and stop it after; if its file was cut to length in the export, "
    "export it whole. Muscles of the footfalls that are missing stay empty.",
    words=("second", "what", "length_s"),
    limits={"most_s": Limit("s", "own choice: less than half a contact")},
)
def second_file_covers_the_trial(trial: Trial, channels: ChannelFacts | None, *, most_s: float = 0.1) -> Looked:
    """The second file was recorded during the whole running trial.

    What it misses is the beginning or the end of the run, always the same part where the recorder is started late as a
    habit, and the muscles of those footfalls are empty.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    own = [s for s in trial.signals if s.source == "sidecar" and s.rate_hz > 0 and len(s.samples)]
    if not own:
        return nothing(_NO_CLOCK)
    begins = min(s.start_s for s in own)
    early = trial.duration_s - max(s.start_s + len(s.samples) / s.rate_hz for s in own)
    told = [(begins, "begins {:.2f} s late"), (early, "ends {:.2f} s early")]
    what = " and ".join(words.format(lost_s) for lost_s, words in told if lost_s > most_s)
    if not what:
        return looked(len(own))
    missing = show.one_by_one(
        "Seconds missing at the start (1) and at the end (2)",
        "s",
        [max(begins, 0.0), max(early, 0.0)],
        high=most_s,
        across="Start, end",
    )
    fault = {"what": what, "length_s": trial.duration_s, "shows": show.picture(missing)}
    return looked(len(own), [fault | _where(channels, trial)])


def _where(channels: ChannelFacts | None, trial: Trial) -> dict[str, Any]:
    second = (channels.second_file if channels else None) or trial.file
    return {"second": f"The second file {second}", "file": second, "place": "clock"}
