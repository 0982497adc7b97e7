from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipelines.intake.clocks import SAME_CLOCK, ClockFit
from pipelines.intake.sidecar import Sidecar
from pipelines.intake.signals import FoundSignals, plain_gain, signals_of
from pipelines.intake.twins import twins_of
from schemas.self_description import SecondFileSays
from schemas.trial import Channel

SAMPLES = np.arange(10.0)


def row(label: str, role: str = "muscle", **changes: object) -> dict[str, object]:
    return {
        "trial_id": "T1",
        "label": label,
        "role": role,
        "muscle": "soleus" if role == "muscle" else None,
        "side": "left",
        "unit_code": "mV",
        "amplifier_gain": None,
    } | changes


def channel(label: str, unit: str = "mV", rate: float = 1000.0) -> Channel:
    return Channel(label, unit, rate, SAMPLES)


def sidecar(*channels: Channel) -> Sidecar:
    return Sidecar("T1.edf", channels, 1.0, SecondFileSays(False, 1, 1.0))


def found(rows: list, own: tuple = (), second: Sidecar | None = None, clock: ClockFit | None = None) -> FoundSignals:
    return signals_of(own, second, rows, clock)


def test_a_row_gives_its_channel_a_meaning() -> None:
    signals = found(
        [row("EMG 1"), row("FS", "foot_sensor", side="right", unit_code="V")], (channel("FS"), channel("EMG 1"))
    )
    first, second = signals.signals
    assert (first.role, first.muscle, first.side, first.unit) == ("muscle", "soleus", "left", "mV")
    assert (second.role, second.muscle, second.side, second.unit) == ("foot_sensor", None, "right", "V")
    assert (first.rate_hz, first.start_s, first.label, first.source) == (1000.0, 0.0, "EMG 1", "trial_file")
    assert first.times_s.tolist() == pytest.approx((SAMPLES / 1000).tolist())


def test_labels_match_without_regard_to_capitals_and_blanks_but_an_exact_one_wins() -> None:
    assert found([row(" emg 1 ")], (channel("EMG 1  "),)).signals[0].label == "EMG 1  "
    assert found([row("emg")], (channel("EMG"), channel("emg"))).signals[0].label == "emg"
    assert found([row("Emg")], (channel("EMG"), channel("emg"))).signals[0].label == "EMG"


def test_a_label_in_neither_file_is_told_and_makes_no_signal() -> None:
    result = found([row("EMG 1"), row("EMG 2")], (channel("EMG 1"),), sidecar(channel("other")), SAME_CLOCK)
    assert result.missing == ("EMG 2",)
    assert [s.label for s in result.signals] == ["EMG 1"]


def test_a_second_file_is_placed_by_its_clock_and_left_out_without_one() -> None:
    second = sidecar(channel("EMG 1"))
    without = found([row("EMG 1")], (), second)
    assert without.signals == ()
    assert [s.source for s in without.second] == ["sidecar"]
    clock = ClockFit(-3.5, 200.0, 0.001, 20)
    (signal,) = found([row("EMG 1")], (), second, clock).signals
    assert signal.start_s == -3.5
    assert signal.times_s == pytest.approx(-3.5 + 1.0002 * SAMPLES / 1000)


def test_a_label_in_both_files_speaks_from_the_trials_own_and_is_kept_from_the_second_for_the_clock() -> None:
    result = found([row("FS", "foot_sensor")], (channel("FS"),), sidecar(channel("fs", rate=200.0)), SAME_CLOCK)
    assert [s.source for s in result.signals] == ["trial_file"]
    assert [(s.source, s.rate_hz) for s in result.second] == [("sidecar", 200.0)]


@pytest.mark.parametrize(
    ("gain", "factor"),
    [("1000", 1e3), (" 500 ", 500), ("1e3", 1e3), (None, 1), ("60 dB", 1), ("about 1000", 1), ("0", 1), ("-5", 1)],
)
def test_values_are_divided_by_a_gain_that_is_a_plain_number_only(gain: str | None, factor: float) -> None:
    (signal,) = found([row("EMG", amplifier_gain=gain)], (channel("EMG"),)).signals
    assert signal.samples.tolist() == pytest.approx((SAMPLES / factor).tolist())
    assert signal.amplifier_gain == (gain.strip() if gain else None)
    assert plain_gain("nan") == plain_gain("inf") == 1.0


@pytest.mark.parametrize("empty", [None, float("nan"), pd.NA, ""])
def test_empty_cells_are_none_however_a_table_spells_them(empty: object) -> None:
    (signal,) = found([row("C", "clock", muscle=empty, side=empty, amplifier_gain=empty)], (channel("C"),)).signals
    assert (signal.muscle, signal.side, signal.amplifier_gain) == (None, None, None)


@pytest.mark.parametrize(
    ("stated", "written", "conflicts"),
    [
        ("mV", "uV", True),
        ("uV", "µV", False),
        ("V", "v", False),
        ("mV", "", False),
        ("mV", "counts", False),
        ("[g]", "m/s^2", True),
        ("m/s2", "m/s^2", False),
    ],
)
def test_units_that_contradict_the_file_are_told(stated: str, written: str, conflicts: bool) -> None:
    result = found([row("EMG", unit_code=stated)], (channel("EMG", written),))
    assert result.unit_conflicts == ((("EMG", stated, written),) if conflicts else ())
    assert result.signals[0].unit == stated


def test_no_rows_and_no_files_give_nothing() -> None:
    assert found([]) == FoundSignals()


def test_labels_that_differ_in_capitals_or_outer_blanks_are_twins():
    one, other = SAMPLES, SAMPLES + 1
    (twin,) = twins_of("channel", ["EMG 1", "EMG 2", "emg 1 "], [one, one, other])
    assert (twin.name, twin.count, twin.alike, twin.spellings) == ("EMG 1", 2, False, ("EMG 1", "emg 1 "))
