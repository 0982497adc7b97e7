"""A runner recorded by two files: shared sensors, sensors against force and against markers, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipelines.intake.clocks import ClockFit, NoClock
from pipelines.intake.sidecar import Sidecar
from pipelines.intake.sidecar_clock import Basis, clock_row, match_by, with_signals
from schemas.convert.to_arrow import PANDAS_TYPES
from schemas.convert.to_pandera import pandera_schema
from schemas.outcomes_signals import CLOCK_FITS
from schemas.processing import Processing
from schemas.self_description import SecondFileSays
from schemas.trial import Channel, Trial
from tests.as_frames import compute_footfalls
from tests.builders import a_standing_trial, a_trial

PLAIN = Processing()
OFFSET_S, DRIFT_PPM = -4.2, 150.0
LENGTH_S, CONTACT_S = 22.0, 0.24
ROWS = [
    {"label": f"FS {side[0].upper()}", "role": "foot_sensor", "side": side, "unit_code": "V"}
    for side in ("left", "right")
] + [{"label": "SOL L", "role": "muscle", "muscle": "soleus", "side": "left", "unit_code": "uV"}]


def true_starts(seed: int = 4) -> dict[str, np.ndarray]:
    """Contact times of both feet on the trial's clock, from before the trial to after it; steps vary by 2.5 %."""
    rng = np.random.default_rng(seed)
    times = -5 + np.cumsum(0.35 * (1 + 0.025 * rng.standard_normal(95)))
    return {"left": times[::2], "right": times[1::2]}


def a_switch(starts: np.ndarray, times: np.ndarray, contact_s: float = CONTACT_S) -> np.ndarray:
    """0 or 5 V at each of ``times``."""
    return np.where(np.any([(times >= s) & (times < s + contact_s) for s in starts], axis=0), 5.0, 0.0)


def a_second_file(starts: dict[str, np.ndarray], rate: float = 1000.0, seconds: float = 27.0) -> Sidecar:
    """Both footswitches and one muscle, recorded on a clock of their own."""
    own = np.arange(round(seconds * rate)) / rate
    on_trial = OFFSET_S + (1 + DRIFT_PPM / 1e6) * own
    switches = [Channel(f"FS {s[0].upper()}", "V", rate, a_switch(starts[s], on_trial)) for s in starts]
    return Sidecar(
        "T1.edf",
        (*switches, Channel("SOL L", "uV", rate, np.sin(on_trial))),
        seconds,
        SecondFileSays(False, 1, seconds),
    )


def plain_trial(channels: tuple[Channel, ...] = (), **changes: object) -> Trial:
    trial = a_trial(footfalls=1)
    return replace(
        trial,
        markers={},
        filled={},
        plates=(),
        channels=channels,
        facts=replace(trial.facts, frame_count=round(LENGTH_S * 200)),
        **changes,  # type: ignore[arg-type]
    )


def with_force(starts: dict[str, np.ndarray]) -> Trial:
    """A treadmill trial whose single plate and markers show these contacts."""
    base = a_trial(footfalls=1)
    rate, marker_rate = 1000.0, 200.0
    t, tm = np.arange(round(LENGTH_S * rate)) / rate, np.arange(round(LENGTH_S * marker_rate)) / marker_rate
    force = np.zeros((len(t), 3))
    moment = np.zeros((len(t), 3))
    markers = {}
    for side, out in (("left", -0.05), ("right", 0.05)):
        lift = np.full(len(tm), 0.15)
        for start in starts[side]:
            phase = (t - start) / CONTACT_S
            on = (phase > 0) & (phase < 1)
            force[on, 1] += 1600 * np.sin(np.pi * phase[on])
            moment[on] += np.cross([0.1, 0, out], np.stack([0 * t[on], 1600 * np.sin(np.pi * phase[on]), 0 * t[on]], 1))
            lift[(tm >= start) & (tm <= start + CONTACT_S)] = 0.0
        for role, ahead in (("calcaneus", 0.0), ("second_metatarsal_head", 0.18)):
            path = np.stack([np.full(len(tm), ahead), lift + 0.04, np.full(len(tm), out)], axis=1)
            markers[f"{role}_{side}"] = path
    plate = replace(base.plates[0], force=force, moment=moment, raw=np.hstack([force, moment]))
    facts = replace(base.facts, frame_count=len(tm))
    return replace(base, plates=(plate,), markers=markers, filled={}, surface="treadmill", facts=facts)


def error_s(clock: ClockFit) -> float:
    middle = LENGTH_S / 2
    return float(clock.trial_time((middle - OFFSET_S) / (1 + DRIFT_PPM / 1e6)) - middle)


