from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.events.from_sensors import contacts_in, halfway, sensor_contacts, sensor_kind
from schemas.processing_signals import SensorProcessing
from schemas.trial import Signal
from tests.tries import tries

PLAIN = SensorProcessing()
STARTS = 0.3 + 0.7 * np.arange(6)


def a_switch(
    starts: np.ndarray = STARTS,
    contact_s: float = 0.25,
    *,
    rate: float = 1000.0,
    low: float = 0.0,
    high: float = 5.0,
    side: str = "left",
) -> Signal:
    """A footswitch that is ``high`` on the ground and ``low`` in the air."""
    times = np.arange(round((starts[-1] + 0.7) * rate)) / rate
    closed = np.any([(times >= s) & (times < s + contact_s) for s in starts], axis=0)
    return Signal("foot_sensor", None, side, "V", rate, np.where(closed, high, low))


def an_accelerometer(
    starts: np.ndarray = STARTS, contact_s: float = 0.25, *, rate: float = 1000.0, side: str = "left", sign: float = 1.0
) -> Signal:
    """A foot-worn accelerometer: a sharp impact of 80 m/s2 that ends 20 ms after contact, a push-off of 30, gravity."""
    times = np.arange(round((starts[-1] + 0.9) * rate)) / rate
    values = np.full(len(times), 9.8)
    for start in starts:
        since, left = times - start, times - start - contact_s
        values += sign * 80 * np.where((since >= 0) & (since < 0.02), np.sin(np.pi * since / 0.02), 0)
        values += sign * 30 * np.where(np.abs(left) < 0.03, np.cos(np.pi * left / 0.06), 0)
    return Signal("foot_sensor", None, side, "m/s2", rate, values)


# ---- footswitches


@tries(25)
@given(
    st.floats(0.12, 0.33),
    st.floats(-10, 10),
    st.floats(-10, 10).filter(lambda v: abs(v) > 0.1),
    st.sampled_from([148.0, 1000.0, 2000.0]),
)
def test_contacts_are_found_whatever_the_two_levels_are(contact: float, low: float, step: float, rate: float) -> None:
    found = contacts_in(a_switch(contact_s=contact, rate=rate, low=low, high=low + step), PLAIN)
    assert [c.start_s for c in found] == pytest.approx(STARTS.tolist(), abs=1 / rate)
    assert [c.duration_s for c in found] == pytest.approx([contact] * 6, abs=1.001 / rate)


def test_times_are_on_the_clock_of_the_signal() -> None:
    moved = replace(a_switch(), start_s=-2.5)
    assert contacts_in(moved, PLAIN)[0].start_s == pytest.approx(contacts_in(a_switch(), PLAIN)[0].start_s - 2.5)


@tries(15)
@given(st.integers(0, 2**32 - 1), st.floats(0, 0.06))
def test_noise_on_both_levels_moves_no_event(seed: int, noise: float) -> None:
    signal = a_switch()
    noisy = signal.samples + np.random.default_rng(seed).normal(0, noise * 5, len(signal.samples))
    found = contacts_in(replace(signal, samples=noisy), PLAIN)
    assert [c.start_s for c in found] == pytest.approx(STARTS.tolist(), abs=0.002)


def test_a_switch_that_bounces_makes_one_contact_and_a_knock_in_flight_none() -> None:
    signal = a_switch()
    samples = signal.samples.copy()
    for start in STARTS:
        open_at = round((start + 0.01) * 1000)
        samples[open_at : open_at + 15] = 0.0  # opens again for 15 ms
    knock = round((STARTS[2] + 0.45) * 1000)
    samples[knock : knock + 30] = 5.0
    found = contacts_in(replace(signal, samples=samples), PLAIN)
    assert [c.start_s for c in found] == pytest.approx(STARTS.tolist(), abs=0.001)
    assert [c.duration_s for c in found] == pytest.approx([0.25] * 6, abs=0.002)


def test_the_level_held_for_less_of_the_time_is_the_ground_unless_the_study_says_otherwise() -> None:
    upright, turned = a_switch(), a_switch(low=5.0, high=0.0)
    assert [c.start_s for c in contacts_in(turned, PLAIN)] == [c.start_s for c in contacts_in(upright, PLAIN)]
    low = contacts_in(upright, SensorProcessing(switch_closed_level="low"))
    assert [c.start_s for c in low] == pytest.approx([s + 0.25 for s in STARTS[:-1]], abs=0.002)
    assert len(contacts_in(turned, SensorProcessing(switch_closed_level="high"))) == 5


