"""Matching the clock of a second file to the trial's by events that both recorded: pure functions on times in s.

``trial time = offset + (1 + drift / 1e6) x sidecar time``. Strides are nearly periodic, so an alignment that is off by
a whole stride fits nearly as well; only the irregularity of the strides tells which one is right. Every alignment
within the study's limits is therefore fitted, and the best one is taken only if it is much likelier than any other and
explains the contacts of both records (``clock_evidence``).
Which events are shared is worked out in ``sidecar_clock``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pipelines.intake.clock_evidence import Line, Span, objection
from pipelines.science.signals.pairing import paired
from schemas.processing_signals import ClockProcessing
from schemas.trial import FloatArray

#: Own choice: the events of the middle this long are matched first; then the stretch is doubled, so that drift,
#: which moves far-off events, is known before they are needed.
FIRST_STRETCH_S = 8.0
#: Own choice: the part of the events of the shorter record, and of the time both recorded, that must find a partner.
LEAST_SHARE, LEAST_OVERLAP_SHARE = 0.5, 0.6
#: Own choice: an alignment with at least this part of the best one's events is its rival.
RIVAL_SHARE = 0.75
#: The logarithm of a spread estimated from n events varies by 1 / sqrt(2 n); among tens of equally good alignments the
#: best beats the next by this part of that on average, exponentially distributed (extreme values, normal parent).
CHANCE_GAP = 0.4
#: Own choice: pairs further off than this many standard deviations (from the median, robustly) are outliers.
OUTLIER_SD = 4.0
#: Own choice: a residual below this is no evidence of anything finer (sampling, threshold crossing).
FINEST_S = 0.0003
#: More events than this of one kind are noise, not strides.
MOST_EVENTS = 20_000


@dataclass(frozen=True)
class ClockFit:
    """How the second clock runs against the trial's.

    offset_s: trial time when the second clock reads zero. drift_ppm: how much longer its second is, parts per million;
    drift_error_ppm: standard error of that. residual_s: root mean square of what is left, with n - 2 degrees of
    freedom. basis: the events it rests on (a word of ``codes.CLOCK_BASIS``).
    """

    offset_s: float
    drift_ppm: float
    residual_s: float | None
    event_count: int
    drift_error_ppm: float | None = None
    basis: str = "shared_signal"

    @property
    def scale(self) -> float:
        """Trial seconds in one second of the second clock."""
        return 1 + self.drift_ppm / 1e6

    def trial_time(self, second_clock_s: float | FloatArray) -> float | FloatArray:
        """Times of the second clock on the trial's."""
        return self.offset_s + self.scale * second_clock_s


@dataclass(frozen=True)
class NoClock:
    """Why the clocks could not be matched: a plain sentence without full stop, with the best that was found.

    too_few: nothing speaks against a match, there is too little to tell; other events may. events: kind -> moments in
    the trial's file and in the second one, s, the latter as the best alignment has them, on its own clock without one.
    """

    reason: str
    best: ClockFit | None = None
    too_few: bool = False
    events: tuple[tuple[str, tuple[float, ...], tuple[float, ...]], ...] = ()

    def showing(self, ours: Trains, theirs: Trains) -> NoClock:
        """The same with the events that both files tell."""
        line = (self.best.offset_s, self.best.scale) if self.best else (0.0, 1.0)
        both = {kind: (ours[kind], line[0] + line[1] * theirs[kind]) for kind in ours if kind in theirs}
        told = tuple((kind, tuple(a.tolist()), tuple(b.tolist())) for kind, (a, b) in both.items())
        return replace(self, events=told)


#: Both files were started by one trigger, or timing against the trial does not matter.
SAME_CLOCK = ClockFit(0.0, 0.0, None, 0)

Trains = Mapping[str, FloatArray]


