"""Checks of the markers: planted faults, what must not be taken for one, and a real run with a real fault."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from checks.registry import Weight
from schemas.study import SiteProfile
from schemas.trial import RIGHT, Trial
from tests.builders import a_standing_trial, a_study, a_trial
from tests.checks.running_checks import Case, of_trial, run, shown_in, status, with_marker

HEEL, TOE, FIFTH = "calcaneus_right", "second_metatarsal_head_right", "fifth_metatarsal_head_right"


def exchanged(trial: Trial, first: str, second: str, frames) -> Trial:
    a, b = trial.markers[first].copy(), trial.markers[second].copy()
    a[frames], b[frames] = trial.markers[second][frames], trial.markers[first][frames]
    return replace(trial, markers={**trial.markers, first: a, second: b})


def hidden(trial: Trial, role: str, start: int, stop: int) -> Trial:
    def hide(path):
        path[start:stop] = np.nan

    return with_marker(trial, role, hide)


def spiked(trial: Trial, role: str, frames, metres: float, axis: int = 1) -> Trial:
    def spike(path):
        path[frames, axis] += metres

    return with_marker(trial, role, spike)


def swaying(metres: float) -> Trial:
    sway = np.linspace(0, metres, 200)
    return with_marker(a_standing_trial(), "sacrum", lambda path: path + np.outer(sway, [0, 0, 1]))


def sides_exchanged(trial: Trial, *roles: str) -> Trial:
    markers = dict(trial.markers)
    for role in roles:
        left, right = f"{role}_left", f"{role}_right"
        markers[left], markers[right] = trial.markers[right], trial.markers[left]
    return replace(trial, markers=markers)


def mirrored(trial: Trial) -> Trial:
    return replace(trial, markers={role: path * [1, 1, -1] for role, path in trial.markers.items()})


PLANTED = {
    "marker_gaps_are_short": Case(lambda: of_trial(hidden(a_trial(), "sacrum", 200, 240)), "sacrum, frame 201"),
    "markers_keep_their_distance": Case(
        lambda: of_trial(exchanged(a_trial(), TOE, FIFTH, slice(50, None, 3))),
        f"{TOE} and {FIFTH}, from frame 51",
    ),
    "markers_move_without_jumps": Case(lambda: of_trial(spiked(a_trial(), "sacrum", 300, 0.12)), "sacrum, frame 301"),
    "standing_trial_stands_still": Case(lambda: of_trial(swaying(0.05)), "sacrum, frame 200"),
    "left_and_right_are_on_their_sides": Case(
        lambda: of_trial(sides_exchanged(a_trial(), "lateral_malleolus")), "lateral_malleolus"
    ),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(a_trial())) | {
    "standing_trial_stands_still": lambda: of_trial(a_standing_trial())
}


@pytest.mark.parametrize(("frames", "expected"), [(20, "pass"), (21, "found")])
def test_a_gap_of_a_tenth_of_a_second_is_let_pass(frames: int, expected: str) -> None:
    trial = hidden(a_trial(), HEEL, 200, 200 + frames)
    assert status("marker_gaps_are_short", of_trial(trial)) == expected


def test_a_marker_out_of_sight_before_the_runner_reaches_the_plates_is_no_fault() -> None:
    trial = a_trial(surface="runway", footfalls=2, start_s=1.0)
    gap = hidden(trial, HEEL, 0, 170)
    assert status("marker_gaps_are_short", of_trial(gap)) == "pass"
    assert status("marker_gaps_are_short", of_trial(hidden(gap, HEEL, 0, 210))) == "found"


def test_a_gap_of_a_marker_that_the_study_can_do_without_is_no_fault() -> None:
    study = a_study()
    roles = {**study.marker_roles, "sacrum": study.marker_roles["sacrum"].model_copy(update={"required": False})}
    study = study.model_copy(update={"marker_roles": roles})
    assert status("marker_gaps_are_short", of_trial(hidden(a_trial(), "sacrum", 200, 240), study)) == "pass"


def test_the_gap_is_measured_though_no_footfall_was_found() -> None:
    trial = replace(hidden(a_trial(), "sacrum", 200, 240), plates=())
    assert status("marker_gaps_are_short", of_trial(trial)) == "found"


@pytest.mark.parametrize("frames", [slice(0, None, 3), slice(0, 400), [10, 300], slice(200, 203), [77]])
def test_exchanged_labels_are_named_once_however_they_alternate(frames) -> None:
    trial = exchanged(a_trial(), TOE, FIFTH, frames)
    (finding,) = run("markers_keep_their_distance", of_trial(trial)).findings
    assert "exchang" in finding.seen
    assert "left" not in finding.place


def test_a_heel_label_exchanged_with_the_fifth_metatarsals_is_found() -> None:
    trial = exchanged(a_trial(), HEEL, FIFTH, slice(100, 200))
    (finding,) = run("markers_keep_their_distance", of_trial(trial)).findings
    assert {HEEL, FIFTH} <= set(finding.place.replace(",", "").split())


def test_a_marker_that_came_loose_is_found_on_its_distances() -> None:
    trial = spiked(a_trial(), HEEL, slice(400, None), 0.03, axis=0)
    findings = run("markers_keep_their_distance", of_trial(trial)).findings
    assert findings
    assert all(HEEL in finding.place for finding in findings)
    assert not any("exchang" in finding.seen for finding in findings)


@pytest.mark.parametrize("millimetres", [5, 10])
def test_a_shoe_that_bends_keeps_its_distances(millimetres: float) -> None:
    sway = 0.001 * millimetres * np.sin(np.linspace(0, 60, len(a_trial().markers[HEEL])))
    trial = with_marker(a_trial(), HEEL, lambda path: path + np.outer(sway, [1, 0, 0]))
    assert status("markers_keep_their_distance", of_trial(trial)) == "pass"


@pytest.mark.parametrize("frames", [300, slice(300, 303), slice(300, None)], ids=["one", "three", "for good"])
@pytest.mark.parametrize("role", ["sacrum", "greater_trochanter_left"])
def test_a_jump_is_found_for_however_many_frames_it_lasts(frames, role: str) -> None:
    (finding,) = run("markers_move_without_jumps", of_trial(spiked(a_trial(), role, frames, 0.12))).findings
    assert finding.place == f"{role}, frame 301"
    assert f"{role.replace('_', ' ').capitalize()}: position up" in shown_in(finding)


def test_a_jump_of_a_marker_that_the_study_can_do_without_is_only_noted() -> None:
    trial = a_trial()
    spare = spiked(replace(trial, markers={**trial.markers, "sternum": trial.markers["sacrum"]}), "sternum", 300, 0.12)
    (finding,) = run("markers_move_without_jumps", of_trial(spare)).findings
    assert finding.weight == Weight.NOTES


def test_separate_jumps_are_counted_and_the_first_is_measured() -> None:
    (finding,) = run("markers_move_without_jumps", of_trial(spiked(a_trial(), "sacrum", [100, 300], 0.12))).findings
    assert "120 mm" in finding.seen
    assert finding.seen.endswith(": 2.")


def test_exchanged_labels_are_not_told_a_second_time_as_jumps() -> None:
    trial = exchanged(a_trial(), TOE, FIFTH, slice(50, None, 3))
    assert status("markers_move_without_jumps", of_trial(trial)) == "pass"


def test_the_edges_of_a_gap_are_not_jumps() -> None:
    assert status("markers_move_without_jumps", of_trial(hidden(a_trial(), HEEL, 200, 240))) == "pass"


@pytest.mark.parametrize(("metres", "expected"), [(0.02, "pass"), (0.04, "found")])
def test_quiet_sway_is_standing_still(metres: float, expected: str) -> None:
    assert status("standing_trial_stands_still", of_trial(swaying(metres))) == expected


def test_a_runner_who_shifts_altogether_is_one_finding() -> None:
    trial = a_standing_trial()
    sway = np.outer(np.linspace(0, 0.1, 200), [1, 0, 0])
    moved = replace(trial, markers={role: path + sway for role, path in trial.markers.items()})
    (finding,) = run("standing_trial_stands_still", of_trial(moved)).findings
    assert "13 of 13" in finding.seen


def test_one_bad_frame_is_not_a_movement() -> None:
    trial = spiked(a_standing_trial(), "sacrum", 100, 0.2)
    assert status("standing_trial_stands_still", of_trial(trial)) == "pass"


def test_a_mirrored_recording_is_told_as_one_finding_about_the_axes() -> None:
    (finding,) = run("left_and_right_are_on_their_sides", of_trial(mirrored(a_trial()))).findings
    assert "axes" in finding.remedy


def test_one_exchanged_pair_is_told_by_its_name() -> None:
    trial = sides_exchanged(a_trial(), "greater_trochanter")
    (finding,) = run("left_and_right_are_on_their_sides", of_trial(trial)).findings
    assert "greater_trochanter" in finding.remedy
    assert "axes" not in finding.remedy


def test_feet_that_cross_the_middle_line_a_little_are_on_their_sides() -> None:
    trial = a_trial()
    for side, sign in (("left", 1), ("right", -1)):
        trial = with_marker(trial, f"calcaneus_{side}", lambda path, sign=sign: path + np.array([0, 0, sign * 0.06]))
    apart = trial.markers["calcaneus_left"][:, RIGHT] - trial.markers["calcaneus_right"][:, RIGHT]
    assert np.mean(apart) > 0
    assert status("left_and_right_are_on_their_sides", of_trial(trial)) == "pass"


# --- a real run, read where it lies beside the repository -------------------------------------------------------------

REAL_RUN = Path(__file__).resolve().parents[3].parent / "shared" / "real_run"
PARTS = {"calcaneus": "CAL", "second_metatarsal_head": "TOE", "fifth_metatarsal_head": "MT5"}
PARTS |= {"lateral_malleolus": "LMALv", "lateral_femoral_epicondyle": "LFCv", "anterior_superior_iliac_spine": "ASI"}


def real_run(name: str = "run", axes: tuple[str, str, str] = ("+x", "+y", "+z")) -> Trial:
    from pipelines.intake.c3d.reading import read_c3d
    from pipelines.intake.to_trial import TrialRow, to_trial

    labels = {f"{role}_{side}": side[0].upper() + label for role, label in PARTS.items() for side in ("left", "right")}
    profile = SiteProfile.model_validate(
        {
            "site": "way",
            "surface": "runway",
            "axes": dict(zip(("forward", "up", "right"), axes, strict=True)),
            "marker_rate_hz": 150,
            "force_rate_hz": 300,
            "plate_types": [2, 2],
            "markers": labels,
        }
    )
    row = TrialRow("R1", "way", "running", "shod", "runway", mass_kg=72.84)  # mass from truth.json
    return to_trial(read_c3d(REAL_RUN / f"{name}.c3d"), profile, a_study().processing, row)


needs_real_run = pytest.mark.skipif(not REAL_RUN.is_dir(), reason=f"the real running trial is not at {REAL_RUN}")


@needs_real_run
@pytest.mark.parametrize(
    ("name", "axes"),
    [
        ("run", ("+x", "+y", "+z")),
        ("variants/run_dec_int", ("+x", "+y", "+z")),
        ("variants/run_zup_m", ("+x", "+z", "-y")),
    ],
)
def test_in_the_real_run_exactly_the_exchange_on_the_right_foot_is_found(name: str, axes: tuple) -> None:
    context = of_trial(real_run(name, axes))
    (finding,) = run("markers_keep_their_distance", context).findings
    assert finding.place == f"{TOE} and {FIFTH}, from frame 1"
    assert "43 frames" in finding.seen  # truth.json: marker_exchange, 43 of 123 frames
    assert status("markers_move_without_jumps", context) == "pass"


@needs_real_run
def test_in_the_real_run_the_frames_put_right_are_those_of_its_truth_file() -> None:
    import json

    from pipelines.science.signals.measures import exchanges

    known = json.loads((REAL_RUN / "truth.json").read_text(encoding="utf-8"))["marker_exchange"]
    ((first, second, _, frames),) = exchanges(real_run().markers, 0.015)
    assert {first, second} == {TOE, FIFTH}
    assert (np.flatnonzero(frames) + 1).tolist() == known["frames_1_based"]


@needs_real_run
def test_no_other_check_of_signals_finds_a_fault_in_the_real_run() -> None:
    from checks.registry import Subject, catalogue

    trial = real_run()
    of_the_lab = {"marker_rate_is_the_sites", "force_rate_is_the_sites", "required_markers_are_labelled"}
    names = [n for n, spec in catalogue().items() if spec.about is Subject.TRIAL and n not in of_the_lab]
    ends = {name: status(name, of_trial(trial)) for name in names}
    # its source smoothed the force and set it to zero between contacts
    true_faults = {"markers_keep_their_distance", "empty_plates_keep_their_noise"}
    assert {name for name, end in ends.items() if end == "found"} == true_faults
    assert "crashed" not in ends.values()


@pytest.mark.parametrize("off_m", [0.04, 0.12])
def test_the_frame_that_is_off_its_path_is_named_and_marked_however_far_it_is(off_m: float) -> None:
    """Of one frame 40 mm off its path only the way back, twice as far, lies beyond the limit."""
    (finding,) = run("markers_move_without_jumps", of_trial(spiked(a_trial(), "sacrum", 300, off_m))).findings
    assert finding.place == "sacrum, frame 301"
    assert finding.moment_s == pytest.approx(300 / a_trial().marker_rate_hz)
    assert finding.shows is not None
    assert finding.shows.marks_the_worst(finding.moment_s)
