"""A look at one file: what it tells, and that nothing of a person leaves it."""

import json

import numpy as np
import pytest
import yaml

from pipelines.errors import Unusable
from pipelines.lab.look import look, render_look
from tests.pipelines.intake.c3d_bytes import c3d_bytes

FRAMES = 20
SECRET = "Robin Example"


@pytest.fixture
def file(tmp_path):
    def make(**how):
        path = tmp_path / "one.c3d"
        plate = {
            "USED": 1,
            "TYPE": 2,
            "CORNERS": ([400.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 600.0, 0.0, 400.0, 600.0, 0.0], (3, 4, 1)),
            "ORIGIN": ([0.0, 0.0, -40.0], (3, 1)),
            "CHANNEL": ([1, 2, 3, 4, 5, 6], (6, 1)),
        }
        extra = {
            "FORCE_PLATFORM": plate,
            "SUBJECTS": {"NAMES": [SECRET], "MARKER_SETS": ["legs"]},
            "TRIAL": {"MADE": ["12.03.1998"], "OPERATOR": [SECRET], "NOTE": ["second try"]},
            "EVENT": {"USED": 1, "TIMES": ([0.0, 0.05], (2, 1)), "LABELS": ["Foot on"], "CONTEXTS": ["Left"]},
            "ANALOG": {"UNITS": ["N"] * 3 + ["Nmm"] * 3},
        }
        analog = np.tile([0.0, 0, -700, 0, 0, 0], (FRAMES, 1))
        points = np.arange(FRAMES * 6, dtype=float).reshape(FRAMES, 2, 3)
        settings = {"samples_per_frame": 1, "extra": extra} | how
        path.write_bytes(c3d_bytes(points, analog, **settings))
        return path

    return make


def test_a_look_tells_points_analog_plates_events_and_encoding(file):
    seen = look(file())
    assert (seen["readable"], seen["problem"]) == (True, None)
    assert seen["points"] | {"count": 2, "frames": FRAMES, "rate_hz": 100, "unit": "mm"} == seen["points"]
    assert seen["analog"] == {"count": 6, "samples": FRAMES, "rate_hz": 100}
    assert seen["events"] == 1
    assert seen["encoding"] == {"processor": "INTEL", "storage": "float"}
    (plate,) = seen["plates"]
    assert (plate["type"], plate["vertical"]) == (2, "z")
    assert plate["mean_vertical_force_n"] == pytest.approx(700)
    assert plate["corners"][0] == [400, 0, 0]
    assert seen["labels"] == ["P1", "P2"]
    assert json.loads(json.dumps(seen, allow_nan=False)) == seen


def test_text_that_may_tell_who_is_named_by_its_place_and_never_shown(file):
    seen = look(file())
    assert {(i["place"], i["kind"]) for i in seen["text_like_identity"]} == {
        ("SUBJECTS:NAMES", "name of a person"),
        ("TRIAL:OPERATOR", "name of a person"),
        ("TRIAL:MADE", "date"),
    }
    for text in (json.dumps(seen), render_look(seen)):
        assert SECRET not in text
        assert "1998" not in text


def test_the_page_of_text_holds_what_an_engineer_asks_for(file):
    page = render_look(look(file(leave_out=("ANALOG:RATE",))))
    for word in ("P1", "20 frames at 100 Hz", "unit mm", "A1 [N]", "type 2", "700.0 N", "(400, 0, 0)", "Foot on"):
        assert word in page
    assert "ANALOG:RATE is missing" in page
    assert max(len(line) for line in page.splitlines()) < 160


@pytest.mark.parametrize(
    ("content", "word"), [(None, "no file"), (b"plain text" * 200, "no C3D file"), (b"", "0 bytes")]
)
def test_a_file_that_cannot_be_read_is_an_answer_with_a_sentence(tmp_path, content, word):
    path = tmp_path / "bad.c3d"
    if content is not None:
        path.write_bytes(content)
    seen = look(path)
    assert seen["readable"] is False
    assert word in seen["problem"]
    assert seen["problem"].endswith(".")
    assert word in render_look(seen)


