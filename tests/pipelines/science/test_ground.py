"""Which plates carry a contact, and what is taken off a plate that does not read zero."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.equipment.plates import plate_readings, without_levels
from pipelines.science.events.ground import Ground
from pipelines.science.workspace import Workspace
from schemas.processing import Processing
from schemas.trial import FloatArray, Trial
from tests.builders import a_plate, a_trial

PLAIN = Processing()
SMOOTH = Processing(event_cutoff_hz=50, force_cutoff_hz=50)
STILL = np.zeros((600, 3))


def step(first: int, stop: int, newtons: float) -> FloatArray:
    force = STILL.copy()
    force[first:stop, 1] = newtons
    return force


def plates_of(*forces: FloatArray) -> Ground:
    plates = [a_plate(i, force, np.zeros_like(force), (0.9 * i, 0)) for i, force in enumerate(forces)]
    return Ground(plates, 1000.0, PLAIN)


def test_a_contact_is_carried_by_the_plates_that_are_pushed_while_it_lasts() -> None:
    ground = plates_of(step(100, 300, 800.0), STILL, step(250, 350, 300.0), step(450, 550, 900.0))
    first, second = ground.contacts
    assert (first.first, first.last, second.first, second.last) == (100, 349, 450, 549)
    assert ground.loaded(first.start_s) == (0, 2)
    assert ground.loaded(second.end_s) == (3,)


def test_what_plates_nobody_stands_on_read_is_not_added_up() -> None:
    idle = [step(0, 600, 19.0) for _ in range(6)]
    ground = plates_of(step(100, 300, 800.0), *idle)
    (only,) = ground.contacts
    assert (only.first, only.last) == (100, 299)
    assert ground.raw[:, 1] == pytest.approx(step(100, 300, 800.0)[:, 1])


def test_a_push_that_stays_below_the_sure_force_is_no_contact() -> None:
    assert plates_of(step(100, 300, 49.0)).contacts == ()
    assert len(plates_of(step(100, 300, 51.0)).contacts) == 1


def test_a_step_may_be_missed_where_the_force_of_another_plate_is_unknown() -> None:
    lost = STILL.copy()
    lost[350:360] = np.nan
    contacts = plates_of(step(100, 250, 800.0) + step(450, 560, 800.0), lost).contacts
    assert [one.after_gap for one in contacts] == [False, True]


def moved(trial: Trial, number: int, force: FloatArray, moment: FloatArray) -> Trial:
    """One plate with a level in each channel; the moment is about its own middle."""
    plates = [
        replace(p, force=p.force + force, moment=p.moment + moment + np.cross(p.corners.mean(axis=0), force))
        if p.number == number
        else p
        for p in trial.plates
    ]
    return replace(trial, plates=tuple(plates))


_LEVEL = st.floats(-14, 14)


@given(st.tuples(_LEVEL, _LEVEL, _LEVEL), st.tuples(_LEVEL, _LEVEL, _LEVEL))
def test_a_small_level_of_any_channel_changes_no_outcome(force: tuple, share: tuple) -> None:
    trial = a_trial(footfalls=4)
    reach = 0.5408  # m from the middle of the plate to its corner
    level, moment = np.array(force), np.array(share) * reach
    found = Workspace(moved(trial, 1, level, moment), SMOOTH)
    plain = Workspace(trial, SMOOTH)
    (reading,) = found.plate_readings
    assert reading.force_n == pytest.approx(level, abs=1e-6)
    assert reading.moment_nm == pytest.approx(moment, abs=1e-6)
    for name in ("contact_time_s", "braking_impulse_bw_s", "strike_index_percent", "active_peak_bw"):
        assert found.footfalls.numbers(name) == pytest.approx(plain.footfalls.numbers(name), abs=1e-5), name


def test_a_large_level_stays_where_it_is() -> None:
    trial = moved(a_trial(footfalls=4), 1, np.array([0.0, 16.0, 0.0]), np.zeros(3))
    (reading,) = plate_readings(trial)
    assert reading.largest_n == pytest.approx(16.0)
    assert without_levels(trial, [reading], 15.0) is trial


def test_two_idle_plates_with_ten_newtons_each_cost_no_footfall() -> None:
    trial = a_trial(surface="runway", footfalls=5)
    lifted = moved(moved(trial, 1, np.array([0, 10.0, 0]), np.zeros(3)), 4, np.array([0, 10.0, 0]), np.zeros(3))
    found, plain = (Workspace(one, SMOOTH).footfalls.numbers("contact_time_s") for one in (lifted, trial))
    assert found == pytest.approx(plain, abs=1e-5)


def test_a_level_that_wanders_is_told_by_the_first_and_the_last_flights() -> None:
    trial = a_trial(footfalls=8)
    (plate,) = trial.plates
    rising = np.zeros_like(plate.force)
    rising[:, 1] = np.linspace(0, 9, len(rising))
    (reading,) = plate_readings(replace(trial, plates=(replace(plate, force=plate.force + rising),)))
    assert 0 < reading.start_n < 2.5
    assert 6.5 < reading.end_n < 9
    assert reading.drift_n == pytest.approx(6, abs=1.5)


def test_a_dead_band_is_the_smallest_force_that_is_left() -> None:
    rng = np.random.default_rng(1)
    trial = a_trial(footfalls=8)
    (plate,) = trial.plates
    noisy = plate.force + rng.normal(0, 4, plate.force.shape)
    cut = np.where(np.abs(noisy[:, [1]]) < 15, 0.0, noisy)
    (whole,) = plate_readings(replace(trial, plates=(replace(plate, force=noisy),)))
    (dead,) = plate_readings(replace(trial, plates=(replace(plate, force=cut),)))
    assert whole.dead_band_n is None
    assert whole.noise_n == pytest.approx([4, 4, 4], rel=0.1)
    assert dead.dead_band_n == pytest.approx(np.abs(cut[cut[:, 1] != 0, 1]).min())
    assert 15 <= (dead.dead_band_n or 0) < 16