def match_clocks(
    trial: Trains,
    second: Trains,
    settings: ClockProcessing,
    *,
    basis: str = "shared_signal",
    spans: tuple[Span, Span] | None = None,
    complete: bool = True,
) -> ClockFit | NoClock:
    """Offset and drift of the second clock from trains of events that both recorded.

    trial, second: kind of event (for example ``left contact``) -> times in s on the own clock; events are only matched
    with their own kind. An event missed now and then and bounces are borne; what else has no partner while both were
    recording speaks against the match. spans, complete: see ``clock_evidence.objection``.
    """
    kinds = [k for k in trial if k in second]
    ours = {k: _clean(trial[k]) for k in kinds}
    theirs = {k: _clean(second[k]) for k in kinds}
    counts = [sum(map(len, trains.values())) for trains in (ours, theirs)]
    if max(map(len, (*ours.values(), *theirs.values())), default=0) > MOST_EVENTS:
        return NoClock(f"there are {max(counts)} events in one recording, too many to be strides")
    if min(counts) < settings.fewest_events:
        return NoClock(
            f"the two recordings share too few events: {counts[0]} in the trial's file and {counts[1]} in the second "
            f"file, where {settings.fewest_events} are needed",
            too_few=True,
        )
    needed = max(settings.fewest_events, int(np.ceil(LEAST_SHARE * min(counts))))
    fits: list[ClockFit] = []
    for start in _starts(ours, theirs, settings):
        fit = _refined(ours, theirs, start, settings, needed)
        if fit is not None and all(abs(_at_middle(fit, theirs) - _at_middle(f, theirs)) > FINEST_S for f in fits):
            fits.append(fit)
    if not fits:
        return NoClock(
            f"no offset within {settings.largest_offset_s:g} s and no drift within {settings.largest_drift_ppm:g} ppm "
            f"brings {needed} events together"
        )
    chosen = _chosen(fits, theirs, settings, basis)
    if isinstance(chosen, NoClock):
        return chosen
    line = Line(chosen.offset_s, chosen.scale)
    against = objection(ours, theirs, line, settings.match_tolerance_s, spans, complete=complete)
    return NoClock(f"the best alignment leaves contacts unexplained: {against}", chosen) if against else chosen


def _chosen(fits: list[ClockFit], theirs: Trains, settings: ClockProcessing, basis: str) -> ClockFit | NoClock:
    """The fit that brings most events together most closely, unless another is nearly as good or too much is left.

    Rivals are the fits that match nearly as many events, as an alignment does that is off by a stride. If all of them
    are far worse, the strides are irregular enough to tell, and no fit of fewer events can be more than chance.
    """
    tolerance = settings.match_tolerance_s
    best = max(fits, key=lambda f: (f.event_count - 2) * np.log(tolerance / _spread(f)))
    best = replace(best, basis=basis)
    for rival in sorted(fits, key=_spread):
        apart = abs(_at_middle(rival, theirs) - _at_middle(best, theirs))
        if apart <= tolerance or rival.event_count < RIVAL_SHARE * best.event_count:
            continue
        worse = float(np.log(_spread(rival) / _spread(best)))
        count = min(best.event_count, rival.event_count)
        evidence = worse * min(count - 2, np.sqrt(2 * count) / CHANCE_GAP)
        if evidence < np.log(settings.least_likelihood_ratio):
            return NoClock(
                f"two alignments {apart:.2f} s apart fit about equally well (they leave {1000 * _spread(best):.1f} ms "
                f"and {1000 * _spread(rival):.1f} ms): the strides are too even, or too few, to tell which is right",
                best,
            )
    if _spread(best) > settings.residual_limit_s:
        return NoClock(
            f"the best alignment leaves {1000 * _spread(best):.1f} ms (root mean square over {best.event_count} "
            f"events); the study allows {1000 * settings.residual_limit_s:g} ms",
            best,
        )
    return best


def _spread(fit: ClockFit) -> float:
    return max(fit.residual_s or 0.0, FINEST_S)


def _at_middle(fit: ClockFit, theirs: Trains) -> float:
    """Trial time of the middle of the second record: offsets at its zero, far away, say little."""
    times = np.concatenate(list(theirs.values()))
    return float(fit.trial_time((times.min() + times.max()) / 2))


def _clean(times: FloatArray) -> FloatArray:
    times = np.asarray(times, float)
    return np.unique(times[np.isfinite(times)])


def _starts(ours: Trains, theirs: Trains, settings: ClockProcessing) -> FloatArray:
    """Offsets worth a try: where differences between events of one kind crowd, as they do at every whole stride."""
    width = settings.match_tolerance_s / 2
    largest = settings.largest_offset_s
    counts = np.zeros(2 * int(np.ceil(largest / width)) + 1)
    for kind, times in theirs.items():
        for time in times:
            near = ours[kind][np.searchsorted(ours[kind], time - largest) : np.searchsorted(ours[kind], time + largest)]
            place = np.rint((near - time + largest) / width).astype(int)
            np.add.at(counts, place[(place >= 0) & (place < len(counts))], 1)
    crowd = np.convolve(counts, [1, 1, 1], "same")
    padded = np.concatenate([[-1], crowd, [-1]])
    tops = (crowd >= padded[:-2]) & (crowd >= padded[2:]) & (crowd > 0)
    return np.asarray(np.flatnonzero(tops) * width - largest, float)