def test_sensors_recorded_by_both_files_give_the_clock_to_a_millisecond() -> None:
    starts = true_starts()
    times = np.arange(round(LENGTH_S * 2000)) / 2000
    own = tuple(Channel(f"FS {s[0].upper()}", "V", 2000.0, a_switch(starts[s], times)) for s in starts)
    trial, clock, found = with_signals(plain_trial(own), a_second_file(starts), ROWS, PLAIN)
    assert isinstance(clock, ClockFit), clock
    assert clock.basis == "shared_signal"
    assert abs(error_s(clock)) < 0.001
    assert clock.drift_ppm == pytest.approx(DRIFT_PPM, abs=4 * (clock.drift_error_ppm or 0))
    assert clock.event_count > 100  # contacts and push-offs of both feet
    assert found.missing == ()
    muscle = next(s for s in trial.signals if s.role == "muscle")
    assert np.abs(muscle.samples - np.sin(muscle.times_s)).max() < 0.001
    assert [s.source for s in trial.signals] == ["trial_file", "trial_file", "sidecar"]


def test_one_shared_clock_signal_is_enough() -> None:
    rng = np.random.default_rng(9)
    edges = np.cumsum(rng.uniform(0.3, 1.2, 40)) - 4
    rows = [{"label": "SYNC", "role": "clock", "unit_code": "V"}]
    own = Channel("SYNC", "V", 1000.0, a_switch(edges, np.arange(22000) / 1000, 0.1))
    times = OFFSET_S + (1 + DRIFT_PPM / 1e6) * np.arange(27000) / 1000
    second = Sidecar(
        "T1.edf", (Channel("SYNC", "V", 1000.0, a_switch(edges, times, 0.1)),), 27.0, SecondFileSays(False, 1, 27.0)
    )
    _, clock, _ = with_signals(plain_trial((own,)), second, rows, PLAIN)
    assert isinstance(clock, ClockFit), clock
    assert abs(error_s(clock)) < 0.001


def test_sensors_against_force_match_up_to_the_difference_between_the_two_methods() -> None:
    starts = true_starts()
    trial, clock, _ = with_signals(with_force(starts), a_second_file(starts), ROWS, PLAIN)
    assert isinstance(clock, ClockFit), clock
    assert clock.basis == "sensor_against_force"
    assert abs(error_s(clock)) < 0.003  # force crosses 20 N one or two ms after contact
    assert {s.role for s in trial.signals} == {"foot_sensor", "muscle"}


def test_without_plates_markers_stand_in_and_the_trial_gets_its_footfalls_from_sensors() -> None:
    starts = true_starts()
    unforced = replace(with_force(starts), plates=(), analog_rate_hz=None)
    moved = {name: _forward(path, name, starts) for name, path in unforced.markers.items()}
    trial, clock, _ = with_signals(replace(unforced, markers=moved), a_second_file(starts), ROWS, PLAIN)
    assert isinstance(clock, ClockFit), clock
    assert clock.basis == "sensor_against_markers"
    assert abs(error_s(clock)) < 0.02  # the marker method's own bias
    footfalls = compute_footfalls(trial, PLAIN, None)
    assert set(footfalls["event_method"]) == {"sensor"}
    assert len(footfalls) > 50
    assert footfalls["contact_s"].min() >= 0  # the second file began 4.2 s earlier, with the runner running
    assert footfalls["contact_time_s"].to_numpy() == pytest.approx(CONTACT_S, abs=0.003)


def _forward(path: np.ndarray, name: str, starts: dict[str, np.ndarray]) -> np.ndarray:
    """The marker carried back by the belt on the ground and forward in the air."""
    times = np.arange(len(path)) / 200
    side = name.rpartition("_")[2]
    on = np.any([(times >= s) & (times <= s + CONTACT_S) for s in starts[side]], axis=0)
    moved = path.copy()
    moved[:, 0] += np.cumsum(np.where(on, -3.0, 1.6)) / 200
    return moved


def test_clocks_that_cannot_be_matched_leave_the_second_file_out_with_the_reason() -> None:
    starts = true_starts()
    even = {side: -5 + 0.7 * np.arange(48) + (0.35 if side == "right" else 0) for side in starts}
    times = np.arange(round(LENGTH_S * 2000)) / 2000
    own = tuple(Channel(f"FS {s[0].upper()}", "V", 2000.0, a_switch(even[s], times)) for s in even)
    trial, clock, found = with_signals(plain_trial(own), a_second_file(even), ROWS, PLAIN)
    assert isinstance(clock, NoClock)
    assert "equally well" in clock.reason
    assert [s.label for s in trial.signals] == ["FS L", "FS R"]
    assert [s.label for s in found.second] == ["FS L", "FS R", "SOL L"]


def test_a_second_file_without_a_shared_event_is_told() -> None:
    trial, clock, _ = with_signals(plain_trial(), a_second_file(true_starts()), ROWS, PLAIN)
    assert isinstance(clock, NoClock)
    assert "no signal of an event" in clock.reason
    assert trial.signals == ()


def test_where_nobody_runs_the_second_file_is_taken_as_it_is() -> None:
    for kind in ("standing", "reference_contraction"):
        still = a_standing_trial(kind=kind)
        trial, clock, _ = with_signals(still, a_second_file(true_starts()), ROWS, PLAIN)
        assert clock is None
        assert [s.start_s for s in trial.signals] == [0.0] * 3


