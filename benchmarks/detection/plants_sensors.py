"""Faults of foot sensors and of the second file's clock, as ``faults_muscle`` makes them; at the laboratory that has both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant, Planting
from benchmarks.detection.specimens import Specimen
from demo_site_uploads.simulator import faults_muscle as faults

PART = 0.3  # a second file takes as long as several trials
OTHER = {"left": "right", "right": "left"}


def _on_left_switch(maker: Callable[[float], faults.ChannelFault]) -> Planting:
    """A plant in the second file's left footswitch; the right one is also in the trial's own file and matches the clocks."""
    return _second(lambda size: {"faults": {"FOOT L": (maker(size),)}})


def _second(arguments: Callable[[float], dict[str, object]]) -> Planting:
    """A plant that writes the second file anew."""

    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        assert specimen.trial is not None
        given = {"faults": {}, **arguments(size)}
        return replace(specimen, second=faults.second_file(specimen.trial, **given))  # type: ignore[arg-type]

    return plant


def _never_closes(x: faults.Recorded) -> faults.Recorded:
    return replace(x, values=faults.NOISE_V * x.noise.standard_normal(len(x.values)))


def _dead_in_the_file(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The left footswitch of the trial's own file shows its noise only."""
    recording = specimen.recording
    analog, noise = recording.analog.copy(), chance.standard_normal(len(recording.analog))
    analog[:, recording.column("switch_L")] = faults.NOISE_V * noise
    return specimen.with_recording(analog=analog)


def _in_the_other_shoe(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    rows = [
        {**row, "side": OTHER[str(row["side"])]} if row["role"] == "foot_sensor" else dict(row)
        for row in specimen.channel_rows
    ]
    return replace(specimen, channel_rows=tuple(rows))


def _both_polled(size: float) -> dict[str, object]:
    return {"faults": {f"FOOT {side}": (faults.polled(size),) for side in "LR"}}


def _plant(
    check_name: str, what: str, unit: str, sizes: tuple[float, ...], matters: float, why: str, plant: Planting
) -> Plant:
    return Plant(
        check_name, what, unit, sizes, matters, why, plant=plant, sites=("tarn",), second=True, share_of_trials=PART
    )


PLANTS = (
    Plant(
        "foot_sensors_switch", "the left foot sensor never closes, where force tells the contacts", "", PRESENT, 1.0,
        "what is timed by it is timed by something else", plant=_dead_in_the_file, sites=("brack",), muscles=True,
    ),
    _plant(
        "foot_sensors_switch", "the left foot sensor never closes, where nothing else tells that foot's contacts", "", PRESENT, 1.0, "contacts of that foot are missing",
        _on_left_switch(lambda size: _never_closes),
    ),
    _plant(
        "foot_sensors_close_once_for_each_contact", "the left foot sensor misses one contact", "", PRESENT, 1.0,
        "a stride of twice its length", _on_left_switch(lambda size: faults.contact_missed("left", 2)),
    ),
    _plant(
        "foot_sensors_are_on_their_own_feet", "channels.csv has left and right of the foot sensors exchanged", "",
        PRESENT, 1.0, "contacts go to the other foot", _in_the_other_shoe,
    ),
    _plant(
        "foot_sensors_close_at_contact", "the left foot sensor is {size} late", "s", (0.015, 0.03, 0.045, 0.08), 0.045,
        "it is more than methods differ by, and a fifth of a contact", _on_left_switch(faults.late),
    ),
    _plant(
        "foot_sensors_keep_their_delay", "the left foot sensor is later by {size} each second", "s",
        (0.002, 0.004, 0.008, 0.016), 0.008, "over a trial it is as much as muscle onsets differ by between conditions",
        _on_left_switch(lambda size: faults.late(0.0, size)),
    ),
    _plant(
        "clock_drift_is_that_of_quartz", "the second recorder's clock is {size} millionths off", "1",
        (100.0, 200.0, 450.0, 700.0), 450.0, "it is more than two quartz clocks differ by; where a drift is so large that "
        "the clocks cannot be matched, clocks_of_both_files_match tells", _second(lambda size: {"drift_ppm": size}),
    ),
    _plant(
        "clock_match_leaves_little", "the second recorder asks its switches {size} times a second only", "1",
        (200.0, 100.0, 70.0), 70.0, "it leaves 4 ms, a third of what onsets differ by between conditions",
        _second(_both_polled),
    ),
    _plant(
        "second_file_covers_the_trial", "the second file ends {size} before the trial", "s", (0.1, 0.3, 0.6), 0.3,
        "a whole contact has no muscles", _second(lambda size: {"ends_early_s": size}),
    ),
)  # fmt: skip
