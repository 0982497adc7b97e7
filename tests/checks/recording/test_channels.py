"""Checks of the channels that channels.csv names: planted faults, and what must not be taken for one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from checks.context import Context
from checks.recording.channels import _MUSCLE_WORDS
from schemas.outcomes_muscle import MUSCLE_SIGNALS
from schemas.reading import ChannelFacts
from schemas.trial import Channel, Signal
from tests.builders import a_standing_trial, a_study, a_trial
from tests.checks.running_checks import Case, of_trial, run, status

LABELS, UNITS = "named_channels_are_in_the_files", "channel_units_agree_with_the_file"
CLOCKS, MUSCLES = "clocks_of_both_files_match", "muscle_signals_can_be_used"
SECOND = "trials/T1.edf"
RATE = 1000.0


def facts(**changes: Any) -> ChannelFacts:
    return replace(ChannelFacts(named_count=3), **changes)


def with_channels(**changes: Any) -> Context:
    return replace(of_trial(a_trial()), channels=facts(**changes))


def a_muscle(**changes: Any) -> Signal:
    """The left soleus in mV: noise of an electrode with three bursts, within the amplifier's range."""
    rng = np.random.default_rng(3)
    samples = 0.005 * rng.standard_normal(3000)
    for start in (300, 1300, 2300):
        samples[start : start + 200] += 0.3 * rng.standard_normal(200)
    signal = Signal("muscle", "soleus", "left", "mV", RATE, samples, label="EMG 2")
    return replace(signal, **changes)


def with_muscles(*muscles: Signal, **changes: Any) -> Context:
    """A running trial with these signals and the quality that outcomes found in them."""
    return replace(of_trial(a_trial(signals=muscles)), channels=facts(**changes))


def stuck(signal: Signal) -> Signal:
    return replace(signal, samples=np.clip(signal.samples, -0.05, 0.05))


#: One contact of the second file is 0.35 s from the nearest of the trial.
UNLIKE = (("left contact", (0.1, 0.8, 1.5), (0.1, 1.15, 1.5)),)
PLANTED = {
    LABELS: Case(lambda: with_channels(missing=("EMG 7",)), "label EMG 7"),
    UNITS: Case(lambda: with_channels(unit_conflicts=(("EMG 2", "mV", "uV"),)), "label EMG 2"),
    CLOCKS: Case(
        lambda: with_channels(
            second_file=SECOND, clock_problem="the two recordings share too few events", clock_events=UNLIKE
        ),
        "clock",
    ),
    MUSCLES: Case(lambda: with_muscles(stuck(a_muscle())), "soleus left"),
}
CLEAN = {
    LABELS: with_channels,
    UNITS: with_channels,
    CLOCKS: lambda: with_channels(second_file=SECOND, clock_event_count=17),
    MUSCLES: lambda: with_muscles(a_muscle()),
}


@pytest.mark.parametrize("name", PLANTED)
def test_a_trial_of_which_channels_csv_says_nothing_is_not_looked_at(name: str) -> None:
    for channels in (None, ChannelFacts(0)):
        assert status(name, replace(of_trial(a_trial()), channels=channels)) == "skipped"


def test_all_missing_labels_of_a_trial_are_one_finding() -> None:
    (finding,) = run(LABELS, with_channels(missing=("EMG 7", "EMG 8", "Switch"))).findings
    assert "'EMG 7', 'EMG 8' and 'Switch'" in finding.seen
    assert finding.file == "channels.csv"


def test_a_label_that_is_spelled_otherwise_in_the_file_is_told() -> None:
    labels = ("switch_L", "switch_R", "emg_soleus_L")
    explained = a_muscle(role="foot_sensor", muscle=None, side="right", label="switch_R")
    trial = a_trial(channels=tuple(Channel(x, "V", RATE, np.zeros(5)) for x in labels), signals=(explained,))

    def seen(*missing: str) -> str:
        return run(LABELS, replace(of_trial(trial), channels=facts(missing=missing))).findings[0].seen

    both = seen("left switch", "EMG.soleus.L")
    assert "'left switch' may be 'switch_L'" in both  # and not switch_R, which another row explains
    assert "'EMG.soleus.L' may be 'emg_soleus_L'" in both
    assert "may be" not in seen("accelerometer 4")


def test_the_files_that_were_searched_are_named() -> None:
    assert "no second file" in run(LABELS, with_channels(missing=("EMG 7",))).findings[0].seen
    assert SECOND in run(LABELS, with_channels(missing=("EMG 7",), second_file=SECOND)).findings[0].seen


@pytest.mark.parametrize(
    ("stated", "written", "difference"),
    [
        ("mV", "uV", "too large by a factor of 1000"),  # 200 in uV taken for 200 mV
        ("uV", "mV", "too small by a factor of 1000"),
        ("uV", "V", "too small by a factor of 1000000"),
        ("[g]", "m/s2", "too large by a factor of 9.80665"),  # CGPM 1901
        ("V", "m/s2", "one is a voltage, the other an acceleration"),
    ],
)
def test_what_a_wrong_unit_does_to_the_values_is_told(stated: str, written: str, difference: str) -> None:
    (finding,) = run(UNITS, with_channels(unit_conflicts=(("EMG 2", stated, written),))).findings
    assert finding.seen.endswith(f"{difference}.")
    assert f"in {stated}, the file itself in {written}" in finding.seen