def test_without_a_second_file_there_is_no_clock_to_match() -> None:
    own = Channel("SOL L", "uV", 2000.0, np.zeros(100))
    trial, clock, found = with_signals(plain_trial((own,)), None, ROWS, PLAIN)
    assert clock is None
    assert [s.label for s in trial.signals] == ["SOL L"]
    assert found.missing == ("FS L", "FS R")
    assert with_signals(plain_trial(), None, [], PLAIN)[0].signals == ()


def test_rows_of_the_clock_table_keep_their_definition_for_a_match_and_a_refusal() -> None:
    provenance = {"delivery_id": "tarn-001", "raw_sha256": "0" * 64, "code_version": "1", "study_version": "1"}
    results = [
        ClockFit(1.0, 20.0, 0.001, 30, 4.0),
        NoClock("too few", None),
        NoClock("even", ClockFit(1, 2, 0.02, 9, 5)),
    ]
    rows = [clock_row(f"T{i}", result) | provenance for i, result in enumerate(results)]
    frame = pd.DataFrame(rows).astype({c.name: PANDAS_TYPES[c.kind] for c in CLOCK_FITS.fields})
    assert list(frame) == list(CLOCK_FITS.column_names)
    pandera_schema(CLOCK_FITS, ordered=True).validate(frame)
    assert frame["is_matched"].tolist() == [True, False, False]


SPANS = ((0.0, LENGTH_S), (0.0, LENGTH_S))


def contacts_within(starts: dict[str, np.ndarray], sides: tuple[str, ...] = ("left", "right")) -> dict[str, np.ndarray]:
    return {f"{s} contact": starts[s][(starts[s] > 0) & (starts[s] < LENGTH_S)] for s in sides}


def without_a_block(trains: dict[str, np.ndarray], at: float, lost: float = 0.1) -> dict[str, np.ndarray]:
    return {k: np.where(t > at, t - lost, t)[(t <= at) | (t >= at + lost)] for k, t in trains.items()}


def test_a_match_by_one_foot_is_held_against_the_contacts_of_the_other() -> None:
    """The shared switch has its last contact before the block that was lost, and sees nothing of it."""
    true = contacts_within(true_starts())
    own = {"left contact": true["left contact"][:-3]}
    at = float(own["left contact"][-1]) + 0.05
    markers = {k: t + 0.003 for k, t in true.items()}
    for second, accepted in ((true, True), (without_a_block(true, at), False)):
        shared = Basis("shared_signal", own, {"left contact": second["left contact"][:-3]})
        alone = match_by([shared], SPANS, PLAIN.clock)
        clock = match_by([shared, Basis("sensor_against_markers", markers, second)], SPANS, PLAIN.clock)
        assert isinstance(alone, ClockFit), alone
        assert isinstance(clock, ClockFit) == accepted, clock
        assert isinstance(clock, ClockFit) or "lost or doubled" in clock.reason


def test_a_block_lost_before_the_last_contact_is_told_by_its_touch_alone() -> None:
    """Complete contacts end before it, and the shared switch is on the other foot."""
    true = contacts_within(true_starts())
    last = max(true, key=lambda kind: float(true[kind][-1]))
    shared = next(kind for kind in true if kind != last)
    at = float(true[last][-1]) - 0.05
    second = {k: np.where(t > at, t - 0.03, t) for k, t in true.items()}
    switch = Basis("shared_signal", {shared: true[shared][:-1]}, {shared: second[shared][:-1]})
    for touches, accepted in (({**true, last: true[last][:-1]}, True), (true, False)):
        markers = Basis("sensor_against_markers", {k: t + 0.003 for k, t in touches.items()}, second)
        clock = match_by([switch, markers], ((0.0, at + 0.15), SPANS[1]), PLAIN.clock)
        assert isinstance(clock, ClockFit) == accepted, clock


def test_what_one_basis_refuses_for_a_cause_no_coarser_one_accepts() -> None:
    true = contacts_within(true_starts())
    second = without_a_block(true, 18.0)
    early = {k: t[t < 15] for k, t in true.items()}
    coarse = Basis("sensor_against_markers", early, {k: t[t < 15] for k, t in second.items()})
    assert isinstance(match_by([coarse], SPANS, PLAIN.clock), ClockFit)
    assert isinstance(match_by([Basis("shared_signal", true, second), coarse], SPANS, PLAIN.clock), NoClock)
    few = {"left contact": true["left contact"][:3]}
    clock = match_by([Basis("shared_signal", few, few), coarse], SPANS, PLAIN.clock)
    assert isinstance(clock, ClockFit), clock
    assert clock.basis == "sensor_against_markers"


def test_a_sensor_of_the_other_foot_that_is_late_for_itself_is_no_fault_of_the_clock() -> None:
    true = contacts_within(true_starts())
    late = {**true, "right contact": true["right contact"] + 0.025}
    shared = Basis("shared_signal", {"left contact": true["left contact"]}, {"left contact": true["left contact"]})
    clock = match_by([shared, Basis("sensor_against_markers", true, late)], SPANS, PLAIN.clock)
    assert isinstance(clock, ClockFit), clock
