"""Faults of muscle signals, as ``faults_muscle`` makes them, in a channel of the trial's own file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant, Planting
from benchmarks.detection.specimens import Specimen
from demo_site_uploads.simulator import faults_muscle as faults

PART = 0.5  # all outcomes are computed for these
_PER_UV = {"uV": 1.0, "mV": 1e-3, "V": 1e-6}
Maker = Callable[[float, str], faults.ChannelFault]


def _rows(specimen: Specimen) -> list[dict[str, object]]:
    return [dict(row) for row in specimen.channel_rows if row["role"] == "muscle"]


def _on_one(maker: Maker) -> Planting:
    """A plant that changes one muscle's channel at the skin, in uV. maker: size and side -> fault."""

    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        row = _rows(specimen)[int(chance.integers(len(_rows(specimen))))]
        return _changed(specimen, str(row["label"]), maker(size, str(row["side"])))

    return plant


def _changed(specimen: Specimen, label: str, fault: faults.ChannelFault) -> Specimen:
    recording, trial = specimen.recording, specimen.trial
    assert trial is not None
    row = next(row for row in specimen.channel_rows if row["label"] == label)
    scale = _PER_UV[str(row["unit_code"])] * float(str(row["amplifier_gain"] or 1))
    column, rate = recording.column(label), recording.analog_rate_hz
    t, step = np.arange(len(recording.analog)) / rate, float(recording.analog_grid[column]) / scale
    values = recording.analog[:, column] / scale
    values = np.round(values / step) * step  # as the converter has it, so that what is held or copied is the same
    planted = fault(faults.Recorded(label, values, t, rate, "uV", step, trial))
    analog = recording.analog.copy()
    analog[:, column] = planted.values * scale
    return specimen.with_recording(analog=analog)


