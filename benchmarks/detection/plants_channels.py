"""Faults of channels beside markers and plates: names, units, clocks, muscles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant
from benchmarks.detection.specimens import Specimen, specimen
from demo_site_uploads.simulator import edf_edit, sidecar

WITH_MUSCLES = ("brack", "corrie")


def _renamed(own: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    rows = [dict(row) for row in own.channel_rows]
    row = rows[int(chance.integers(len(rows)))]
    row["label"] = f"{row['label']} new"
    return replace(own, channel_rows=tuple(rows))


def _unit_misstated(own: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    other = {"uV": "mV", "mV": "V", "V": "mV"}
    rows = [
        {**row, "unit_code": other[str(row["unit_code"])]} if row["role"] == "muscle" else dict(row)
        for row in own.channel_rows
    ]
    return replace(own, channel_rows=tuple(rows))


def _of_another_trial(own: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    assert own.case is not None
    other = specimen(replace(own.case, number=own.case.number + 1000))
    return replace(own, second=other.second)


def _muscle_column(own: Specimen, chance: np.random.Generator) -> int:
    labels = [str(row["label"]) for row in own.channel_rows if row["role"] == "muscle"]
    return own.recording.column(str(chance.choice(labels)))


def _saturated(own: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The amplifier's end lies where ``size`` per cent of the channel's samples are beyond it."""
    analog = own.recording.analog.copy()
    column = _muscle_column(own, chance)
    end = np.quantile(np.abs(analog[:, column]), 1 - size / 100)
    analog[:, column] = np.clip(analog[:, column], -end, end)
    return own.with_recording(analog=analog)


def _lead_off(own: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    analog = own.recording.analog.copy()
    analog[:, _muscle_column(own, chance)] = 0.0
    return own.with_recording(analog=analog)


def _inside(own: Specimen, chance: np.random.Generator) -> int:
    """A record with a contact before and one after it while the trial ran: elsewhere nothing shows and nothing moves."""
    assert own.trial is not None
    clock = sidecar.clock_of(own.trial)
    first, last = own.contacts[1].contact_s, own.contacts[-2].contact_s
    return int((float(chance.uniform(first, last)) - clock.offset_s) / sidecar.RECORD_S)


def _records_lost(own: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    assert own.second is not None
    lost = edf_edit.without_record(own.second, _inside(own, chance), round(size / 100))
    return replace(own, second=edf_edit.retimed(lost))


def _record_doubled(own: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    assert own.second is not None
    doubled = edf_edit.doubled_record(own.second, _inside(own, chance))
    return replace(own, second=edf_edit.retimed(doubled))


def _half_missing(own: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    assert own.trial is not None
    assert own.trial.motion is not None
    steps = tuple(step for i, step in enumerate(own.trial.motion.steps) if i % 4 < 2)
    motion = replace(own.trial.motion, steps=steps)
    return replace(own, second=sidecar.edf_bytes(replace(own.trial, motion=motion)))


PLANTS = (
    Plant(
        "named_channels_are_in_the_files",
        "channels.csv calls one channel by another label than the file",
        "",
        PRESENT,
        1.0,
        "one label lost is one muscle or sensor lost",
        plant=_renamed,
        sites=WITH_MUSCLES,
        muscles=True,
    ),
    Plant(
        "channel_units_agree_with_the_file",
        "channels.csv gives the muscles in a unit a thousand times off",
        "",
        PRESENT,
        1.0,
        "amplitudes are a thousand times off",
        plant=_unit_misstated,
        sites=WITH_MUSCLES,
        muscles=True,
    ),
    Plant(
        "clocks_of_both_files_match",
        "the second file is that of another trial",
        "",
        PRESENT,
        1.0,
        "muscle onsets would mean nothing",
        plant=_of_another_trial,
        sites=("tarn",),
        second=True,
        share_of_trials=0.5,
    ),
    Plant(
        "clocks_of_both_files_match",
        "{size} ms are lost in a second file without times of its own",
        "ms",
        (100.0, 300.0),
        100.0,
        "a muscle's onset is 60 to 100 ms before contact",
        plant=_records_lost,
        sites=("tarn",),
        second=True,
        share_of_trials=0.5,
    ),
    Plant(
        "clocks_of_both_files_match",
        "100 ms stand twice in a second file without times of its own",
        "",
        PRESENT,
        1.0,
        "a muscle's onset is 60 to 100 ms before contact",
        plant=_record_doubled,
        sites=("tarn",),
        second=True,
        share_of_trials=0.5,
    ),
    Plant(
        "clocks_of_both_files_match",
        "the footswitches of the second file miss every other contact",
        "",
        PRESENT,
        1.0,
        "nothing shows where the clock is between contacts that are far apart",
        plant=_half_missing,
        sites=("tarn",),
        second=True,
        share_of_trials=0.5,
    ),
    Plant(
        "muscle_signals_can_be_used",
        "one muscle's amplifier cuts off {size} of its samples",
        "%",
        (0.2, 0.5, 1.0, 2.0, 5.0),
        2.0,
        "the highest part of every burst is lost, and with it the peak that amplitudes are divided by",
        plant=_saturated,
        sites=WITH_MUSCLES,
        muscles=True,
        share_of_trials=0.5,
    ),
    Plant(
        "muscle_signals_can_be_used",
        "the lead of one muscle is off: its channel stands still",
        "",
        PRESENT,
        1.0,
        "nothing of the muscle is recorded",
        plant=_lead_off,
        sites=WITH_MUSCLES,
        muscles=True,
        share_of_trials=0.5,
    ),
)
