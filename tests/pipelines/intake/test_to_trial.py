"""From a recording in a lab's axes, units and labels to a Trial in the study's."""

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.gaps import fill_gaps, gap_lengths
from pipelines.intake.to_trial import TrialRow, posture_of, to_trial, turn_of
from schemas.processing import Processing
from schemas.study import Axes, SiteProfile
from tests.pipelines.intake.c3d_bytes import c3d_bytes

ROW = TrialRow("T1", "bench", "running", "shod", "runway", mass_kg=70.0, raw_sha256="ab", file="trials/T1.c3d")
FRAMES = 40


def profile_of(markers, **changes):
    settings = {
        "site": "bench",
        "surface": "runway",
        "axes": {"forward": "+x", "up": "+y", "right": "+z"},
        "marker_rate_hz": 100,
        "markers": markers,
    }
    return SiteProfile.model_validate(settings | changes)


@pytest.fixture
def recording_of(tmp_path):
    def make(points, labels=("HEEL", "TOE"), unit="m", residuals=None, analog=None, extra=None):
        path = tmp_path / "t.c3d"
        analog = np.zeros((len(points), 0)) if analog is None else analog
        settings = {"POINT": {"LABELS": list(labels), "UNITS": [unit]}} | (extra or {})
        path.write_bytes(c3d_bytes(points, analog, samples_per_frame=1, residuals=residuals, extra=settings))
        return read_c3d(path)

    return make


def two_markers(forward=1.0):
    points = np.zeros((FRAMES, 2, 3))
    points[:, 0] = np.column_stack([forward * np.arange(FRAMES), np.full(FRAMES, 2), np.full(FRAMES, 3)])
    points[:, 1] = points[:, 0] + [0.5, 0, 0]
    return points


RIGHT_HANDED = []
for order in permutations("xyz"):
    for signs in product("+-", repeat=3):
        names = [s + a for s, a in zip(signs, order, strict=True)]
        try:
            RIGHT_HANDED.append(Axes(forward=names[0], up=names[1], right=names[2]))
        except ValueError:
            continue


@pytest.mark.parametrize("axes", RIGHT_HANDED, ids=lambda a: a.forward + a.up + a.right)
def test_every_right_handed_lab_turns_into_the_study_without_mirroring(axes):
    turn = turn_of(axes)
    np.testing.assert_allclose(turn @ turn.T, np.eye(3))
    assert np.linalg.det(turn) == pytest.approx(1)


def test_all_24_right_handed_labs_were_tried():
    assert len(RIGHT_HANDED) == 24


def test_a_z_up_lab_in_millimetres(recording_of):
    recording = recording_of(two_markers() * 1000, unit="mm")
    profile = profile_of({"calcaneus_left": "HEEL"}, axes={"forward": "+y", "up": "+z", "right": "+x"})
    trial = to_trial(recording, profile, Processing(), ROW)
    np.testing.assert_allclose(trial.markers["calcaneus_left"][5], [2, 3, 5])
    assert trial.facts.point_unit == "mm"
    assert (trial.trial_id, trial.mass_kg, trial.raw_sha256) == ("T1", 70.0, "ab")


def test_a_unit_that_is_not_known_is_told_and_leaves_the_numbers(recording_of):
    trial = to_trial(recording_of(two_markers(), unit="furlong"), profile_of({"a_left": "HEEL"}), Processing(), ROW)
    assert any("'furlong'" in oddity for oddity in trial.facts.oddities)
    np.testing.assert_allclose(trial.markers["a_left"][5], [5, 2, 3])


@pytest.mark.parametrize("label", ["HEEL", "heel", "Heel ", "runner7:HEEL", "runner7:heel"])
def test_labels_match_in_the_ways_files_write_them(recording_of, label):
    trial = to_trial(recording_of(two_markers(), labels=(label, "TOE")), profile_of({"c": "HEEL"}), Processing(), ROW)
    assert list(trial.markers) == ["c"]
    assert trial.missing_labels == {}


def test_a_label_of_two_subjects_belongs_to_neither(recording_of):
    recording = recording_of(two_markers(), labels=("one:HEEL", "two:HEEL"))
    trial = to_trial(recording, profile_of({"c": "HEEL"}), Processing(), ROW)
    assert trial.missing_labels == {"c": "HEEL"}
    assert trial.markers == {}


def test_an_exact_label_comes_before_a_similar_one(recording_of):
    recording = recording_of(two_markers(), labels=("heel", "HEEL"))
    trial = to_trial(recording, profile_of({"c": "HEEL"}), Processing(), ROW)
    assert trial.markers["c"][0, 0] == pytest.approx(0.5)


