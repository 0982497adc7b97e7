"""Checks that hold force against the foot's markers: place, way and time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.science.frames import Rows
from schemas.outcomes_signals import EVENT_AGREEMENT
from schemas.trial import FORWARD, RIGHT, UP
from tests.as_frames import rows_like
from tests.builders import a_trial, mirrored
from tests.checks.force_builders import RUNWAY, noisy, on_plate, pushed_to
from tests.checks.running_checks import Case, of_trial, run, status, with_parts, with_plates
from tests.pipelines.science.test_equipment import moved_by_its_force


def turned_end_for_end(plate):
    """The centre of pressure is mirrored about the middle of the plate, fore and aft."""
    moment = plate.moment.copy()
    twice = 2 * plate.corners[:, FORWARD].mean()
    moment[:, RIGHT] = twice * plate.force[:, UP] - moment[:, RIGHT]
    return replace(plate, moment=moment)


def shifted(right_m: float, forward_m: float = 0.0, trial=None):
    """Runner and load together somewhere else; the plates stay."""
    trial = trial or noisy()
    by = np.array([forward_m, 0.0, right_m])
    moved = with_plates(trial, lambda plate: pushed_to(plate, forward_m, right_m))
    return replace(moved, markers={role: path + by for role, path in trial.markers.items()})


def with_bias(contact_ms: float | None, toe_off_ms: float | None, trial=None, pairs: int = 3):
    """The trial with a table of how far marker events are from events in force."""
    rows = [
        {
            "trial_id": "T1",
            "side": side,
            "event": event,
            "event_method": "markers",
            "reference_method": "force",
            "pair_count": pairs if bias is not None else 0,
            "bias_s": bias / 1000 if bias is not None else None,
        }
        for side in ("left", "right")
        for event, bias in (("contact", contact_ms), ("toe_off", toe_off_ms))
    ]
    return with_parts(of_trial(trial or noisy()), event_agreement=rows_like(EVENT_AGREEMENT, rows))


PLANTED = {
    "centre_of_pressure_lies_under_the_foot": Case(
        lambda: of_trial(on_plate(noisy(), 2, lambda plate: pushed_to(plate, right_m=0.1))), "plate 2"
    ),
    "load_moves_towards_the_toes": Case(lambda: of_trial(on_plate(noisy(), 1, turned_end_for_end)), "plate 1"),
    "whole_foot_is_on_the_plates": Case(lambda: of_trial(shifted(0.24)), "footfall 1 (right)"),
    "force_and_markers_share_one_clock": Case(lambda: with_bias(48, 42), "markers against force"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(noisy())) | {
    "force_and_markers_share_one_clock": lambda: with_bias(-6, 12)
}
KINDS = pytest.mark.parametrize("kind", [{}, RUNWAY], ids=["treadmill", "runway"])


@KINDS
@pytest.mark.parametrize(("off_m", "expected"), [(0.04, "pass"), (-0.04, "pass"), (0.055, "found"), (-0.055, "found")])
def test_the_centre_of_pressure_may_lie_four_centimetres_beside_the_foots_axis(off_m, expected, kind) -> None:
    trial = with_plates(noisy(a_trial(**kind)), lambda plate: pushed_to(plate, right_m=off_m))
    assert status("centre_of_pressure_lies_under_the_foot", of_trial(trial)) == expected


@pytest.mark.parametrize("off_m", [0.3, -0.3])
def test_an_offset_is_drawn_as_long_as_it_is_told_to_be(off_m: float) -> None:
    trial = on_plate(noisy(), 1, lambda plate: pushed_to(plate, forward_m=off_m))
    (finding,) = run("centre_of_pressure_lies_under_the_foot", of_trial(trial)).findings
    assert finding.shows is not None
    (apart,) = finding.shows.panels[0].beyond
    assert f"lies {apart:.2f} m away" in finding.seen
    assert 0.1 < apart < 0.3  # the foot itself is that long


def test_a_centre_of_pressure_in_front_of_the_toe_marker_is_still_under_the_toes() -> None:
    trial = with_plates(noisy(), lambda plate: pushed_to(plate, forward_m=0.04))
    assert status("centre_of_pressure_lies_under_the_foot", of_trial(trial)) == "pass"


def test_sides_mirrored_about_the_plates_middle_are_found_on_a_treadmill() -> None:
    """Left and right feet are 5 cm to either side, so the mirrored point is 10 cm away: under the other foot."""

    def mirror(plate):
        moment = plate.moment.copy()
        moment[:, FORWARD] *= -1  # the plate's middle is at zero
        return replace(plate, moment=moment)

    trial = with_plates(noisy(a_trial()), mirror)
    (finding,) = run("centre_of_pressure_lies_under_the_foot", of_trial(trial)).findings
    assert "0.10 m away" in finding.seen


def test_exchanged_plates_are_found_on_both() -> None:
    trial = noisy()
    one, two = trial.plates
    other = tuple(
        replace(
            plate,
            force=source.force,
            moment=source.moment + np.cross(plate.corners[0] - source.corners[0], source.force),
        )
        for plate, source in ((one, two), (two, one))
    )
    findings = run("centre_of_pressure_lies_under_the_foot", of_trial(replace(trial, plates=other))).findings
    assert [finding.place for finding in findings] == ["plate 1", "plate 2"]


def test_a_point_off_the_plate_is_left_to_the_check_of_the_plate() -> None:
    trial = with_plates(noisy(), lambda plate: pushed_to(plate, right_m=0.6))
    assert status("centre_of_pressure_lies_on_the_plate", of_trial(trial)) == "found"
    assert status("centre_of_pressure_lies_under_the_foot", of_trial(trial)) == "skipped"


@KINDS
def test_a_mirrored_runner_is_as_good(kind: dict) -> None:
    trial = mirrored(noisy(a_trial(**kind)))
    for name in ("centre_of_pressure_lies_under_the_foot", "load_moves_towards_the_toes"):
        assert status(name, of_trial(trial)) == "pass"


def test_hidden_feet_leave_nothing_to_compare() -> None:
    trial = noisy()
    hidden = replace(trial, markers={role: path * np.nan for role, path in trial.markers.items()})
    for name in ("centre_of_pressure_lies_under_the_foot", "load_moves_towards_the_toes"):
        assert status(name, of_trial(hidden)) == "skipped"


def test_a_plate_turned_end_for_end_keeps_its_point_under_the_foot_but_not_its_way() -> None:
    trial = on_plate(noisy(), 1, turned_end_for_end)
    assert status("centre_of_pressure_lies_under_the_foot", of_trial(trial)) == "pass"
    (finding,) = run("load_moves_towards_the_toes", of_trial(trial)).findings
    assert "moves -0.0" in finding.seen


@pytest.mark.parametrize(("share", "expected"), [(0.0, "pass"), (-0.1, "pass"), (-0.5, "found")])
def test_the_load_may_stay_in_place_but_not_move_back(share: float, expected: str) -> None:
    """The test runner's point moves 0.16 m in a contact, so half of that from 30 to 80 %; ``share`` scales the way."""

    def slowed(plate):
        times = np.arange(len(plate.force)) / 1000
        loaded = plate.force[:, UP] > 20
        start, end = times[loaded][[0, -1]]
        back = 0.16 * (share - 1) * ((times - start) / (end - start) - 0.5)
        offset = np.stack([back, np.zeros_like(back), np.zeros_like(back)], axis=1)
        return replace(plate, moment=plate.moment + np.cross(offset, plate.force))

    trial = with_plates(noisy(), slowed)
    assert status("load_moves_towards_the_toes", of_trial(trial)) == expected


