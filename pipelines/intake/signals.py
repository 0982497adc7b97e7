"""From channels to signals with a meaning: what ``channels.csv`` says of a trial's own and its second file's channels.

Nothing is judged: rows whose label is in neither file, and units that contradict the file, are told to the checks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pipelines.intake.clocks import ClockFit
from pipelines.intake.sidecar import Sidecar
from pipelines.science.signals.gain import gain_of
from pipelines.science.signals.labels import plain
from schemas.trial import Channel, Signal

#: Spellings of a unit that files use, by UCUM code. What is not here is not compared.
SPELLINGS = {
    "V": ("v", "volt", "volts"),
    "mV": ("mv",),
    "uV": ("uv", "µv", "μv", "âµv", "î¼v"),
    "m/s2": ("m/s2", "m/s^2", "m/s²", "m.s-2"),
    "[g]": ("g", "[g]"),
    "N": ("n", "newton", "newtons"),
}


@dataclass(frozen=True)
class FoundSignals:
    """What the rows of ``channels.csv`` for one trial led to.

    signals: on the trial's clock, rows in order, the second file's only where its clock is known. second: every
    channel of the second file that a row names, on its own clock, also where the trial's file has the same label:
    then both recorded it. missing: labels that are in neither file. unit_conflicts: (label, unit of the row, unit of
    the file) where these are known to differ; the row's was used.
    """

    signals: tuple[Signal, ...] = ()
    second: tuple[Signal, ...] = ()
    missing: tuple[str, ...] = ()
    unit_conflicts: tuple[tuple[str, str, str], ...] = ()


def signals_of(
    channels: Sequence[Channel],
    sidecar: Sidecar | None,
    channel_rows: Sequence[Mapping[str, Any]],
    clock: ClockFit | None,
) -> FoundSignals:
    """Signals of one trial.

    channels: of the trial's own file. channel_rows: the rows of ``sent_channels`` for this trial. clock: how the
    second file's clock runs; None where that is not known. Labels match exactly, or else without regard to capitals
    and surrounding blanks; of several equal labels the first counts. Values are divided by an amplifier gain that is a
    plain number, so that they are those at the electrode.
    """
    own, second, missing, conflicts = [], [], [], []
    placed: list[Signal] = []
    for row in channel_rows:
        label = text(row.get("label")) or ""
        here = _named(label, channels)
        there = _named(label, sidecar.channels if sidecar else ())
        for channel in (here, there):
            if channel is not None and (conflict := _conflict(label, row, channel)):
                conflicts.append(conflict)
        if here is not None:
            own.append(signal_of(row, here, "trial_file"))
            placed.append(own[-1])
        if there is not None:
            second.append(signal_of(row, there, "sidecar"))
            if here is None and clock is not None:
                placed.append(on_trial_clock(second[-1], clock))
        if here is None and there is None:
            missing.append(label)
    return FoundSignals(tuple(placed), tuple(second), tuple(missing), tuple(dict.fromkeys(conflicts)))


def signal_of(row: Mapping[str, Any], channel: Channel, source: str) -> Signal:
    """One channel with the meaning its row gives it, on the clock of its own file."""
    gain = text(row.get("amplifier_gain"))
    return Signal(
        role=text(row.get("role")) or "other",
        muscle=text(row.get("muscle")),
        side=text(row.get("side")),
        unit=text(row.get("unit_code")) or channel.unit,
        rate_hz=channel.rate_hz,
        samples=channel.samples / plain_gain(gain),
        label=channel.label,
        source=source,
        amplifier_gain=gain,
    )


def on_trial_clock(signal: Signal, clock: ClockFit) -> Signal:
    """The same samples with start and rate as the trial's clock has them."""
    start = clock.offset_s + clock.scale * signal.start_s
    return replace(signal, start_s=start, rate_hz=signal.rate_hz / clock.scale)


def plain_gain(gain: str | None) -> float:
    """The gain if it is a plain positive number, else 1: what else it may say is for outcomes and checks to judge."""
    stated = gain_of(gain)
    return stated.ratio if stated is not None and not stated.in_decibels else 1.0


def text(value: Any) -> str | None:
    """A cell as text without surrounding blanks; None for an empty one, however the table spells empty."""
    return None if value is None or str(value) in ("nan", "<NA>", "NaT") else str(value).strip() or None


def _named(label: str, channels: Sequence[Channel]) -> Channel | None:
    key = plain(label)
    exact = [c for c in channels if c.label == label]
    alike = [c for c in channels if plain(c.label) == key]
    return next(iter(exact or alike), None)


def _conflict(label: str, row: Mapping[str, Any], channel: Channel) -> tuple[str, str, str] | None:
    """The label with both units if both are known units and differ; None if not, or if either is silent."""
    stated, written = text(row.get("unit_code")) or "", channel.unit.strip()
    file_unit = next((code for code, names in SPELLINGS.items() if written.casefold() in names), None)
    if file_unit is None or stated not in SPELLINGS or stated == file_unit:
        return None
    return label, stated, written
