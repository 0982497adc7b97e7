from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.clock_matches import measure
from pipelines.intake.clock_evidence import Line, objection
from pipelines.intake.clocks import ClockFit, NoClock, match_clocks
from schemas.processing_signals import ClockProcessing
from tests.tries import tries

PLAIN = ClockProcessing()
Trains = dict[str, np.ndarray]


def two_recordings(
    seed: int = 0,
    *,
    offset_s: float = 7.3,
    drift_ppm: float = 120.0,
    length_s: float = 20.0,
    step_cv: float = 0.02,
    noise_s: float = 0.001,
    missed: float = 0.0,
    doubled: float = 0.0,
    lead_s: float = 5.0,
    tail_s: float = 5.0,
) -> tuple[Trains, Trains]:
    """Contacts of a runner whose steps vary by ``step_cv``, as the trial and a second recorder tell them."""
    rng = np.random.default_rng(seed)
    count = int((length_s + lead_s + tail_s) / 0.36) + 2
    true = -lead_s + np.cumsum(0.36 * (1 + step_cv * rng.standard_normal(count)))
    feet = {"left contact": true[::2], "right contact": true[1::2]}

    def told(times: np.ndarray) -> np.ndarray:
        times = times[rng.random(len(times)) >= missed]
        times = times + noise_s * rng.standard_normal(len(times))
        twice = times[rng.random(len(times)) < doubled]
        return np.sort(np.concatenate([times, twice + rng.uniform(0.03, 0.2, len(twice))]))

    trial = {k: told(v[(v >= 0) & (v <= length_s)]) for k, v in feet.items()}
    second = {k: told((v[v <= length_s + tail_s] - offset_s) / (1 + drift_ppm / 1e6)) for k, v in feet.items()}
    return trial, second


def error_s(fit: ClockFit, trial: Trains, offset_s: float, drift_ppm: float) -> float:
    """How far the fit puts the middle of the trial from where it is."""
    middle = np.mean([t.mean() for t in trial.values()])
    return float(fit.trial_time((middle - offset_s) / (1 + drift_ppm / 1e6)) - middle)


@tries(20)
@given(
    st.integers(0, 2**32 - 1),
    st.floats(-50, 50),
    st.floats(-400, 400),
    st.floats(0, 0.1),
)
def test_offset_and_drift_are_recovered_within_the_residual(
    seed: int, offset_s: float, drift_ppm: float, doubled: float
) -> None:
    trial, second = two_recordings(seed, offset_s=offset_s, drift_ppm=drift_ppm, doubled=doubled)
    fit = match_clocks(trial, second, PLAIN)
    assert isinstance(fit, ClockFit), fit
    assert fit.residual_s is not None
    assert fit.drift_error_ppm is not None
    assert fit.residual_s == pytest.approx(0.001 * np.sqrt(2), rel=0.5)
    assert abs(error_s(fit, trial, offset_s, drift_ppm)) < fit.residual_s
    assert abs(fit.drift_ppm - drift_ppm) < 5 * fit.drift_error_ppm


def test_without_noise_the_fit_is_exact() -> None:
    trial, second = two_recordings(noise_s=0.0)
    fit = match_clocks(trial, second, PLAIN)
    assert isinstance(fit, ClockFit)
    assert (fit.offset_s, fit.drift_ppm) == pytest.approx((7.3, 120.0), abs=1e-6)
    assert fit.residual_s == pytest.approx(0, abs=1e-9)
    assert fit.event_count == sum(map(len, trial.values()))


def test_drift_moves_far_events_by_more_than_the_tolerance_and_is_still_found() -> None:
    trial, second = two_recordings(3, length_s=240.0, drift_ppm=450.0, offset_s=-31.0)
    fit = match_clocks(trial, second, PLAIN)
    assert isinstance(fit, ClockFit)
    assert PLAIN.match_tolerance_s < 240 * 450e-6
    assert fit.drift_ppm == pytest.approx(450, abs=3)
    assert abs(error_s(fit, trial, -31.0, 450.0)) < 0.001


@tries(10)
@given(st.integers(0, 2**32 - 1))
def test_the_two_directions_agree(seed: int) -> None:
    trial, second = two_recordings(seed)
    there, back = match_clocks(trial, second, PLAIN), match_clocks(second, trial, PLAIN)
    assert isinstance(there, ClockFit)
    assert isinstance(back, ClockFit)
    moments = np.array([2.0, 10.0])
    assert back.trial_time(there.trial_time(moments)) == pytest.approx(moments, abs=0.001)


