"""The planted faults of the markers are what they say: nothing but the fault is changed, and its size is its size."""

from __future__ import annotations

import numpy as np
import pytest

from demo_site_uploads.simulator import faults_markers as faults
from demo_site_uploads.simulator.labs import Recording, lab, record
from demo_site_uploads.simulator.measure import Asked, simulate_trial
from demo_site_uploads.simulator.plan_markers import deliveries
from demo_site_uploads.simulator.trial import SimulatedTrial

STANDING = simulate_trial("standing", "tarn", "FS-16", "cushioned", "week_5", Asked("standing", duration_s=0.2))
RUNNING = simulate_trial("running", "corrie", "FS-13", "cushioned", "week_5", Asked(duration_s=0.78, muscles=False))


@pytest.fixture(scope="module")
def standing() -> Recording:
    return record(STANDING, lab("tarn"))


@pytest.fixture(scope="module")
def running() -> Recording:
    return record(RUNNING, lab("corrie"), muscles=False)


def planted(fault: faults.Fault, recording: Recording, trial: SimulatedTrial) -> Recording:
    before = recording.points.copy()
    changed = fault(recording, trial)
    np.testing.assert_array_equal(recording.points, before)  # the good recording stays as it was
    return changed


def apart(recording: Recording, first: str, second: str) -> float:
    points = recording.points
    return float(
        np.linalg.norm(points[:, recording.marker(first)] - points[:, recording.marker(second)], axis=1).mean()
    )


def touched(changed: Recording, good: Recording) -> set[str]:
    return {label for i, label in enumerate(good.labels) if (changed.points[:, i] != good.points[:, i]).any()}


def test_an_exchange_touches_two_labels(standing: Recording) -> None:
    changed = planted(faults.labels_exchanged_throughout("leftToe2", "rightToe5"), standing, STANDING)
    assert touched(changed, standing) == {"leftToe2", "rightToe5"}


def test_a_marker_stuck_on_again_is_nearer_by_the_asked_length(running: Recording) -> None:
    changed = planted(faults.moved_towards("heel-right", "toe2-right", 20.0), running, RUNNING)
    assert touched(changed, running) == {"heel-right"}
    assert apart(running, "heel-right", "toe2-right") - apart(changed, "heel-right", "toe2-right") == pytest.approx(
        20.0
    )


def test_a_unit_of_metres_is_minded(standing: Recording) -> None:
    changed = planted(faults.moved_towards("rightKnee", "rightAnkle", 60.0), standing, STANDING)
    shorter = apart(standing, "rightKnee", "rightAnkle") - apart(changed, "rightKnee", "rightAnkle")
    assert shorter == pytest.approx(0.060)


@pytest.mark.parametrize("degrees", [10.0, 35.0])
def test_bent_knees_keep_thigh_and_shank_and_bend_by_the_asked_angle(standing: Recording, degrees: float) -> None:
    changed = planted(faults.knees_bent("tarn", degrees), standing, STANDING)
    for side in ("left", "right"):
        hip, knee, ankle = f"{side}Hip", f"{side}Knee", f"{side}Ankle"
        for pair in ((hip, knee), (knee, ankle)):
            assert apart(changed, *pair) == pytest.approx(apart(standing, *pair), abs=1e-9)
        assert bend_deg(changed, hip, knee, ankle) - bend_deg(standing, hip, knee, ankle) == pytest.approx(degrees)
    lower = standing.points - changed.points
    assert lower[:, standing.marker("sacrum"), 2].min() > 0


def bend_deg(recording: Recording, hip: str, knee: str, ankle: str) -> float:
    """Angle between thigh and shank seen from the side (y forward, z up), mean over the trial."""
    places = [recording.points[:, recording.marker(label), 1:] for label in (hip, knee, ankle)]
    thigh, shank = places[0] - places[1], places[1] - places[2]
    lean = [np.arctan2(line[:, 0], line[:, 1]) for line in (shank, thigh)]
    return float(np.degrees(lean[0] - lean[1]).mean())