def _refined(ours: Trains, theirs: Trains, start: float, settings: ClockProcessing, needed: int) -> ClockFit | None:
    """The least-squares fit near one offset, grown from the middle outwards; None if it does not hold."""
    scale, offset = 1.0, float(start)
    theirs_all = np.concatenate(list(theirs.values()))
    ours_all = np.concatenate(list(ours.values()))
    # the middle of what both recorded, on the second clock
    early, late = max(theirs_all.min(), ours_all.min() - offset), min(theirs_all.max(), ours_all.max() - offset)
    middle, stretch = (early + late) / 2, FIRST_STRETCH_S
    pairs = np.empty((0, 2))
    while True:
        for attempt in range(3):
            pairs = _pairs(ours, theirs, offset, scale, (middle - stretch / 2, middle + stretch / 2), settings)
            if len(pairs) < 3:
                break
            if attempt == 0 and stretch == FIRST_STRETCH_S:  # the start is coarse; its drift would be made of nothing
                offset += float(np.median(pairs[:, 0] - offset - scale * pairs[:, 1]))
            else:
                offset, scale = _line(pairs, settings, free=len(pairs) >= settings.fewest_events)
        if stretch >= late - early + 2 * settings.match_tolerance_s:
            break
        stretch *= 2
    pairs = _without_outliers(pairs, offset, scale, settings)
    if len(pairs) < needed or len(pairs) < LEAST_OVERLAP_SHARE * _possible(ours, theirs, offset, scale, settings):
        return None
    return _fit(pairs, settings)


def _fit(pairs: FloatArray, settings: ClockProcessing) -> ClockFit | None:
    """The fit with its errors; None if its offset or drift is beyond the study's limits by more than its error."""
    offset, scale = _line(pairs, settings, free=True)
    left = pairs[:, 0] - offset - scale * pairs[:, 1]
    residual = float(np.sqrt(np.sum(left**2) / (len(pairs) - 2)))
    away = pairs[:, 1] - pairs[:, 1].mean()
    error = float(max(residual, FINEST_S) / np.sqrt(np.sum(away**2))) * 1e6
    drift = (scale - 1) * 1e6
    unlimited = float(away @ (pairs[:, 0] - pairs[:, 1]) / (away @ away)) * 1e6
    if abs(unlimited) > settings.largest_drift_ppm + 3 * error:
        return None
    if abs(offset) > settings.largest_offset_s + 1e-6 * 3 * error * abs(pairs[:, 1].mean()):
        return None
    return ClockFit(offset, drift, residual, len(pairs), error)


def _line(pairs: FloatArray, settings: ClockProcessing, *, free: bool) -> tuple[float, float]:
    """Offset and scale by least squares, the drift kept within the study's limit; scale 1 unless ``free``."""
    ours, theirs = pairs[:, 0], pairs[:, 1]
    away = theirs - theirs.mean()
    drift = float(away @ (ours - theirs) / (away @ away)) if free and away @ away > 0 else 0.0
    limit = settings.largest_drift_ppm / 1e6
    scale = 1 + float(np.clip(drift, -limit, limit))
    return float(ours.mean() - scale * theirs.mean()), scale


def _pairs(
    ours: Trains,
    theirs: Trains,
    offset: float,
    scale: float,
    span: tuple[float, float],
    settings: ClockProcessing,
) -> FloatArray:
    """(n, 2) times of events that are each other's nearest under this fit: trial, second."""
    found = []
    for kind, times in theirs.items():
        a, b = ours[kind], times[(times >= span[0]) & (times <= span[1])]
        if not len(a) or not len(b):
            continue
        places = paired(a, offset + scale * b, settings.match_tolerance_s)
        found.append(np.stack([a[places[:, 0]], b[places[:, 1]]], axis=1))
    return np.concatenate(found) if found else np.empty((0, 2))


def _without_outliers(pairs: FloatArray, offset: float, scale: float, settings: ClockProcessing) -> FloatArray:
    """Pairs near the line. Within the study's limit none is dropped, or chance could be dressed up as a close fit."""
    if len(pairs) < 4:
        return pairs
    left = pairs[:, 0] - offset - scale * pairs[:, 1]
    off = np.abs(left - np.median(left))
    spread = 1.4826 * float(np.median(off))  # standard deviation of a normal distribution with this median
    return np.asarray(pairs[off <= max(OUTLIER_SD * spread, settings.residual_limit_s)])


def _possible(ours: Trains, theirs: Trains, offset: float, scale: float, settings: ClockProcessing) -> int:
    """How many pairs there would be if no event were missed: the fuller train in the time that both recorded."""
    moved = {kind: offset + scale * times for kind, times in theirs.items()}
    all_ours, all_moved = np.concatenate(list(ours.values())), np.concatenate(list(moved.values()))
    edge = settings.match_tolerance_s
    start, end = max(all_ours.min(), all_moved.min()) - edge, min(all_ours.max(), all_moved.max()) + edge
    inside = [sum(int(np.sum((t >= start) & (t <= end))) for t in trains.values()) for trains in (ours, moved)]
    return max(inside)