def test_left_is_not_matched_with_right() -> None:
    trial, second = two_recordings()
    crossed = {"left contact": second["right contact"], "right contact": second["left contact"]}
    assert isinstance(match_clocks(trial, crossed, PLAIN), NoClock)


def without(train: np.ndarray, *places: int) -> np.ndarray:
    return np.delete(train, places)


def test_a_switch_that_misses_a_contact_now_and_then_is_borne() -> None:
    """Its neighbours on both sides have partners, which shows that the clock is right there."""
    trial, second = two_recordings(2)
    second["left contact"] = without(second["left contact"], 14, 25)
    assert isinstance(match_clocks(trial, second, PLAIN), ClockFit)


# ---- contacts that a match leaves unexplained


def shifted(second: Trains, at_s: float, by_s: float) -> Trains:
    """A block lost (by_s > 0): what stood in it is gone, what stood after it comes earlier; or written twice."""
    found = {}
    for kind, times in second.items():
        if by_s > 0:
            times = times[(times < at_s) | (times >= at_s + by_s)]
        again = times[(times >= at_s + by_s) & (times < at_s)] - by_s
        found[kind] = np.sort(np.concatenate([np.where(times >= at_s, times - by_s, times), again]))
    return found


@pytest.mark.parametrize("place", [0.1, 0.3, 0.5, 0.7, 0.9])
@pytest.mark.parametrize("by_s", [0.02, 0.1, 0.5, 0.72, -0.1])
def test_a_block_lost_or_doubled_in_the_second_file_is_refused(place: float, by_s: float) -> None:
    trial, second = two_recordings(5, step_cv=0.03)
    begin, end = (t - 7.3 for t in (0.0, 20.0))
    result = match_clocks(trial, shifted(second, begin + place * (end - begin), by_s), PLAIN)
    assert isinstance(result, NoClock), result


def test_the_refusal_names_when_and_by_how_much_the_second_file_jumps() -> None:
    trial, second = two_recordings(5, step_cv=0.1, length_s=60.0)
    small = match_clocks(trial, shifted(second, 23.0, 0.012), PLAIN)
    large = match_clocks(trial, shifted(second, 38.0, 0.1), PLAIN)
    assert isinstance(small, NoClock)
    assert isinstance(large, NoClock)
    assert "the second file is 12 ms early against the part before" in small.reason
    assert "from 30." in small.reason  # 23 s of the second file, which began 7.3 s after the trial
    assert "ms earlier, while others agree" in large.reason


def test_half_the_contacts_missing_is_refused() -> None:
    trial, second = two_recordings(6, step_cv=0.03)
    every_other = {kind: times[::2] for kind, times in second.items()}
    assert isinstance(match_clocks(trial, every_other, PLAIN), NoClock)
    few = match_clocks(trial, second | {"left contact": second["left contact"][::2]}, PLAIN)
    assert isinstance(few, NoClock)
    assert "have no partner in the other although both were recording" in few.reason


def test_contacts_missing_one_after_the_other_are_refused() -> None:
    """A switch that misses three in a row is no accident, and nothing shows the clock in between."""
    trial, second = two_recordings(7, step_cv=0.03, length_s=40.0)
    result = match_clocks(trial, second | {"right contact": without(second["right contact"], 20, 21, 22)}, PLAIN)
    assert isinstance(result, NoClock)
    assert "3 of" in result.reason


def test_contacts_beyond_either_record_need_no_partner() -> None:
    trial, second = two_recordings(8, lead_s=0.0, tail_s=9.0)
    assert isinstance(match_clocks(trial, second, PLAIN, spans=((0.0, 20.0), (-8.0, 22.0))), ClockFit)


def test_a_trial_that_stops_telling_contacts_while_it_goes_on_is_refused() -> None:
    """With the lengths of both records known, contacts that only one of them shows at the end are missing there."""
    trial, second = two_recordings(8, step_cv=0.03)
    early = {kind: times[times < 14] for kind, times in trial.items()}
    spans = ((0.0, 20.0), (-13.0, 18.0))
    assert isinstance(match_clocks(early, second, PLAIN, spans=spans), NoClock)
    assert isinstance(match_clocks(early, second, PLAIN, spans=spans, complete=False), ClockFit)