def test_a_turned_laboratory_keeps_every_length_and_its_handedness(running: Recording) -> None:
    changed = planted(faults.turned_about_the_vertical("corrie", -90.0), running, RUNNING)
    assert apart(changed, "heel-left", "hip-right") == pytest.approx(apart(running, "heel-left", "hip-right"))
    np.testing.assert_allclose(changed.points[..., 2], running.points[..., 2], atol=1e-9)  # heights
    turn, *_ = np.linalg.lstsq(running.points[0], changed.points[0], rcond=None)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    np.testing.assert_allclose(running.corners[0] @ turn, changed.corners[0], atol=1e-6)


def test_an_axis_turned_round_is_a_mirror(standing: Recording) -> None:
    changed = planted(faults.axis_turned_round("tarn", "forward"), standing, STANDING)
    turn, *_ = np.linalg.lstsq(standing.points[0], changed.points[0], rcond=None)
    assert np.linalg.det(turn) == pytest.approx(-1.0)


def test_lowered_plates_leave_markers_and_channels_alone(running: Recording) -> None:
    changed = planted(faults.plates_lowered("corrie", 100.0), running, RUNNING)
    assert touched(changed, running) == set()
    assert changed.analog is running.analog
    for before, after in zip(running.corners, changed.corners, strict=True):
        np.testing.assert_allclose(before - after, np.tile([0, 0, 100.0], (4, 1)))


@pytest.mark.parametrize("factor", [2, 3])
def test_drawn_frames_lie_on_the_line_between_frames_that_were_kept(running: Recording, factor: int) -> None:
    changed = planted(faults.frames_drawn_between(factor), running, RUNNING)
    np.testing.assert_array_equal(changed.points[::factor], running.points[::factor])
    start, end = running.points[0], running.points[factor]
    np.testing.assert_allclose(changed.points[1], start + (end - start) / factor)


def test_repeated_frames_are_copies_that_make_no_marker_jump(running: Recording) -> None:
    changed = planted(faults.frames_repeated(25), running, RUNNING)
    copies = np.flatnonzero((np.diff(changed.points, axis=0) == 0).all(axis=(1, 2)))
    assert 3 <= len(copies) <= len(running.points) / 25
    assert np.linalg.norm(np.diff(changed.points, 2, axis=0), axis=2).max() < 60.0


def test_a_marker_is_hidden_at_contacts_and_nowhere_else(running: Recording) -> None:
    changed = planted(faults.hidden_at_contacts({"left": "heel-left"}, 0.02), running, RUNNING)
    lost = np.flatnonzero(np.isnan(changed.points[:, running.marker("heel-left"), 0])) / running.point_rate_hz
    contacts = [f.contact_s for f in RUNNING.footfalls if f.side == "left"]
    assert len(lost) >= 10
    assert all(min(abs(at - contact) for contact in contacts) < 0.025 for at in lost)


def test_a_marker_comes_and_goes_as_often_as_asked(standing: Recording) -> None:
    changed = planted(faults.comes_and_goes("leftHip", 4, 2, 3), standing, STANDING)
    seen = np.isfinite(changed.points[:, standing.marker("leftHip"), 0])
    assert (~seen).sum() == 16
    assert np.count_nonzero(np.diff(seen.astype(int)) == 1) == 4  # three glimpses and the return


def test_added_noise_has_the_asked_spread(standing: Recording) -> None:
    changed = planted(faults.noise_added(2.0), standing, STANDING)
    assert 1000 * (changed.points - standing.points).std() == pytest.approx(2.0, rel=0.1)


def test_no_trial_of_these_deliveries_is_in_another() -> None:
    from demo_site_uploads.simulator.plan import deliveries as every_delivery

    own = {delivery.arrives_as for delivery in deliveries()}
    ids = [trial.trial_id for delivery in deliveries() for trial in delivery.trials]
    others = {t.trial_id for delivery in every_delivery() if delivery.arrives_as not in own for t in delivery.trials}
    assert len(ids) == len(set(ids))
    assert not others & set(ids)
