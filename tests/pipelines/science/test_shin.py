"""Peak tibial acceleration of made pulses: worn either way up, in g or m/s2, on its own clock."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.science.equipment.uncertainty import first_footfalls
from pipelines.science.footfalls import roles_of_footfalls
from pipelines.science.workspace import Workspace
from schemas.mechanics import STANDARD_GRAVITY
from schemas.processing import Processing
from schemas.trial import Signal, Trial
from tests.builders import a_trial

#: contacts of the built trial: every 0.35 s from 0.1 s on, right first
CONTACTS = 0.1 + 0.35 * np.arange(8)


def shin(side: str, *, height: float = 6.0, scale: float = 1.0, start_s: float = -0.4, unit: str = "[g]") -> Signal:
    """Pulses of 40 ms width around 25 ms after each contact of the side, on what gravity makes it read."""
    times = start_s + np.arange(4000) / 1000
    own = CONTACTS[(0 if side == "right" else 1) :: 2]
    pulses = sum(
        np.where(abs(times - t - 0.025) < 0.02, np.cos(np.pi * (times - t - 0.025) / 0.04) ** 2, 0) for t in own
    )
    return Signal("tibial_accelerometer", None, side, unit, 1000.0, scale * (1.0 + height * pulses), start_s, side)


def peaks(trial: Trial, **settings: float) -> np.ndarray:
    return Workspace(trial, Processing.model_validate({"sensors": settings})).footfalls.numbers(COLUMN)


COLUMN = "tibial_acceleration_peak_in_g"


@pytest.mark.parametrize(("unit", "scale"), [("[g]", 1.0), ("[g]", -1.0), ("m/s2", STANDARD_GRAVITY)])
def test_the_peak_over_what_gravity_reads_is_the_pulses_whichever_way_up_and_in_whatever_unit(
    unit: str, scale: float
) -> None:
    trial = replace(a_trial(), signals=(shin("right", unit=unit, scale=scale),))
    found = peaks(trial, tibial_cutoff_hz=200)
    right = found[::2]
    # over the 4 s of the signal the pulses themselves have a mean of 4 x 6 x 0.02 / 4 g
    assert right == pytest.approx([6.0 - 0.12] * 4, abs=0.03)
    assert np.isnan(found[1::2]).all()
    assert peaks(trial, tibial_cutoff_hz=20)[::2].max() < 5.0


def test_a_slow_or_broken_signal_or_one_of_another_unit_gives_nothing() -> None:
    good = shin("left")
    assert np.isfinite(peaks(replace(a_trial(), signals=(good,)))[1::2]).all()
    assert np.isnan(peaks(replace(a_trial(), signals=(good,)), tibial_cutoff_hz=500)).all()
    assert np.isnan(peaks(replace(a_trial(), signals=(replace(good, unit="V"),)))).all()
    gap = good.samples.copy()
    gap[400 + 470 : 400 + 480] = np.nan  # in the left foot's first contact, 0.45 s
    assert (
        np.isnan(peaks(replace(a_trial(), signals=(replace(good, samples=gap),)))[1::2]).tolist()
        == [True] + [False] * 3
    )


def test_a_recording_cut_to_its_first_footfalls_keeps_the_signal_on_its_clock() -> None:
    trial = replace(a_trial(start_s=1.1), signals=(replace(shin("right"), start_s=0.6),))
    work = Workspace(trial, Processing())
    part = first_footfalls(work.corrected, work.footfalls, roles_of_footfalls(work.processing))
    assert part.duration_s < trial.duration_s or len(part.plates[0].force) < len(trial.plates[0].force)
    cut = Workspace(part, Processing()).footfalls.numbers(COLUMN)
    assert cut == pytest.approx(work.footfalls.numbers(COLUMN)[: len(cut)], rel=1e-6, nan_ok=True)
    assert np.isfinite(cut).sum() >= 3
