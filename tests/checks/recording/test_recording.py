"""Whether a trial was recorded as its laboratory's profile says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.declared import AnyOf
from schemas.study import SiteProfile
from tests.builders import a_posture, a_standing_trial, a_study, a_trial
from tests.checks.running_checks import Case, of_trial, run, status, with_marker


def scaled(trial, factor: float):
    return replace(trial, markers={role: path * factor for role, path in trial.markers.items()})


def without(trial, role: str):
    markers = {name: path for name, path in trial.markers.items() if name != role}
    return replace(trial, markers=markers, missing_labels={role: "sac"})


PLANTED = {
    "marker_rate_is_the_sites": Case(lambda: of_trial(a_trial(marker_rate=100.0)), "marker rate"),
    "force_rate_is_the_sites": Case(lambda: of_trial(a_trial(force_rate=500.0)), "force rate"),
    "positions_are_in_the_stated_unit": Case(lambda: of_trial(scaled(a_trial(), 1000)), "POINT:UNITS"),
    "required_markers_are_labelled": Case(lambda: of_trial(without(a_trial(), "sacrum")), "sacrum"),
    "plates_are_those_of_the_site": Case(lambda: of_trial(a_trial(surface="runway", footfalls=1)), "FORCE_PLATFORM"),
    "file_structure_is_consistent": Case(
        lambda: of_trial(replace(a_trial(), facts=replace(a_trial().facts, oddities=("two counts differ",)))),
        "file structure",
    ),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(a_trial()))


@pytest.mark.parametrize("factor", [1000, 100, 0.1, 0.001], ids=["mm as m", "cm as m", "cm as mm", "m as mm"])
@pytest.mark.parametrize("trial", [a_trial(), a_standing_trial()], ids=["running", "standing"])
def test_every_usual_mix_up_of_units_is_found(factor: float, trial) -> None:
    assert status("positions_are_in_the_stated_unit", of_trial(scaled(trial, factor))) == "found"


def test_a_turned_vertical_axis_is_found_with_the_units() -> None:
    assert status("positions_are_in_the_stated_unit", of_trial(scaled(a_trial(), -1))) == "found"


def test_a_marker_without_a_single_position_counts_as_not_there() -> None:
    empty = with_marker(a_trial(), "sacrum", lambda path: path * np.nan)
    (finding,) = run("required_markers_are_labelled", of_trial(empty)).findings
    assert finding.place == "sacrum"


def test_the_labels_of_another_laboratory_are_one_finding() -> None:
    trial = a_trial()
    other = replace(trial, markers={}, missing_labels=dict.fromkeys(trial.markers, "other"))
    (finding,) = run("required_markers_are_labelled", of_trial(other)).findings
    assert finding.place == "13 markers"


def test_the_lab_reads_its_own_label_in_the_finding() -> None:
    (finding,) = run("required_markers_are_labelled", of_trial(without(a_trial(), "sacrum"))).findings
    assert "label sac" in finding.seen


def test_plates_of_another_type_are_found() -> None:
    trial = a_trial()
    other = replace(trial, plates=(replace(trial.plates[0], c3d_type=4),))
    assert status("plates_are_those_of_the_site", of_trial(other)) == "found"


def test_a_rate_within_half_a_percent_is_the_same_rate() -> None:
    trial = a_trial()
    near = replace(trial, facts=replace(trial.facts, point_rate_hz=199.99))
    assert status("marker_rate_is_the_sites", of_trial(near)) == "pass"


@pytest.mark.parametrize("name", PLANTED)
def test_a_laboratory_the_study_does_not_know_breaks_no_check(name: str) -> None:
    trial = replace(a_trial(), site="nowhere")
    assert status(name, of_trial(trial)) in {"skipped", "pass"}


def test_required_markers_are_not_asked_of_a_reference_contraction() -> None:
    trial = replace(a_trial(kind="reference_contraction"), markers={})
    assert status("required_markers_are_labelled", of_trial(trial, a_study())) == "skipped"


def test_a_landmark_that_a_cluster_carries_is_missed_only_where_its_standing_trial_is_there() -> None:
    role = "lateral_malleolus_left"
    study = a_study()
    profile = study.sites["mill"].profile.model_dump()
    profile["clusters"] = {"shank_left": {"labels": ["a", "b", "c"], "carries": [role]}}
    own = SiteProfile.model_validate(profile)
    study = study.model_copy(update={"sites": {"mill": study.sites["mill"].model_copy(update={"profile": own})}})
    worn = {f"shank_left.{n}": a_trial().markers[role] + n / 100 for n in (1, 2, 3)}
    trial = replace(without(a_trial(), role), carriers=worn)
    assert status("required_markers_are_labelled", of_trial(trial, study)) == "pass", "it waits for the standing trial"
    (finding,) = run("required_markers_are_labelled", of_trial(trial, study, a_posture())).findings
    assert "could not be carried" in finding.seen
    assert status("required_markers_are_labelled", of_trial(trial)) == "found", "no cluster carries it"
    hidden = {name: path * np.nan if name.endswith("3") else path for name, path in worn.items()}
    (note,) = run("required_markers_are_labelled", of_trial(replace(trial, carriers=hidden), study)).findings
    assert (str(note.weight), note.seen.partition(":")[0]) == ("notes", "1 of the 3 markers of clusters cannot be used")
    assert "c of cluster shank_left is not in the file" in note.seen


def test_of_several_ways_only_that_of_the_site_is_missed() -> None:
    """The site labels the trochanter, so it is that which its trials need; the study asks nobody for both."""
    study = a_study()
    roles = {
        name: spec.model_copy(update={"required": False}) if name in ("greater_trochanter", "sacrum") else spec
        for name, spec in study.marker_roles.items()
    }
    ways = {"hip_centre": AnyOf(description="Hip.", ways=(("greater_trochanter",), ("sacrum",)))}
    either = study.model_copy(update={"marker_roles": roles, "requires_any": ways})
    assert status("required_markers_are_labelled", of_trial(without(a_trial(), "sacrum"), either)) == "pass"
    (finding,) = run(
        "required_markers_are_labelled", of_trial(without(a_trial(), "greater_trochanter_left"), either)
    ).findings
    assert finding.place == "greater_trochanter_left"