def _dry_skin(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """Noise of ``size`` per cent of what the muscle's bursts are on average."""
    assert specimen.trial is not None
    row = _rows(specimen)[int(chance.integers(len(_rows(specimen))))]
    own = [b.amplitude_uv for b in specimen.trial.bursts if (b.muscle, b.side) == (row["muscle"], row["side"])]
    return _changed(specimen, str(row["label"]), faults.noisy(size / 100 * float(np.mean(own))))


def _block_twice(size: float, side: str) -> faults.ChannelFault:
    return faults.block_twice(size / 1000, 0.4)


def _packets(size: float, side: str) -> faults.ChannelFault:
    return faults.packets_lost(size / 1000, 3)


def _one_signal_twice(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    one, other = chance.choice([str(row["label"]) for row in _rows(specimen)], 2, replace=False)
    analog = specimen.recording.analog.copy()
    analog[:, specimen.recording.column(one)] = analog[:, specimen.recording.column(other)]
    return specimen.with_recording(analog=analog)


def _gain_misstated(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The signal at the skin comes out ``size`` times too large, or too small."""
    rows = _rows(specimen)
    label = rows[int(chance.integers(len(rows)))]["label"]
    factor = size if chance.random() < 0.5 else 1 / size

    def turned(row: dict[str, object]) -> dict[str, object]:
        gain = float(str(row["amplifier_gain"] or 1)) * factor
        return {**row, "amplifier_gain": f"{gain:g}"} if row["label"] == label else row

    return replace(specimen, channel_rows=tuple(turned(dict(row)) for row in specimen.channel_rows))


def _rows_turned(turn: Callable[[dict[str, object], str], dict[str, object]]) -> Planting:
    """A plant in channels.csv that gives channels another meaning. turn: row, side -> row."""

    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        side = str(chance.choice(["left", "right"]))
        return replace(specimen, channel_rows=tuple(turn(dict(row), side) for row in specimen.channel_rows))

    return plant


def _shin_for_calf(row: dict[str, object], side: str) -> dict[str, object]:
    other = {"gastrocnemius_medialis": "tibialis_anterior", "tibialis_anterior": "gastrocnemius_medialis"}
    muscle = str(row["muscle"])
    return {**row, "muscle": other.get(muscle, muscle)} if row["side"] == side else row


def _left_for_right(row: dict[str, object], side: str) -> dict[str, object]:
    if row["role"] != "muscle" or row["muscle"] != "gastrocnemius_medialis":
        return row
    return {**row, "side": {"left": "right", "right": "left"}[str(row["side"])]}


def _side_blank(row: dict[str, object], side: str) -> dict[str, object]:
    if row["muscle"] == "gastrocnemius_medialis" and row["side"] == side:
        return {**row, "side": None}
    return row


def _all_late(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """All muscles come ``size`` ms late."""
    recording = specimen.recording
    analog, count = recording.analog.copy(), round(size / 1000 * recording.analog_rate_hz)
    for column in (recording.column(str(row["label"])) for row in _rows(specimen)):
        analog[:, column] = np.roll(analog[:, column], count)
    return specimen.with_recording(analog=analog)


def _shin_called_calf(row: dict[str, object], side: str) -> dict[str, object]:
    """A third muscle is taken for what it is not: one shin's channel is called a calf muscle that nobody recorded."""
    if row["muscle"] == "tibialis_anterior" and row["side"] == side:
        return {**row, "muscle": "gastrocnemius_lateralis"}
    return row


def _weak_reference(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """What the session's amplitudes are divided by was recorded ``size`` times too small."""
    return replace(specimen, references_times=1 / size)


def _low_rate(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The muscles of the second file were exported ``size`` times per second."""
    assert specimen.trial is not None
    label = str(chance.choice(["EMG GM L", "EMG SOL R", "EMG TA L"]))
    return replace(specimen, second=faults.second_file(specimen.trial, {label: (faults.thinned_out(size),)}))


def _plant(
    check_name: str, what: str, unit: str, sizes: tuple[float, ...], matters: float, why: str, plant: Planting,
    sites: tuple[str, ...] = ("brack",), second: bool = False, part: float = PART,
) -> Plant:  # fmt: skip
    return Plant(
        check_name, what, unit, sizes, matters, why, plant=plant, sites=sites, muscles=True, second=second,
        share_of_trials=part,
    )  # fmt: skip


PLANTS = (
    _plant(
        "muscle_baselines_are_quiet", "an electrode on dry skin has noise of {size} of the bursts", "%", (10.0, 20.0, 33.0, 40.0), 40.0,
        "it hides the beginning of a burst; from half of the bursts on muscles_are_active_in_running tells", _dry_skin,
    ),
    _plant(
        "muscles_are_free_of_mains_hum", "a muscle has mains hum of {size}", "uV", (3.0, 6.0, 9.0, 20.0), 9.0,
        "it is three times the noise of a good electrode, and moves onsets", _on_one(lambda size, side: faults.humming(size)),
    ),
    _plant(
        "muscles_are_free_of_movement", "the lead swings after each contact, by {size}", "uV",
        (50.0, 100.0, 400.0, 800.0), 800.0, "it outgrows the bursts; smaller swings are taken out by the band-pass",
        _on_one(faults.moved),
    ),
    _plant(
        "muscles_are_free_of_heartbeats", "the heart shows in a muscle, {size} high", "uV", (20.0, 80.0, 160.0), 160.0,
        "it is as large as a burst; smaller beats hide among the bursts in three seconds of running",
        _on_one(lambda size, side: faults.with_heartbeats(size, 132.0)),
    ),
    _plant(
        "every_muscle_has_its_own_signal", "one muscle's channel was exported in another's place too", "", PRESENT, 1.0,
        "a muscle is counted twice", _one_signal_twice, sites=("brack", "corrie"),
    ),
    _plant(
        "muscle_signals_are_raw", "the export rectified the signal", "", PRESENT, 1.0,
        "its frequencies are doubled, and amplitudes mean something else", _on_one(lambda size, side: faults.rectified),
        sites=("brack", "corrie"),
    ),
    _plant(
        "muscle_amplitudes_are_those_of_skin", "the gain in channels.csv makes a muscle {size} times too large or small",
        "1", (10.0, 100.0, 1000.0), 1000.0, "a gain that was taken off already, or not at all", _gain_misstated,
        sites=("brack", "corrie"),
    ),
    _plant(
        "muscles_are_active_in_running", "the lead of a muscle is off, and only noise of {size} is left", "uV",
        (1.0, 2.5, 5.0), 2.5, "nothing of the muscle is recorded", _on_one(lambda size, side: faults.lead_off(size)),
    ),
    _plant(
        "muscle_signals_fill_their_band", "a muscle went through a low-pass at {size}", "Hz", (100.0, 150.0, 250.0),
        150.0, "it takes a quarter of a calf's power", _on_one(lambda size, side: faults.low_passed(size)),
        sites=("brack", "corrie"),
    ),
    _plant(
        "muscle_rates_leave_room_for_the_band", "a muscle of the second file has {size}", "Hz", (960.0,), 960.0,
        "the limit is a number, so a lower one is lower", _low_rate, sites=("tarn",), second=True, part=0.2,
    ),
    _plant(
        "muscle_channels_are_fine_enough", "a muscle is stored in steps of {size}", "uV", (2.0, 5.0, 25.0, 50.0), 25.0,
        "it is a fifth of a burst and ten times the resting noise", _on_one(lambda size, side: faults.coarse(size)),
        sites=("brack", "corrie"),
    ),
    _plant(
        "muscle_signals_have_no_spikes", "two samples of a muscle stand out by {size}", "uV",
        (500.0, 1000.0, 2500.0, 5000.0), 5000.0, "it doubles the amplitude of a window of 0.1 s, and the scale of all",
        _on_one(lambda size, side: faults.with_spikes(size, 2)),
    ),
    _plant(
        "muscles_of_a_leg_are_not_exchanged", "channels.csv calls the shin's channel the calf's and the other way round", "",
        PRESENT, 1.0, "every outcome of both goes to the other", _rows_turned(_shin_for_calf),
    ),
    _plant(
        "left_and_right_muscles_are_not_exchanged", "channels.csv has left and right of a muscle exchanged", "", PRESENT,
        1.0, "bursts are counted from the other foot's contacts", _rows_turned(_left_for_right),
    ),
    _plant(
        "muscles_are_active_in_their_phase", "channels.csv calls a shin's channel another calf muscle", "", PRESENT, 1.0,
        "the muscle's outcomes are another's", _rows_turned(_shin_called_calf),
    ),
    _plant(
        "muscle_channels_say_muscle_and_side", "channels.csv leaves the side of a calf blank", "", PRESENT, 1.0,
        "the muscle would have no rows", _rows_turned(_side_blank),
    ),
    _plant(
        "muscles_keep_time_with_the_feet", "all muscles come {size} late", "ms", (80.0, 120.0, 170.0, 250.0), 170.0,
        "it is a quarter of a stride, and every window holds what another should", _all_late,
    ),
    _plant(
        "muscle_amplitudes_stay_near_their_reference", "the references of the session are {size} times too small", "1",
        (1.5, 2.0, 2.5, 3.0, 10.0), 3.0, "it is another step of an amplifier's gain, and the fractions are no fractions",
        _weak_reference, sites=("brack", "corrie"),
    ),
    _plant(
        "channels_lose_no_packets", "three packets of {size} are lost from a muscle and the value before is held", "ms",
        (5.0, 12.0, 24.0, 50.0), 24.0, "it is as long as the rise of a burst", _on_one(_packets),
    ),
    _plant(
        "no_block_of_samples_stands_twice", "{size} of a muscle stand there twice", "ms", (20.0, 50.0, 100.0, 200.0),
        100.0, "it is a usual buffer, and as long as most windows", _on_one(_block_twice),
    ),
)  # fmt: skip