def test_a_contact_cut_by_the_start_or_the_end_is_not_counted() -> None:
    signal = a_switch()
    cut = replace(signal, samples=signal.samples[round(0.4 * 1000) : round(3.9 * 1000)])
    found = contacts_in(cut, PLAIN)
    assert [c.start_s for c in found] == pytest.approx((STARTS[1:5] - 0.4).tolist(), abs=0.001)


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(3000),
        np.full(3000, np.nan),
        np.random.default_rng(1).normal(0, 1, 3000),
        np.sin(np.arange(3000) / 100),
        np.linspace(0, 5, 3000),
        np.empty(0),
        np.array([0.0, 5.0]),
    ],
    ids=["dead", "missing", "noise", "wave", "drift", "empty", "two samples"],
)
def test_a_signal_without_two_levels_shows_no_contact(samples: np.ndarray) -> None:
    assert contacts_in(replace(a_switch(), samples=samples), PLAIN) == []
    assert contacts_in(replace(an_accelerometer(), samples=samples[:1500] * 0), PLAIN) == []


def test_the_threshold_lies_half_way_between_the_levels_whatever_spikes_there_are() -> None:
    samples = a_switch().samples.copy()
    samples[::200] = 90.0
    assert halfway(samples, 6.0) == pytest.approx(2.5)
    assert halfway(np.ones(10), 6.0) is None


def test_samples_that_are_missing_cost_their_contact_and_mark_the_next() -> None:
    signal = a_switch()
    samples = signal.samples.copy()
    samples[round(STARTS[2] * 1000) - 50 : round(STARTS[2] * 1000) + 300] = np.nan
    found = contacts_in(replace(signal, samples=samples), PLAIN)
    assert [c.start_s for c in found] == pytest.approx(np.delete(STARTS, 2).tolist(), abs=0.001)
    assert [c.after_gap for c in found] == [False, False, True, False, False]


# ---- accelerometers


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("rate", [200.0, 1000.0])
def test_contact_is_on_the_rise_to_the_impact_and_push_off_at_the_later_peak(sign: float, rate: float) -> None:
    found = contacts_in(an_accelerometer(sign=sign, rate=rate), PLAIN)
    # the sine rises through a fifth of its height after 20 ms x asin(0.2) / pi = 1.3 ms
    assert [c.start_s for c in found] == pytest.approx((STARTS + 0.0013).tolist(), abs=0.5 / rate + 0.001)
    assert [c.end_s for c in found] == pytest.approx((STARTS + 0.25).tolist(), abs=0.5 / rate + 0.001)


def test_one_hard_knock_does_not_hide_the_other_impacts() -> None:
    signal = an_accelerometer()
    samples = signal.samples.copy()
    samples[round((STARTS[3] + 0.005) * 1000)] += 900.0
    found = contacts_in(replace(signal, samples=samples), PLAIN)
    assert len(found) >= 5
    assert {round(c.start_s, 2) for c in found} >= {round(float(s), 2) for s in np.delete(STARTS, 3)}


def test_an_impact_without_a_push_off_is_not_counted() -> None:
    signal = an_accelerometer()
    samples = signal.samples.copy()
    off = round((STARTS[1] + 0.25) * 1000)
    samples[off - 40 : off + 40] = 9.8
    found = contacts_in(replace(signal, samples=samples), PLAIN)
    assert [c.start_s for c in found] == pytest.approx((np.delete(STARTS, 1) + 0.0013).tolist(), abs=0.002)


# ---- which sensor speaks


def test_the_unit_tells_a_switch_from_an_accelerometer() -> None:
    assert [sensor_kind(replace(a_switch(), unit=u)) for u in ("V", "mV", "1", "m/s2", "[g]")] == [
        "switch",
        "switch",
        "switch",
        "accelerometer",
        "accelerometer",
    ]


def test_both_feet_are_merged_in_order_of_time_and_other_signals_ignored() -> None:
    right = a_switch(STARTS[:-1] + 0.35, side="right")
    muscle = replace(a_switch(), role="muscle", muscle="soleus")
    nobody = replace(a_switch(), side=None)
    found = sensor_contacts([muscle, nobody, right, a_switch()], PLAIN)
    assert [side for side, _ in found] == ["left", "right"] * 5 + ["left"]
    assert sensor_contacts([muscle, nobody], PLAIN) == []


def test_a_footswitch_speaks_before_an_accelerometer_of_the_same_foot_unless_it_is_dead() -> None:
    switch, other = a_switch(STARTS + 0.01), an_accelerometer()
    assert sensor_contacts([other, switch], PLAIN)[0][1].start_s == pytest.approx(0.31, abs=0.001)
    dead = replace(switch, samples=switch.samples * 0)
    assert sensor_contacts([dead, other], PLAIN)[0][1].start_s == pytest.approx(0.3013, abs=0.001)
