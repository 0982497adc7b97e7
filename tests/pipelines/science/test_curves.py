from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.curves import Series, ensemble
from pipelines.science.frames import computed_fields
from pipelines.science.workspace import Workspace
from schemas.convert.to_arrow import to_arrow_table
from schemas.model import Table
from schemas.outcomes_signals import CURVES
from schemas.processing import Processing
from tests.as_frames import compute_curves, compute_footfalls, joint_series
from tests.builders import a_posture, a_trial, hummed
from tests.pipelines.science.joint_builders import footfalls_of

PLAIN = Processing()
TIME = np.arange(1000) / 1000.0


def test_mean_and_spread_of_two_known_windows() -> None:
    # a ramp seen from 0.1 to 0.2 s and from 0.3 to 0.5 s: at half way 0.15 and 0.40, mean 0.275, sd 0.25 / sqrt 2
    mean, sd, count = ensemble(TIME, TIME, np.array([[0.1, 0.2], [0.3, 0.5]]))
    assert count == 2
    assert mean[[0, 50, 100]] == pytest.approx([0.2, 0.275, 0.35])
    assert sd[50] == pytest.approx(0.25 / np.sqrt(2))


@given(st.floats(0.011, 0.4), st.floats(0.01, 0.5), st.integers(2, 9))
def test_contacts_of_any_length_with_the_same_shape_have_no_spread(start: float, length: float, count: int) -> None:
    lengths = length * (1 + 0.1 * np.arange(count)) / 2
    starts = start + np.concatenate([[0], np.cumsum(lengths[:-1] + 0.05)])
    time = np.arange(0, 5, 0.0005)
    phase = np.clip([(time - s) / d for s, d in zip(starts, lengths, strict=True)], 0, 1)
    values = np.sin(np.pi * phase).sum(axis=0)
    mean, sd, found = ensemble(time, values, np.stack([starts, starts + lengths], axis=1))
    assert found == count
    # linear interpolation of a half sine of duration d misses (pi h / d)^2 / 8 at most; at its ends the kink, pi h / d
    assert mean == pytest.approx(np.sin(np.pi * np.linspace(0, 1, 101)), abs=np.pi * 0.0005 / lengths[0])
    assert sd.max() < np.pi * 0.0005 / lengths[0]


@pytest.mark.parametrize(
    ("window", "why"),
    [
        ([0.8, 1.2], "it ends after the record"),
        ([-0.1, 0.2], "it starts before the record"),
        ([0.45, 0.55], "a sample in it is missing"),
        ([0.4, 0.4995], "the sample next to its end is missing"),
        ([np.nan, 0.3], "its start is not known"),
        ([0.3, 0.3], "it has no length"),
        ([0.3, 0.2], "it runs backwards"),
    ],
)
def test_a_window_that_is_not_whole_is_left_out_of_every_point(window: list, why: str) -> None:
    values = TIME.copy()
    values[500] = np.nan
    mean, sd, count = ensemble(TIME, values, np.array([[0.1, 0.2], window]))
    assert count == 1, why
    assert mean == pytest.approx(np.linspace(0.1, 0.2, 101))
    assert np.isnan(sd).all()


def test_no_window_at_all_is_no_curve() -> None:
    for windows in (np.empty((0, 2)), np.array([[0.9, 2.0]])):
        mean, sd, count = ensemble(TIME, TIME, windows)
        assert count == 0
        assert np.isnan(mean).all()
        assert np.isnan(sd).all()
    assert ensemble(np.empty(0), np.empty(0), np.array([[0.0, 1.0]]))[2] == 0


def test_a_window_that_ends_on_the_last_sample_counts() -> None:
    assert ensemble(TIME, TIME, np.array([[0.9, 0.999]]))[2] == 1


def curves_of(trial, envelopes=(), posture=None, processing: Processing = PLAIN) -> pd.DataFrame:
    footfalls = compute_footfalls(trial, processing, None)
    return compute_curves(trial, footfalls, joint_series(trial, posture, processing), envelopes, processing)


