"""Checks of the direction and size of horizontal force and of the free moment."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import FORWARD, RIGHT, UP
from tests.builders import a_trial
from tests.checks.force_builders import RUNWAY, noisy, on_plate, with_components
from tests.checks.running_checks import Case, lifted, of_trial, run, shown_in, status, with_plates


def scaled(component: int, factor: float, plate: int = 1, trial=None):
    factors = np.ones(3)
    factors[component] = factor
    return on_plate(trial or noisy(), plate, with_components(lambda force: force * factors))


def exchanged(plate: int = 1):
    return on_plate(noisy(), plate, with_components(lambda force: force[:, [RIGHT, UP, FORWARD]]))


def twisted(newton_metres: float, plate: int = 1):
    """A free moment under load, added to the plate's own."""

    def twist(one):
        moment = one.moment.copy()
        moment[:, UP] += newton_metres * (one.force[:, UP] > 100)
        return replace(one, moment=moment)

    return on_plate(noisy(), plate, twist)


PLANTED = {
    "foot_brakes_before_it_pushes": Case(lambda: of_trial(scaled(FORWARD, -1)), "plate 1"),
    "sideways_force_is_the_smallest": Case(lambda: of_trial(exchanged()), "plate 1"),
    "ground_pushes_nearly_straight_up": Case(lambda: of_trial(scaled(FORWARD, 5)), "plate 1"),
    "free_moment_is_credible": Case(lambda: of_trial(twisted(60.0)), "plate 1"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(noisy()))


def test_only_the_turned_plate_is_named_with_both_halves() -> None:
    (finding,) = run("foot_brakes_before_it_pushes", of_trial(scaled(FORWARD, -1, plate=2))).findings
    assert finding.place == "plate 2"
    assert "fore-aft, plate 2" in shown_in(finding)


@pytest.mark.parametrize("newtons", [-80.0, 80.0])
def test_an_offset_or_a_slope_does_not_look_like_a_turned_sign(newtons: float) -> None:
    def sloped(force):
        force[:, FORWARD] += np.where(force[:, UP] > 20, newtons, 0.0)
        return force

    trial = with_plates(noisy(), with_components(sloped))
    assert status("foot_brakes_before_it_pushes", of_trial(trial)) == "pass"


@pytest.mark.parametrize(("factor", "expected"), [(0.0, "pass"), (-0.1, "pass"), (-0.5, "found")])
def test_a_fore_aft_force_of_almost_nothing_has_no_direction(factor: float, expected: str) -> None:
    assert status("foot_brakes_before_it_pushes", of_trial(scaled(FORWARD, factor))) == expected


def test_a_turned_vertical_sign_is_left_to_its_own_check() -> None:
    trial = with_plates(noisy(), lambda plate: replace(plate, force=-plate.force, moment=-plate.moment))
    assert status("vertical_force_points_up", of_trial(trial)) == "found"
    for name in PLANTED:
        assert status(name, of_trial(trial)) == "skipped"


def test_contacts_cut_off_by_the_ends_of_the_record_do_not_count() -> None:
    """Half a contact only pushes or only brakes."""
    trial = a_trial(**RUNWAY)
    plate = trial.plates[0]
    middle = int(np.argmax(plate.force[:, UP]))
    cut = replace(plate, force=plate.force[middle:], moment=plate.moment[middle:], raw=plate.raw[middle:])
    assert status("foot_brakes_before_it_pushes", of_trial(replace(trial, plates=(cut,)))) == "skipped"


@pytest.mark.parametrize(("share", "expected"), [(0.8, "pass"), (1.3, "found")])
def test_sideways_force_may_be_as_large_as_fore_aft_force(share: float, expected: str) -> None:
    def sideways(force):
        force[:, RIGHT] = share * np.abs(force[:, FORWARD])
        return force

    trial = on_plate(noisy(), 2, with_components(sideways))
    assert status("sideways_force_is_the_smallest", of_trial(trial)) == expected


def test_a_plate_without_any_fore_aft_force_still_gives_a_sentence() -> None:
    def none(force):
        force[:, RIGHT], force[:, FORWARD] = 0.1 * force[:, UP], 0.0
        return force

    (finding,) = run("sideways_force_is_the_smallest", of_trial(on_plate(noisy(), 1, with_components(none)))).findings
    assert "99.0 times" in finding.seen


@pytest.mark.parametrize(("factor", "expected"), [(1.8, "pass"), (2.6, "found")])
def test_the_force_may_lean_by_eighteen_degrees(factor: float, expected: str) -> None:
    """The test runner's force leans 8.5 degrees; its tangent grows with the gain of the horizontal channels."""
    assert status("ground_pushes_nearly_straight_up", of_trial(scaled(FORWARD, factor))) == expected


def test_the_direction_of_the_larger_horizontal_force_is_drawn() -> None:
    def sideways(force):
        force[:, RIGHT] = 0.6 * force[:, UP]
        return force

    trial = on_plate(noisy(), 2, with_components(sideways))
    (finding,) = run("ground_pushes_nearly_straight_up", of_trial(trial)).findings
    assert {"vertical, plate 2", "sideways, plate 2"} <= set(shown_in(finding))


@pytest.mark.parametrize(
    ("newton_metres", "expected"), [(35.0, "pass"), (-35.0, "pass"), (45.0, "found"), (-45.0, "found")]
)
def test_a_foot_may_twist_by_forty_newton_metres(newton_metres: float, expected: str) -> None:
    assert status("free_moment_is_credible", of_trial(twisted(newton_metres))) == expected


def test_a_foot_far_from_the_plates_middle_has_no_larger_free_moment() -> None:
    """The plate's own vertical moment grows with the distance; the free moment must not."""
    trial = noisy()
    far = with_plates(
        trial,
        lambda plate: replace(
            plate,
            corners=plate.corners + np.array([0, 0, 2.0]),
            moment=plate.moment + np.cross([0, 0, 2.0], plate.force),
        ),
    )
    assert status("free_moment_is_credible", of_trial(far)) == "pass"


def test_a_load_without_whole_contacts_is_nothing_to_look_at() -> None:
    trial = with_plates(a_trial(), lambda plate: lifted(plate, 900.0))
    assert status("free_moment_is_credible", of_trial(trial)) == "skipped"