@pytest.mark.parametrize(
    ("right_m", "expected"), [(0.20, "pass"), (0.215, "pass"), (0.225, "found"), (-0.225, "found")]
)
def test_the_outer_edge_of_the_foot_may_not_be_beyond_the_plate(right_m: float, expected: str) -> None:
    """The plate ends 0.30 m from the middle and the fifth metatarsal head is 0.09 m from it."""
    assert status("whole_foot_is_on_the_plates", of_trial(shifted(right_m))) == expected


def test_toes_over_the_front_edge_are_found() -> None:
    (finding,) = run("whole_foot_is_on_the_plates", of_trial(shifted(0.0, forward_m=0.42))).findings
    assert "tip of the toes" in finding.seen or "second metatarsal head" in finding.seen
    assert "2 of 2 footfalls" in finding.seen


def test_a_foot_across_the_gap_between_two_plates_is_on_the_plates() -> None:
    trial = shifted(0.0, forward_m=0.42)
    longer = trial.plates[0].corners.copy()
    longer[:2, FORWARD] = trial.plates[1].corners[2:, FORWARD] - 0.005
    joined = replace(trial, plates=(replace(trial.plates[0], corners=longer), trial.plates[1]))
    (finding,) = run("whole_foot_is_on_the_plates", of_trial(joined)).findings
    assert finding.place == "footfall 2 (left)"


def test_a_treadmill_has_no_floor_beside_it() -> None:
    assert status("whole_foot_is_on_the_plates", of_trial(noisy(a_trial()))) == "skipped"


@pytest.mark.parametrize(
    ("contact_ms", "toe_off_ms", "expected"),
    [(28, 28, "pass"), (35, 30, "found"), (-35, -30, "found"), (-40, 40, "pass"), (60, 0, "pass")],
)
def test_a_delay_moves_both_events_the_same_way(contact_ms: float, toe_off_ms: float, expected: str) -> None:
    """The third and fourth are habits of a method: one event early, the other late."""
    assert status("force_and_markers_share_one_clock", with_bias(contact_ms, toe_off_ms)) == expected


def test_the_finding_says_which_comes_first() -> None:
    (late,) = run("force_and_markers_share_one_clock", with_bias(50, 50)).findings
    (early,) = run("force_and_markers_share_one_clock", with_bias(-50, -50)).findings
    assert "50 ms earlier than the markers" in late.seen
    assert "50 ms later than the markers" in early.seen


@pytest.mark.parametrize(("lag_ms", "expected"), [(8, "pass"), (-8, "pass"), (11, "found"), (-20, "found")])
def test_the_pelvis_tells_a_delay_of_little_more_than_a_frame(lag_ms: float, expected: str) -> None:
    trial = moved_by_its_force(lag_ms / 1000)  # 200 frames/s: 5 ms, and 4 ms for the method
    assert status("force_and_markers_share_one_clock", of_trial(trial)) == expected


def test_one_kind_of_event_is_not_enough() -> None:
    assert status("force_and_markers_share_one_clock", with_bias(50, None)) == "skipped"
    without = with_parts(with_bias(50, 50), event_agreement=Rows.of(EVENT_AGREEMENT, []))
    assert status("force_and_markers_share_one_clock", without) == "skipped"
