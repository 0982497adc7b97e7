"""Our reader against ezc3d on a recording of 30 s. The figures themselves: ``python -m benchmarks``."""

import ezc3d
import numpy as np
import pytest

from benchmarks.reading import GOAL, thirty_seconds, times_faster
from pipelines.intake.c3d.reading import read_c3d


@pytest.mark.parametrize("storage", ["float", "int"])
def test_a_trial_of_thirty_seconds_reads_as_ezc3d_reads_it_and_many_times_faster(tmp_path, storage):
    path = thirty_seconds(tmp_path, storage)
    ours, theirs = read_c3d(path), ezc3d.c3d(str(path))["data"]
    assert ours.layout.storage == storage
    assert ours.points.shape == (6000, 40, 3)
    assert ours.analog.shape == (30_000, 24)
    assert ours.valid.all()
    np.testing.assert_array_equal(ours.points, theirs["points"][:3].transpose(2, 1, 0))
    np.testing.assert_array_equal(ours.analog, theirs["analogs"][0].T)
    assert np.ptp(ours.analog, axis=0).min() > 100  # random numbers over a wide range, not a file of zeros
    del theirs
    assert times_faster(path, rounds=5) >= GOAL
