"""Which finding is named as the cause of a trial's others."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.causes import causes_first, with_causes
from checks.findings import Finding
from checks.registry import Subject, Weight, catalogue
from checks.what_follows import CAUSES
from tests.finding_builders import a_finding

_numbers = count()


def found(check: str, place: str | None = None, *, weight: Weight | None = None, trial: str | None = "T1") -> Finding:
    own = weight or catalogue()[check].weight
    return a_finding(finding_id=f"f{next(_numbers)}", trial_id=trial, check_name=check, weight=own, place=place)


def followed(findings: Sequence[Finding], crashed: Sequence[tuple[str | None, str]] = ()) -> dict[str, str | None]:
    """Check -> the check that it follows from."""
    told = with_causes(findings, crashed)
    names = {f.finding_id: f.check_name for f in told}
    return {f.check_name: names.get(f.consequence_of or "") for f in told}


def test_displaced_samples_explain_whatever_else_is_seen_in_the_file() -> None:
    """Exchanging knee and ankle labels, as one of the findings advises, would spoil labels that are right."""
    told = followed([found("leg_markers_are_in_order_of_height"), found("samples_stand_in_their_places")])
    assert told == {
        "leg_markers_are_in_order_of_height": "samples_stand_in_their_places",
        "samples_stand_in_their_places": None,
    }


def test_a_second_file_that_contradicts_itself_explains_its_muscles_and_twins_explain_lost_plates() -> None:
    for cause, consequence in (
        ("second_file_agrees_with_itself", "muscle_amplitudes_are_those_of_skin"),
        ("second_file_agrees_with_itself", "muscle_signals_are_raw"),
        ("names_stand_for_one_thing", "plates_are_those_of_the_site"),
    ):
        assert followed([found(consequence), found(cause)])[consequence] == cause


def test_what_follows_from_a_consequence_follows_from_its_cause() -> None:
    told = followed(
        [
            found("free_moment_is_credible", "plate 1"),
            found("sideways_force_is_the_smallest", "plate 1"),
            found("runner_is_upright"),
        ]
    )
    assert set(told.values()) == {None, "runner_is_upright"}


@pytest.mark.parametrize(("plate", "cause"), [("plate 1", "vertical_force_points_up"), ("plate 2", None)])
def test_a_fault_of_one_plate_explains_nothing_of_another(plate: str, cause: str | None) -> None:
    told = followed([found("vertical_force_points_up", "plate 1"), found("free_moment_is_credible", plate)])
    assert told["free_moment_is_credible"] == cause


@pytest.mark.parametrize(
    ("place", "cause"), [("calcaneus_left, frame 80", "markers_are_not_frozen"), ("calcaneus_right, frame 80", None)]
)
def test_a_marker_that_was_held_explains_its_own_leap_only(place: str, cause: str | None) -> None:
    told = followed(
        [found("markers_are_not_frozen", "calcaneus_left, frame 59"), found("markers_move_without_jumps", place)]
    )
    assert told["markers_move_without_jumps"] == cause


def test_what_is_only_noted_never_explains_why_a_trial_goes_back() -> None:
    heavy = found("foot_sensors_close_at_contact", weight=Weight.NOTES)
    light = found("muscles_are_active_in_their_phase", weight=Weight.RETURNS)
    assert set(followed([heavy, light]).values()) == {None}


@pytest.mark.parametrize(
    ("weight", "cause"),
    [(Weight.NOTES, "active_peaks_are_credible"), (Weight.RETURNS, "mean_vertical_force_is_body_weight")],
)
def test_of_two_that_explain_each_other_the_one_that_sends_the_trial_back_is_the_cause(
    weight: Weight, cause: str
) -> None:
    """A blow raises the mean a little; a wrong gain raises every peak."""
    both = [found("mean_vertical_force_is_body_weight", weight=weight), found("active_peaks_are_credible")]
    assert {check for check, by in followed(both).items() if by is None} == {cause}


def test_a_check_that_crashed_is_no_cause_and_follows_from_nothing() -> None:
    both = [found("runner_is_upright"), found("toes_are_ahead_of_heels")]
    assert set(followed(both, [("T1", "runner_is_upright")]).values()) == {None}
    assert set(followed(both, [("T1", "toes_are_ahead_of_heels")]).values()) == {None}


def test_trials_explain_nothing_of_each_other_and_a_delivery_nothing_at_all() -> None:
    apart = [found("runner_is_upright"), found("toes_are_ahead_of_heels", trial="T2")]
    of_none = [found("runner_is_upright", trial=None), found("toes_are_ahead_of_heels", trial=None)]
    assert set(followed(apart).values()) | set(followed(of_none).values()) == {None}


def test_the_cause_that_explains_most_is_named_first_and_notes_last() -> None:
    told = with_causes(
        [
            found("muscles_are_free_of_mains_hum"),
            found("named_channels_are_in_the_files"),
            found("speed_keeps_to_the_protocol"),
            found("runner_runs_forwards"),
        ]
    )
    assert [f.check_name for f in causes_first(told)] == [
        "runner_runs_forwards",
        "named_channels_are_in_the_files",
        "muscles_are_free_of_mains_hum",
    ]


OF_TRIALS = [name for name, spec in catalogue().items() if spec.about is Subject.TRIAL]


@given(st.lists(st.tuples(st.sampled_from(OF_TRIALS), st.sampled_from(["plate 1", "plate 2", None])), max_size=12))
def test_nothing_is_lost_and_every_consequence_leads_to_a_cause_in_one_step(some) -> None:
    before = [found(check, place) for check, place in some]
    after = with_causes(before)
    assert [f.finding_id for f in after] == [f.finding_id for f in before]
    own = {f.finding_id: f for f in after}
    for finding in after:
        if finding.consequence_of is not None:
            assert own[finding.consequence_of].consequence_of is None
    assert not before or causes_first(after)


def test_the_table_names_checks_that_there_are_each_once() -> None:
    """A renamed check would silently explain nothing."""
    specs = catalogue()
    names = [cause.check_name for cause in CAUSES]
    assert len(names) == len(set(names))
    assert {*names, *(name for cause in CAUSES for name in cause.checks)} <= set(specs)
    topics = {spec.topic for spec in specs.values()}
    for topic in {topic for cause in CAUSES for topic in cause.topics}:
        assert any(own == topic or own.startswith(f"{topic}.") for own in topics), topic