def test_a_short_gap_is_filled_and_marked_and_a_long_one_and_the_ends_are_not(recording_of):
    residuals = np.zeros((FRAMES, 2), int)
    residuals[[0, 1], 0] = -1  # start
    residuals[10:13, 0] = -1  # 0.03 s
    residuals[20:31, 0] = -1  # 0.11 s
    recording = recording_of(two_markers(), residuals=residuals)
    trial = to_trial(recording, profile_of({"c": "HEEL"}), Processing(longest_gap_s=0.10), ROW)
    path, filled = trial.markers["c"], trial.filled["c"]
    assert np.flatnonzero(filled).tolist() == [10, 11, 12]
    np.testing.assert_allclose(path[10:13], [[10, 2, 3], [11, 2, 3], [12, 2, 3]], atol=1e-6)
    assert np.flatnonzero(np.isnan(path[:, 0])).tolist() == [0, 1, *range(20, 31)]


@given(st.lists(st.booleans(), min_size=1, max_size=40), st.integers(0, 6))
def test_filling_never_changes_what_was_seen_nor_leaves_the_range_around_a_gap(missing, longest):
    path = np.column_stack([np.sin(np.arange(len(missing))) * k for k in (1, 2, 3)])
    holed = np.where(np.array(missing)[:, None], np.nan, path)
    filled, marked = fill_gaps(holed, longest)
    seen = ~np.array(missing)
    np.testing.assert_array_equal(filled[seen], path[seen])
    assert not marked[seen].any()
    assert (gap_lengths(~seen)[marked] <= longest).all()
    for i in np.flatnonzero(marked):
        before = np.flatnonzero(seen[:i])[-1]
        after = i + np.flatnonzero(seen[i:])[0]
        low, high = np.sort(path[[before, after]], axis=0)
        assert ((filled[i] >= low - 1e-9) & (filled[i] <= high + 1e-9)).all()


@pytest.mark.parametrize("both_ways", [True, False])
def test_a_runner_from_the_other_side_is_turned_where_the_profile_says_so(recording_of, both_ways):
    corners = [0.4, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -0.6, 0.4, 0.0, -0.6]
    plate = {
        "USED": 1,
        "TYPE": 2,
        "CORNERS": (corners, (3, 4, 1)),
        "ORIGIN": ([0.0, 0.0, 0.0], (3, 1)),
        "CHANNEL": ([1, 2, 3, 4, 5, 6], (6, 1)),
    }
    analog = np.tile([10.0, 20.0, -700.0, 0, 0, 0], (FRAMES, 1))
    recording = recording_of(two_markers(-1.0), analog=analog, extra={"FORCE_PLATFORM": plate})
    trial = to_trial(recording, profile_of({"c": "HEEL", "t": "TOE"}, runs_both_ways=both_ways), Processing(), ROW)
    sign = -1 if both_ways else 1
    assert trial.turned is both_ways
    np.testing.assert_allclose(trial.markers["c"][3], [sign * -3, 2, sign * 3])
    np.testing.assert_allclose(trial.plates[0].force[0], [sign * 10, 700, sign * 20], rtol=1e-5)
    np.testing.assert_allclose(trial.plates[0].corners[:, 0].max(), 0.0 if both_ways else 0.4, atol=1e-6)
    # the wrench still acts at the middle of the plate
    plate_ = trial.plates[0]
    np.testing.assert_allclose(plate_.moment[0], np.cross(plate_.corners.mean(axis=0), plate_.force[0]), atol=1e-4)


def test_a_standing_runner_who_faces_backwards_is_turned_by_the_feet(recording_of):
    points = np.ones((FRAMES, 2, 3))
    points[:, 1, 0] = -0.2
    markers = {"calcaneus_left": "HEEL", "second_metatarsal_head_left": "TOE"}
    row = TrialRow("S", "bench", "standing", "shod", "runway")
    trial = to_trial(recording_of(points), profile_of(markers, runs_both_ways=True), Processing(), row)
    assert trial.turned
    assert posture_of(trial).markers["second_metatarsal_head_left"][0] == pytest.approx(0.2)


def test_channels_of_no_plate_are_kept_with_their_unit(recording_of):
    analog = np.arange(FRAMES * 2).reshape(FRAMES, 2)
    extra = {"ANALOG": {"LABELS": ["soleus", "sync"], "UNITS": ["V", "V"]}}
    recording = recording_of(two_markers(), analog=analog, extra=extra)
    trial = to_trial(recording, profile_of({"c": "HEEL"}), Processing(), ROW)
    assert [(c.label, c.unit, c.rate_hz) for c in trial.channels] == [("soleus", "V", 100), ("sync", "V", 100)]
    np.testing.assert_array_equal(trial.channels[1].samples, analog[:, 1])


def test_the_posture_is_the_mean_of_what_was_seen(recording_of):
    residuals = np.zeros((FRAMES, 2), int)
    residuals[:20, 0] = -1
    residuals[:, 1] = -1
    trial = to_trial(
        recording_of(two_markers(), residuals=residuals),
        profile_of({"c": "HEEL", "t": "TOE"}),
        Processing(),
        ROW,
    )
    posture = posture_of(trial)
    assert list(posture.markers) == ["c"]
    np.testing.assert_allclose(posture.markers["c"], [29.5, 2, 3])