def test_channels_with_the_same_two_units_are_one_finding() -> None:
    conflicts = (("EMG 1", "mV", "uV"), ("EMG 2", "mV", "uV"), ("Switch", "mV", "V"))
    findings = run(UNITS, with_channels(unit_conflicts=conflicts)).findings
    assert [f.place for f in findings] == ["label EMG 1, EMG 2", "label Switch"]


def test_a_channel_that_is_in_no_file_has_no_unit_to_compare() -> None:
    assert status(UNITS, with_channels(missing=("a", "b", "c"))) == "skipped"


def test_a_clock_is_told_with_the_reason_and_the_studys_limits() -> None:
    study = a_study(processing={"clock": {"residual_limit_s": 0.004, "fewest_events": 12}})
    problem = "the best alignment leaves 6.3 ms (root mean square over 14 events); the study allows 4 ms"
    (finding,) = run(CLOCKS, replace(with_channels(second_file=SECOND, clock_problem=problem), study=study)).findings
    assert finding.file == SECOND
    assert problem in finding.seen
    assert "at least 12" in finding.expected
    assert "4 ms" in finding.expected


def test_there_is_no_clock_to_match_without_a_running_trial_a_second_file_or_a_row_that_names_its_channels() -> None:
    standing = replace(of_trial(a_standing_trial()), channels=facts(second_file=SECOND, clock_problem="none"))
    assert status(CLOCKS, standing) == "skipped"
    assert status(CLOCKS, with_channels()) == "skipped"
    assert status(CLOCKS, with_channels(second_file=SECOND)) == "skipped"


FLAWS = {
    "recorded_twice": ((a_muscle(), a_muscle(label="EMG 9")), "'EMG 2' and 'EMG 9'"),
    "unit_not_a_voltage": ((a_muscle(unit="%"),), "its unit is %"),
    "gain_not_understood": ((a_muscle(amplifier_gain="high"),), "'high'"),
    "missing": ((a_muscle(samples=np.full(3000, np.nan)),), "no sample"),
    "flat": ((a_muscle(samples=np.full(3000, 0.2)),), "stands still"),
    "saturated": ((stuck(a_muscle()),), "% of its samples are stuck"),
    "rate_too_low": ((a_muscle(rate_hz=500.0),), "500 samples per second"),
    "too_short": ((a_muscle(samples=a_muscle().samples[:60]),), "long enough"),
}


@pytest.mark.parametrize("problem", FLAWS)
def test_every_way_a_muscle_signal_can_fail_has_its_own_words(problem: str) -> None:
    muscles, words = FLAWS[problem]
    context = with_muscles(*muscles)
    assert context.work is not None
    assert context.work.muscle_outcomes.signals.columns["signal_problem"] == [problem]
    (finding,) = run(MUSCLES, context).findings
    assert words in finding.seen
    assert "stay empty" in finding.seen
    for part in ("seen", "expected", "remedy"):
        assert not any(sign in getattr(finding, part) for sign in "{}"), part


def test_every_problem_that_outcomes_know_was_tried() -> None:
    (field,) = [f for f in MUSCLE_SIGNALS.fields if f.name == "signal_problem"]
    assert {code.value for code in field.codes} == set(FLAWS) == set(_MUSCLE_WORDS)


def test_each_bad_muscle_is_named_with_its_side_channel_and_file() -> None:
    good = a_muscle(muscle="tibialis_anterior")
    bad = stuck(a_muscle(side="right", label="EMG SOL R", source="sidecar"))
    report = run(MUSCLES, with_muscles(good, bad, a_muscle(), second_file=SECOND))
    (finding,) = report.findings
    assert report.runs[0].rows_examined == 3
    assert (finding.place, finding.file) == ("soleus right", SECOND)
    assert "soleus right (channel 'EMG SOL R')" in finding.seen


def test_the_event_that_has_no_partner_is_measured_to_the_nearest_of_its_kind() -> None:
    shown = with_channels(second_file=SECOND, clock_problem="no offset fits", clock_events=UNLIKE)
    (finding,) = run(CLOCKS, shown).findings
    assert finding.shows is not None
    (panel,) = finding.shows.panels
    assert [abs(number) for number in panel.beyond] == [pytest.approx(0.35)]
    assert {part.name for part in panel.parts} >= {"left contact, trial's file", "left contact, second file"}


def test_where_every_event_finds_a_partner_nothing_is_measured() -> None:
    alike = (("left contact", (0.1, 0.8), (0.11, 0.8)),)
    shown = with_channels(second_file=SECOND, clock_problem="two alignments fit equally well", clock_events=alike)
    (finding,) = run(CLOCKS, shown).findings
    assert finding.shows is not None
    assert finding.shows.panels[0].expected is None
