"""Puts a second file's signals on the trial's clock: which events the two files share, from the best to the last.

The first kind of events that are enough gives the match, and every other is held against it: a switch of one foot does
not see what was lost while it was closed, contacts of the other foot may.

1. A clock signal or a foot sensor that both files recorded under labels of the same role and side: the same instants.
2. Foot sensors of the second file against contacts in force, or, without plates, in markers. The two methods do not
   agree to the millisecond; their mean difference goes into the offset, which ``ClockFit.basis`` tells.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pipelines.intake.clock_evidence import Line, Span, objection
from pipelines.intake.clocks import SAME_CLOCK, ClockFit, NoClock, match_clocks
from pipelines.intake.sidecar import Sidecar
from pipelines.intake.signals import FoundSignals, signals_of
from pipelines.science.events.contacts import force_contacts, has_force
from pipelines.science.events.from_force import SIDES, Contact
from pipelines.science.events.from_markers import marker_touches
from pipelines.science.events.from_sensors import contacts_in, halfway
from pipelines.science.signals.pairing import paired
from pipelines.science.signals.smooth import SmoothMarkers
from schemas.mechanics import runs
from schemas.processing import Processing
from schemas.processing_signals import ClockProcessing
from schemas.trial import FloatArray, Signal, Trial

Trains = dict[str, FloatArray]


def with_signals(
    trial: Trial,
    sidecar: Sidecar | None,
    channel_rows: Sequence[Mapping[str, Any]],
    processing: Processing,
) -> tuple[Trial, ClockFit | NoClock | None, FoundSignals]:
    """The trial with ``signals`` filled, how the second clock was matched, and what the rows led to.

    The clock is None where there is nothing to match: no second file, or no row that names a channel of it. A trial in
    which nobody runs has no contacts to match by and nothing to be timed against: its second file is taken as it is.
    Where the clocks cannot be matched (NoClock), the second file's signals are left out.
    """
    found = signals_of(trial.channels, sidecar, channel_rows, None)
    clock: ClockFit | NoClock | None = None
    if found.second and trial.kind == "running":
        clock = match_second_file(trial, found.signals, found.second, processing)
    placing = clock if isinstance(clock, ClockFit) else SAME_CLOCK if trial.kind != "running" else None
    if placing is not None:
        found = signals_of(trial.channels, sidecar, channel_rows, placing)
    return replace(trial, signals=found.signals), clock, found


@dataclass(frozen=True)
class Basis:
    """Events of both files, each on its own clock, by one method.

    word: of ``codes.CLOCK_BASIS``. complete: whether the trial's file tells every contact this way (force on a runway
    may not).
    """

    word: str
    ours: Trains
    theirs: Trains
    complete: bool = True


def match_second_file(
    trial: Trial, own: Sequence[Signal], second: Sequence[Signal], processing: Processing
) -> ClockFit | NoClock:
    """The match by the best basis that has enough events, if no other basis speaks against it; else why not.

    own, second: signals of the trial's file and of the second one, each on its own clock.
    """
    spans = ((0.0, trial.duration_s), (0.0, max(len(s.samples) / s.rate_hz for s in second)))
    return match_by(list(_bases(trial, own, second, processing)), spans, processing.clock)


def match_by(bases: Sequence[Basis], spans: tuple[Span, Span], settings: ClockProcessing) -> ClockFit | NoClock:
    """The match by the first of ``bases``, from the best to the last, that is not too few events.

    Another is asked only where there is too little to tell: what one basis refuses for a cause is not right because
    a coarser one does not see the cause. spans: when each record begins and ends on its own clock.
    """
    usable = [basis for basis in bases if set(basis.ours) & set(basis.theirs)]
    refusals = []
    for basis in usable:
        result = match_clocks(
            basis.ours, basis.theirs, settings, basis=basis.word, spans=spans, complete=basis.complete
        )
        if isinstance(result, ClockFit):
            return _held_against([b for b in usable if b is not basis], result, spans, settings)
        result = result.showing(basis.ours, basis.theirs)
        if not result.too_few:
            return result
        refusals.append(result)
    return refusals[0] if refusals else NoClock("the second file has no signal of an event that the trial also shows")


def _held_against(
    others: Sequence[Basis], fit: ClockFit, spans: tuple[Span, Span], settings: ClockProcessing
) -> ClockFit | NoClock:
    """The match, unless events that it does not rest on contradict it."""
    for basis in others:
        against = _against(basis.ours, basis.theirs, basis, fit, spans, settings)
        # sensors of exchanged sides are for the checks of sensors to tell: half a stride is no block that was lost
        if against and _against(basis.ours, _other_side(basis.theirs), basis, fit, spans, settings):
            words = basis.word.replace("_", " ")
            reason = f"the best alignment is contradicted by another kind of events ({words}): {against}"
            return NoClock(reason, fit).showing(basis.ours, basis.theirs)
    return fit


def _against(
    ours: Trains, theirs: Trains, basis: Basis, fit: ClockFit, spans: tuple[Span, Span], settings: ClockProcessing
) -> str | None:
    """What events of one basis say against a match; None if nothing."""
    line = Line(fit.offset_s, fit.scale)
    kinds = set(ours) & set(theirs)
    own = {kind: ours[kind] for kind in kinds}
    moved = {k: theirs[k] + _delay(own[k], theirs[k], line, settings) for k in kinds}
    said: str | None = objection(
        own, moved, line, settings.match_tolerance_s, spans, complete=basis.complete, alone=False
    )
    return said


def _other_side(trains: Trains) -> Trains:
    """The same events, each of the other foot."""
    turned = {"left": "right", "right": "left"}
    return {" ".join(turned.get(word, word) for word in kind.split(" ")): times for kind, times in trains.items()}


def _delay(ours: FloatArray, theirs: FloatArray, line: Line, settings: ClockProcessing) -> float:
    """By how much events of one kind are told late by the trial's method: of one foot, a sensor may be late for itself.

    That is for the checks of sensors to tell; what was lost or doubled moves some of the events and others not.
    """
    moved = line.offset_s + line.scale * theirs
    places = paired(ours, moved, settings.match_tolerance_s)
    return float(np.median(ours[places[:, 0]] - moved[places[:, 1]])) if len(places) else 0.0


def clock_row(trial_id: str, clock: ClockFit | NoClock) -> dict[str, Any]:
    """The row of ``clock_fits`` less provenance, for a match and for a refusal."""
    fit = clock if isinstance(clock, ClockFit) else clock.best
    return {
        "trial_id": trial_id,
        "clock_offset_s": fit.offset_s if fit else None,
        "clock_drift_ppm": fit.drift_ppm if fit else None,
        "clock_drift_error_ppm": fit.drift_error_ppm if fit else None,
        "residual_s": fit.residual_s if fit else None,
        "event_count": fit.event_count if fit else 0,
        "clock_basis": fit.basis if fit else None,
        "is_matched": isinstance(clock, ClockFit),
        "unmatched_reason": clock.reason if isinstance(clock, NoClock) else None,
    }


def _bases(trial: Trial, own: Sequence[Signal], second: Sequence[Signal], processing: Processing) -> Iterator[Basis]:
    """All that both files may show, from the best basis to the last."""
    yield Basis("shared_signal", _clock_edges(own, processing), _clock_edges(second, processing))
    theirs = _sensor_trains(second, processing)
    yield Basis("shared_signal", _sensor_trains(own, processing), theirs)
    starts = {name: times for name, times in theirs.items() if name.endswith("contact")}
    if not starts:
        return
    if has_force(trial):
        contacts = force_contacts(trial, processing, SmoothMarkers(trial, processing))
        yield Basis("sensor_against_force", _contact_trains(contacts), starts, trial.surface == "treadmill")
    if not has_force(trial) or trial.surface != "treadmill":
        found = marker_touches(trial.markers, trial.marker_rate_hz, processing)
        yield Basis("sensor_against_markers", {f"{side} contact": times for side, times in found.items()}, starts)


def _clock_edges(signals: Sequence[Signal], processing: Processing) -> Trains:
    """Rising and falling edges of the first clock signal, at the level half-way between its two levels."""
    for signal in signals:
        level = halfway(signal.samples, processing.sensors.switch_contrast) if signal.role == "clock" else None
        if level is not None:
            above = runs(signal.samples >= level)
            return {
                "clock rising": np.array([_crossing(signal, start - 1, level) for start, _ in above if start > 0]),
                "clock falling": np.array(
                    [_crossing(signal, stop - 1, level) for _, stop in above if stop < len(signal.samples)]
                ),
            }
    return {}


def _crossing(signal: Signal, before: int, level: float) -> float:
    a, b = signal.samples[before], signal.samples[before + 1]
    return float(signal.start_s + (before + (level - a) / (b - a)) / signal.rate_hz)


def _sensor_trains(signals: Sequence[Signal], processing: Processing) -> Trains:
    """Contact and push-off of each foot's first foot sensor that shows any."""
    trains: Trains = {}
    for signal in signals:
        if signal.role != "foot_sensor" or signal.side not in SIDES or f"{signal.side} contact" in trains:
            continue
        if contacts := contacts_in(signal, processing.sensors):
            trains[f"{signal.side} contact"] = np.array([c.start_s for c in contacts])
            trains[f"{signal.side} push-off"] = np.array([c.end_s for c in contacts])
    return trains


def _contact_trains(contacts: Sequence[tuple[str | None, Contact]]) -> Trains:
    trains = {f"{side} contact": np.array([c.start_s for s, c in contacts if s == side]) for side in SIDES}
    return {name: times for name, times in trains.items() if len(times)}