def test_no_simulated_match_is_silently_wrong() -> None:
    """A few of those of the benchmark: lost, doubled and missing parts, files of other runs, and sound ones."""
    found = measure(6)
    assert sum(ends["wrong"] for ends in found.values()) == 0
    assert found["none"]["right"] >= 4


# ---- refusals


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("noise_s", [0.0, 0.001, 0.003])
def test_even_strides_are_refused_as_ambiguous(seed: int, noise_s: float) -> None:
    trial, second = two_recordings(seed, step_cv=0.0, noise_s=noise_s)
    result = match_clocks(trial, second, PLAIN)
    assert isinstance(result, NoClock)
    assert "equally well" in result.reason
    assert result.best is not None


@pytest.mark.parametrize("seed", range(5))
def test_strides_no_less_even_than_the_noise_are_refused(seed: int) -> None:
    trial, second = two_recordings(seed, step_cv=0.004, noise_s=0.006, length_s=8.0)
    assert isinstance(match_clocks(trial, second, PLAIN), NoClock)


def test_two_different_runs_are_refused() -> None:
    trial, _ = two_recordings(1, step_cv=0.03)
    _, second = two_recordings(2, step_cv=0.03)
    assert isinstance(match_clocks(trial, second, PLAIN), NoClock)


def test_too_few_events_are_refused_with_their_number() -> None:
    trial, second = two_recordings()
    few = {k: v[:3] for k, v in trial.items()}
    result = match_clocks(few, second, PLAIN)
    assert isinstance(result, NoClock)
    assert "6 in the trial's file" in result.reason
    assert "8 are needed" in result.reason
    for nothing in ({}, {"left contact": np.empty(0)}, {"left contact": np.array([np.nan] * 20)}):
        assert isinstance(match_clocks(nothing, second, PLAIN), NoClock)
        assert isinstance(match_clocks(trial, nothing, PLAIN), NoClock)


def test_a_residual_above_the_studys_limit_is_refused_with_both_numbers() -> None:
    trial, second = two_recordings(step_cv=0.05, noise_s=0.004)
    strict = replace_settings(residual_limit_s=0.002)
    result = match_clocks(trial, second, strict)
    assert isinstance(result, NoClock)
    assert "the study allows 2 ms" in result.reason
    assert isinstance(match_clocks(trial, second, PLAIN), ClockFit)


def test_offset_and_drift_beyond_the_studys_limits_are_refused() -> None:
    trial, second = two_recordings(offset_s=80.0)
    assert isinstance(match_clocks(trial, second, PLAIN), NoClock)
    assert isinstance(match_clocks(trial, second, replace_settings(largest_offset_s=100)), ClockFit)
    trial, second = two_recordings(drift_ppm=900.0, length_s=60.0)
    assert isinstance(match_clocks(trial, second, PLAIN), NoClock)
    assert isinstance(match_clocks(trial, second, replace_settings(largest_drift_ppm=1000)), ClockFit)


def test_a_chattering_sensor_is_refused_and_does_not_run_for_ever() -> None:
    trial, second = two_recordings()
    noise = np.arange(30_000) * 0.002
    result = match_clocks(trial, second | {"left contact": noise}, PLAIN)
    assert isinstance(result, NoClock)
    assert "too many" in result.reason


def test_the_fit_carries_the_basis_it_was_asked_for() -> None:
    trial, second = two_recordings()
    fit = match_clocks(trial, second, PLAIN, basis="sensor_against_markers")
    assert isinstance(fit, ClockFit)
    assert fit.basis == "sensor_against_markers"
    assert replace(fit, drift_ppm=100.0).scale == pytest.approx(1.0001)


def replace_settings(**changes: float) -> ClockProcessing:
    return ClockProcessing.model_validate(changes)


@pytest.mark.parametrize(("unevenness", "believed"), [(0.02, True), (0.002, False)])
def test_a_match_in_which_a_lost_stride_would_not_show_is_refused(unevenness: float, believed: bool) -> None:
    """Ten contacts told to 3 ms, of strides that differ by 1 ms, fit a stride earlier or later as well."""
    rng = np.random.default_rng(1)
    times = np.cumsum(0.36 * (1 + unevenness * rng.standard_normal(10)))
    true = {"left contact": times[::2], "right contact": times[1::2]}
    told = {kind: at + 0.003 * rng.standard_normal(len(at)) for kind, at in true.items()}
    against = objection(true, told, Line(0.0, 1.0), 0.05, None, complete=True)
    assert (against is None) == believed, against