def test_the_mean_force_curve_is_the_half_sine_the_trial_was_made_of() -> None:
    trial = a_trial()
    rows = curves_of(trial)
    footfalls = compute_footfalls(trial, PLAIN, None)
    # the builder: peak = pi/2 x weight x step / contact, and the impulse of each contact carries one step
    for side in ("left", "right"):
        own = rows[rows["side"] == side].sort_values("point_number")
        assert set(own["quantity"]) == {"vertical_force_bw"}
        assert own["point_number"].tolist() == list(range(101))
        assert set(own["footfall_count"]) == {int((footfalls["side"] == side).sum())}
        peak = footfalls.loc[footfalls["side"] == side, "active_peak_bw"].mean()
        assert own["mean_value"].max() == pytest.approx(peak, rel=1e-3)
        assert own["mean_value"].iloc[50] == own["mean_value"].max()
        assert own["sd_value"].max() < 0.02


def test_the_mean_force_curve_is_of_filtered_force() -> None:
    """The half-sine in closed form, under a hum of 20 % that has the same phase in every contact and cannot average out."""
    processing = Processing(force_cutoff_hz=50, event_cutoff_hz=50)
    rows = Workspace(hummed(a_trial(), 0.2), processing).curves.frame()
    inside = slice(20, 81)
    for side in ("left", "right"):
        force = rows[(rows["side"] == side) & (rows["quantity"] == "vertical_force_bw")]
        own = force.sort_values("point_number")["mean_value"].to_numpy()
        half_sine = np.pi / 2 * 0.35 / 0.25 * np.sin(np.pi * np.arange(101) / 100)
        assert own[inside] == pytest.approx(half_sine[inside], rel=0.015)


def test_angles_are_curves_only_with_a_standing_trial_and_say_what_they_are_counted_from() -> None:
    trial = a_trial()
    assert set(curves_of(trial)["quantity"]) == {"vertical_force_bw"}
    rows = curves_of(trial, posture=a_posture())
    assert set(rows["quantity"]) == {
        "vertical_force_bw",
        "ankle_sagittal_angle_deg",
        "knee_sagittal_angle_deg",
        "hip_sagittal_angle_to_vertical_deg",  # the sacrum alone does not tell how the pelvis is tilted
    }
    assert set(rows["curve_span"]) == {"contact"}
    ankle = rows[rows["quantity"] == "ankle_sagittal_angle_deg"].set_index(["side", "point_number"])
    assert ankle.loc[("right", 0), "mean_value"] == pytest.approx(11.95, abs=0.6)  # by hand, see test_joints
    assert ankle.loc[("right", 50), "mean_value"] == pytest.approx(0.0, abs=0.5)


def test_without_mass_or_plates_there_is_no_force_curve() -> None:
    trial = a_trial()
    footfalls = compute_footfalls(trial, PLAIN, None)
    for change in ({"mass_kg": None}, {"plates": ()}, {"analog_rate_hz": None}):
        assert compute_curves(replace(trial, **change), footfalls, (), (), PLAIN).empty


def test_an_envelope_over_the_stride_takes_the_strides_that_are_known() -> None:
    time = np.arange(3000) / 1000
    ramp = Series("soleus_envelope_uv", "uV", "left", "stride", time, time)
    footfalls = footfalls_of(("left", 0.5, 0.7), ("right", 0.9, 1.1), ("left", 1.2, 1.4), stride_s=0.7)
    footfalls.loc[2, "stride_time_s"] = np.nan
    rows = compute_curves(replace(a_trial(), plates=()), footfalls, (), [ramp], PLAIN)
    assert len(rows) == 101
    assert set(rows["side"]) == {"left"}
    assert set(rows["curve_span"]) == {"stride"}
    assert set(rows["footfall_count"]) == {1}
    assert rows["mean_value"].to_numpy() == pytest.approx(np.linspace(0.5, 1.2, 101))
    assert rows["sd_value"].isna().all()


def test_rows_fit_the_table_and_no_footfalls_give_an_empty_one() -> None:
    own = Table("curves", CURVES.layer, "a row", CURVES.key, computed_fields(CURVES))
    trial = a_trial()
    rows = curves_of(trial, posture=a_posture())
    empty = compute_curves(trial, compute_footfalls(trial, PLAIN, None).iloc[:0], (), (), PLAIN)
    for frame in (rows, empty):
        assert tuple(frame.columns) == own.column_names
        assert to_arrow_table(own, frame).num_rows == len(frame)
    assert not rows.duplicated(list(CURVES.key)).any()
    assert empty.empty