def test_a_profile_tells_which_labels_are_missing(file, tmp_path):
    settings = {
        "site": "bench",
        "surface": "runway",
        "axes": {"forward": "+x", "up": "+z", "right": "-y"},
        "marker_rate_hz": 100,
        "markers": {"calcaneus_left": "P1", "calcaneus_right": "P9"},
    }
    profile = tmp_path / "bench.yaml"
    profile.write_text(yaml.safe_dump(settings))
    seen = look(file(), profile=profile)
    assert seen["missing_labels"] == {"calcaneus_right": "P9"}
    assert "P9 (calcaneus_right)" in render_look(seen)
    with_outcomes = look(file(), profile=profile, outcomes=True)
    assert with_outcomes["footfalls"] == []
    assert with_outcomes["trial"]["mass_source"] == "none"
    assert "Footfalls: 0" in render_look(with_outcomes)


def test_a_standing_trial_that_cannot_be_read_is_told_and_the_rest_stays(file, tmp_path):
    profile = tmp_path / "bench.yaml"
    profile.write_text(
        "{site: bench, surface: runway, axes: {forward: '+x', up: '+z', right: '-y'}, marker_rate_hz: 100, "
        "markers: {calcaneus_left: P1}}"
    )
    seen = look(file(), profile=profile, standing=tmp_path / "nowhere.c3d", outcomes=True)
    assert seen["readable"]
    assert "nowhere.c3d" in seen["standing_problem"]
    assert "nowhere.c3d" in render_look(seen)


def test_outcomes_need_a_profile(file):
    with pytest.raises(Unusable, match="--profile"):
        look(file(), outcomes=True)


def test_a_body_mass_must_be_one(file):
    with pytest.raises(Unusable, match="kg"):
        look(file(), mass_kg=-3.0)


@pytest.mark.parametrize("steering", ["\x1b[2Jgone", "\x9b2J", "a\rb", "\u202egnol", "\x07"])
def test_no_character_that_steers_a_terminal_reaches_the_screen(file, steering):
    extra = {
        "POINT": {"LABELS": [f"P{steering}", "P2"]},
        "EVENT": {"LABELS": [steering], "USED": 1, "TIMES": [0.0, 0.0]},
    }
    seen = look(file(extra=extra))
    assert seen["readable"]
    page = render_look(seen)
    assert all(c.isprintable() for line in page.split("\n") for c in line)
    assert "P?" in page or "Pa?b" in page


def test_times_of_events_are_told_from_the_first_frame_of_a_file_that_was_cut(file):
    """Frame 101 at 100 Hz is 1 s after the first that was recorded."""
    extra = {
        "EVENT": {
            "USED": 2,
            "TIMES": ([0.0, 1.05, 0.0, 7.0], (2, 2)),
            "LABELS": ["Foot on", "Lost"],
            "CONTEXTS": ["Left", "Left"],
        }
    }
    seen = look(file(extra=extra, header={4: 101, 5: 120}))
    assert seen["first_frame"] == 101
    first, lost = seen["event_list"]
    assert first["time_s"] == pytest.approx(1.05)
    assert first["in_recording_s"] == pytest.approx(0.05)
    assert (first["outside"], lost["outside"]) == (False, True)
    page = render_look(seen)
    assert "1.05 s (0.05 s after the first frame of the file) Left Foot on" in page
    assert "Lost, outside the recording" in page


@pytest.mark.parametrize(
    ("group", "name", "text", "kind"),
    [
        ("TRIAL", "ORIGINAL_FILENAME", "D:\\data\\SmithJohn01.c3d", "name of a person"),
        ("TRIAL", "ORIGINAL_FILENAME", "anna_2019-03-12.c3d", "date"),
        ("SUBJECTS", "NAMES", "4711 2305", "other number or name of one person"),
        ("SUBJECTS", "NAMES", "47112305", "other number or name of one person"),
    ],
)
def test_names_of_files_and_numbers_of_people_are_told(file, group, name, text, kind):
    seen = look(file(extra={group: {name: [text]}}))
    assert {"place": f"{group}:{name}", "kind": kind} in seen["text_like_identity"]


@pytest.mark.parametrize(
    ("name", "text"), [("NAMES", "FS-07"), ("NAMES", "12"), ("NAMES", "S0047"), ("FILE_NAME", "run03")]
)
def test_codes_of_a_study_are_not_told(file, name, text):
    assert look(file(extra={"SUBJECTS": {name: [text]}}))["text_like_identity"] == []
