"""What a recording says about itself: every rule's planted contradiction, and what real recordings may say unpunished."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checks.context import Context
from checks.registry import Weight
from checks.self_description.agreement import FILE_RULES, contradictions_in
from checks.self_description.plate_rules import PLATE_RULES
from pipelines.intake.c3d.reading import read_c3d
from schemas.reading import ChannelFacts
from schemas.self_description import (
    Blank,
    HeaderSays,
    ParametersSay,
    PlateSays,
    PlatesSay,
    ReadAs,
    RecordStep,
    SamplesSay,
    SecondFileSays,
    SelfDescription,
    Twin,
    Unmarked,
)
from tests.builders import a_study, a_trial
from tests.checks.running_checks import Case, of_trial, run

SHARED = Path(__file__).resolve().parents[4] / "shared"
FILE, PLATES, NAMES = "file_agrees_with_itself", "force_plates_are_described_in_full", "names_stand_for_one_thing"
SECOND, ZEROS = "second_file_agrees_with_itself", "missing_positions_are_marked"
CORNERS = ((0.3, 0.2, 0.0), (-0.3, 0.2, 0.0), (-0.3, -0.2, 0.0), (0.3, -0.2, 0.0))
PLATE = PlateSays(1, 2, (1, 2, 3, 4, 5, 6), (0.0, 0.0, -0.04), CORNERS, units=("N", "N", "N", "N.m", "N.m", "Nm"))
SOUND = SelfDescription(
    HeaderSays(20, 24, 1, 400, 0.1, 9, 4, 200.0),
    ParametersSay(
        points=20,
        frames=400,
        first_frame=1,
        last_frame=400,
        scale=0.1,
        rate_hz=200.0,
        data_block=9,
        channels=6,
        analog_rate_hz=800.0,
        general_scale=1.0,
        scale_entries=6,
        offset_entries=6,
        point_labels=20,
    ),
    ReadAs(90_000, 9, 20, 6, 4, 400, 208, "int", 0.1, 200.0, fits=1, left_over=200, left_over_blank=True, metre=1.0),
    PlatesSay(1, 1, 1, 1, 1, (PLATE,)),
)
EDF = SecondFileSays(plus=True, records=43, record_s=0.1)


def says(part: str = "", **changes: Any) -> SelfDescription:
    """The sound file with one part of what it says changed; a plate's own words go to its one plate."""
    if part == "plate":
        return replace(SOUND, plates=replace(SOUND.plates, plates=(replace(PLATE, **changes),)))
    return replace(SOUND, **{part: replace(getattr(SOUND, part), **changes)}) if part else replace(SOUND, **changes)


def of(description: SelfDescription, channels: ChannelFacts | None = None) -> Context:
    trial = a_trial()
    return replace(of_trial(replace(trial, facts=replace(trial.facts, description=description))), channels=channels)


def a_label() -> str:
    return next(iter(a_study().sites["mill"].profile.markers.values()))


PLANTED = {
    FILE: Case(lambda: of(says("parameters", scale=0.108)), "scale of positions"),
    PLATES: Case(lambda: of(says("plate", origin=None)), "origin of a force plate"),
    NAMES: Case(lambda: of(says(twins=(Twin("point", a_label(), 2, alike=False),))), "points with one label"),
    SECOND: Case(
        lambda: of(SOUND, ChannelFacts(1, second=replace(EDF, steps=(RecordStep(8, 0.7, 0.8),), step_count=1))),
        "second file",
    ),
    ZEROS: Case(lambda: of(says(unmarked=(Unmarked(a_label(), (0.0, 0.0, 0.0), 20),))), a_label()),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of(SOUND, ChannelFacts(1, second=EDF)))

#: place of the rule -> contradictions in which values are wrong or may be.
WRONG = {
    "scale of positions": [says("header", scale=0.108), says("header", scale=-0.1), says("parameters", scale=-0.1)],
    "frame rate": [
        says("header", rate_hz=210.0),
        says("parameters", rate_hz=100.0),
        says("parameters", camera_rate_hz=100.0),
        says("parameters", camera_rate_hz=200.0, rate_divider=2.0),
    ],
    "sign of analog samples": [
        says(samples=SamplesSay(-900, 900, leaps_as_stated=400, leaps_else=1)),
    ],
    "samples of force plates": [says("plate", no_numbers=10)],
    "size of a force plate": [says("read_as", metre=0.001), says("read_as", metre=100.0)],
    "order of the numbers of a corner": [
        replace(says("plate", corners=((0.3, 0.2, 0.0),) * 2 + CORNERS[2:]), plates=replace(
            says("plate", corners=(CORNERS[0], CORNERS[0], *CORNERS[2:])).plates, corner_dims=(4, 3, 1))),
    ],
    "units of a force plate": [
        says("plate", units=("N", "N", "kN", "N.m", "N.m", "N.m")),
        says("plate", units=("N", "N", "N", "Nmm", "N.m", "N.m")),
        says("plate", unknown_unit="stone"),
    ],
    "labels of a force plate's channels": [
        says("plate", labels=("P1.Fx", "P2.Fy", "P1.Fz", "P1.Mx", "P1.My", "P1.Mz")),
        says("plate", labels=("Fx1", "Fy2", "Fz1", "Mx1", "My1", "Mz1")),
        says("plate", labels=("Fy", "Fx", "Fz", "Mx", "My", "Mz")),
        says(
            "plate",
            c3d_type=3,
            channels=tuple(range(1, 9)),
            units=("N",) * 8,
            origin=(0.2, 0.3, -0.04),
            labels=("Fx34", "Fx12", "Fy14", "Fy23", "Fz1", "Fz2", "Fz3", "Fz4"),
        ),
    ],
    "number of points": [replace(says("header", points=21), read_as=replace(SOUND.read_as, fits=2))],
    "number of frames": [
        replace(says("parameters", frames=398), read_as=replace(SOUND.read_as, fits=2)),
        replace(says("header", last_frame=390), read_as=replace(SOUND.read_as, fits=0)),
        replace(says("parameters", last_frame=402), read_as=replace(SOUND.read_as, fits=2)),
    ],
    "analog values in a frame": [replace(says("header", analog_per_frame=12), read_as=replace(SOUND.read_as, fits=0))],
    "analog rate": [
        says("parameters", analog_rate_hz=1000.0),
        says("parameters", analog_rate_hz=807.0),
        says("parameters", analog_rate_hz=float("nan")),
    ],
    "first block of the data": [replace(says("header", data_block=8), read_as=replace(SOUND.read_as, fits=2))],
    "bytes after the last frame": [
        says("read_as", left_over=2080, left_over_blank=False),
        says("read_as", left_over=600, left_over_blank=False, frame_bytes=500),
        says("read_as", left_over=700, left_over_blank=False, frame_bytes=2000),
    ],
    "analog scale and offset": [
        says("parameters", general_scale=0.0),
        says("parameters", scale_entries=0),
        says("parameters", offset_entries=3),
    ],
    "number of force plates": [
        says("plates", used=2),
        says("plates", used=0),
        says("plates", corners=2),
        says("plates", origins=0),
        says("plates", channels=2),
    ],
    "description of a force plate": [
        says("plate", problem="its type 9 is not one that is read"),
        says("plate", c3d_type=4, calibration_singular=True),
    ],
    "origin of a force plate": [
        says("plate", origin=None),
        says("plate", origin=(0.0, float("nan"), 0.0)),
        says("plate", origin=(0.0, 0.0, -0.00004)),
        says("plate", c3d_type=3, origin=(0.0, 0.0, -0.04), channels=tuple(range(1, 9))),
    ],
    "channels of the force plates": [
        says("plate", channels=(1, 1, 3, 4, 5, 6)),
        says("parameters", blank_scales=(3,)),
    ],
    "corners of a force plate": [
        says("plate", corners=(CORNERS[1], CORNERS[0], *CORNERS[2:])),
        says("plate", corners=((0.3, 0.2, 0.1), *CORNERS[1:])),
        says("plate", corners=((0.34, 0.2, 0.0), *CORNERS[1:])),
    ],
    "level of a force plate": [
        says("plate", corners=((0.3, 0.2, 0.1), (-0.3, 0.2, 0.1), *CORNERS[2:])),
    ],
}  # fmt: skip
#: place of the rule -> what real files say and no value depends on.
UNTIDY = {
    "level of a force plate": [says("plate", corners=((0.3, 0.2, 0.02), (-0.3, 0.2, 0.02), *CORNERS[2:]))],
    "scale of positions": [
        replace(
            says("header", scale=-0.2),
            parameters=replace(SOUND.parameters, scale=-0.1),
            read_as=replace(SOUND.read_as, storage="float"),
        ),
        says("parameters", scale=0.0),
    ],
    "frame rate": [says("parameters", rate_hz=None), says("header", rate_hz=200.1), says("header", rate_hz=0.0)],
    "number of points": [says("parameters", points=21)],
    "number of frames": [says("parameters", frames=410)],
    "first frame": [says("parameters", first_frame=30, last_frame=429)],
    "analog values in a frame": [says("header", analog_per_frame=12), says("parameters", channels=7)],
    "analog rate": [says("parameters", analog_rate_hz=None), says("header", samples_per_frame=1),
                    says("parameters", analog_rate_hz=800.3)],
    "first block of the data": [says("parameters", data_block=1), says("parameters", data_block=14)],
    "bytes after the last frame": [
        says("read_as", left_over=2300, left_over_blank=False, frame_bytes=2000),
        says("read_as", left_over=1100),
    ],
    "analog scale and offset": [says("parameters", general_scale=None), says("parameters", offset_entries=0)],
    "labels of points": [says("parameters", point_labels=18)],
    "events": [
        says("parameters", events=3, event_times=1),
        says(header_events_s=(99.0,)),
        replace(says("parameters", events=1, event_times=1, event_seconds=(0.4,)), header_events_s=(0.8,)),
    ],
    "bits of the converter": [
        replace(says("parameters", analog_bits=12), samples=SamplesSay(-11_000, 900)),
        replace(says("parameters", analog_bits=12), samples=SamplesSay(0, 5000)),
    ],
    "origin of a force plate": [says("plate", origin=(0.0, 0.0, 0.0))],
    "order of the numbers of a corner": [says("plates", corner_dims=(4, 3, 1))],
    "units of a force plate": [
        says("plate", units=("V",) * 6), says("plate", units=("N", "", "N", "N.m", "N.m", "N.m"))],
    "frames of the zero of a force plate": [
        says("plate", zero_frames=(1, 900)),
        says("plate", zero_frames=(1, 20), zero_load=0.4),
    ],
    "sign of the origin of a force plate": [says("plate", origin=(0.0, 0.0, 0.04))],
}  # fmt: skip


def cases(table: dict[str, list[SelfDescription]]) -> list[Any]:
    return [
        pytest.param(place, case, id=f"{place} {i}") for place, own in table.items() for i, case in enumerate(own, 1)
    ]


@pytest.mark.parametrize(("place", "description"), cases(WRONG))
def test_a_contradiction_in_which_values_may_be_wrong_sends_the_trial_back(
    place: str, description: SelfDescription
) -> None:
    assert (place, Weight.RETURNS) in {(c.place, c.weight) for c in contradictions_in(description)}


@pytest.mark.parametrize(("place", "description"), cases(UNTIDY))
def test_what_changes_no_value_is_only_noted(place: str, description: SelfDescription) -> None:
    assert {(c.place, c.weight) for c in contradictions_in(description)} == {(place, Weight.NOTES)}
    untidy = run("file_structure_is_consistent", of(description)).findings
    assert place in [finding.place for finding in untidy]
    assert run(FILE, of(description)).findings == []


def test_every_rule_has_spoken_in_each_way_that_its_row_tells() -> None:
    """A rule that says when it returns has returned, and one that says when it notes has noted."""
    rules = FILE_RULES + PLATE_RULES
    assert {rule.place for rule in rules if rule.returns} == set(WRONG)
    assert {rule.place for rule in rules if rule.noted} == set(UNTIDY)


def test_a_file_in_which_everything_agrees_is_not_spoken_of() -> None:
    assert contradictions_in(SOUND) == []


def test_twins_that_hold_the_same_or_that_nobody_reads_are_noted() -> None:
    twins = (
        Twin("point", a_label(), 2, alike=True),
        Twin("point", "unused", 3, alike=False),
        Twin("channel", "EMG 1", 2, alike=False),
        Twin("parameter", "MANUFACTURER:NAME", 2, alike=False),
        Twin("group", "POINT", 2, alike=False),
    )
    assert run(NAMES, of(says(twins=twins))).findings == []
    assert len(run("file_structure_is_consistent", of(says(twins=twins))).findings) == 4


def test_a_channel_of_two_signals_matters_where_the_table_names_it() -> None:
    twin = (Twin("channel", "EMG 1", 2, alike=False),)
    (own,) = run(NAMES, of(says(twins=twin), ChannelFacts(1, labels=("EMG 1",)))).findings
    (second,) = run(NAMES, of(SOUND, ChannelFacts(1, labels=("EMG 1",), second=replace(EDF, twins=twin)))).findings
    assert "EMG 1 (2 times)" in own.seen
    assert "EMG 1 (2 times)" in second.seen


def test_twins_are_told_by_the_rule_by_which_a_label_is_looked_up() -> None:
    """Capitals and outer blanks do not matter to it, nor the name of a subject before a point's label."""
    channel = (Twin("channel", "emg 1", 2, alike=False, spellings=("emg 1", "Emg 1")),)
    (finding,) = run(NAMES, of(says(twins=channel), ChannelFacts(1, labels=(" EMG 1",)))).findings
    assert "'emg 1' and 'Emg 1' (2 times)" in finding.seen
    for name in (a_label().upper(), f"Subject: {a_label()}"):
        assert run(NAMES, of(says(twins=(Twin("point", name, 2, alike=False),)))).findings


def test_two_groups_of_one_number_send_the_trial_back_where_one_is_read() -> None:
    for names, count in ((("FORCE_PLATFORM", "MAKER"), 1), (("MAKER", "OTHER"), 0)):
        twin = Twin("group number", "3", 2, alike=False, spellings=names)
        found = run(NAMES, of(says(twins=(twin,)))).findings
        assert len(found) == count
        assert all("3 (FORCE_PLATFORM and MAKER)" in f.seen and "named last" in f.seen for f in found)


def test_a_parameter_that_stands_twice_with_two_values_sends_the_trial_back() -> None:
    (finding,) = run(NAMES, of(says(twins=(Twin("parameter", "POINT:RATE", 2, alike=False),)))).findings
    assert "POINT:RATE" in finding.seen


@pytest.mark.parametrize(
    ("second", "words"),
    [
        (replace(EDF, untimed=3), "3 of 43 data records do not say"),
        (replace(EDF, steps=(RecordStep(8, 0.8, 0.7),), step_count=2), "0.1 s overlap; 1 more"),
        (replace(EDF, outside=(("SOL L", 4),)), "4 samples of channel 'SOL L'"),
        (
            replace(EDF, samples=(("GM L", "uV", 50), ("SOL L", "uV", 150), ("TA L", "uV", 100), ("TA R", "uV", 100))),
            "'GM L' is said to have 50 samples in a record, where 100 are usual, and 'SOL L' 150",
        ),
        (
            replace(EDF, samples=(("GM L", "uV", 95), ("FOOT", "V", 105), ("TA L", "uV", 100), ("TA R", "uV", 100))),
            "'GM L' is said to have 95 samples in a record, where 100 are usual, and 'FOOT' 105, where 100 are",
        ),
        (replace(EDF, blank=(Blank(5120, 512, 0, 3, 4, 256),)), "records 3 to 4 were lost: 512 bytes from byte 5120"),
    ],
)
def test_a_second_file_that_disagrees_with_its_own_header_goes_back(second: SecondFileSays, words: str) -> None:
    (finding,) = run(SECOND, of(SOUND, ChannelFacts(1, second=second))).findings
    assert words in finding.seen


#: Real files that go back, and why each of them should: what it says leaves no value that could be right.
REAL_FILES_THAT_GO_BACK = {
    "short-copy.c3d": "a copy cut and damaged on purpose: its plates of type 4 have lost their calibration",
    "FP1.C3D": "a plate of type 3 whose four sensors are all said to be in its middle",
    "admarche2.c3d": "a plate of type 3 whose four sensors are all said to be in its middle",
}


@pytest.mark.skipif(not SHARED.is_dir(), reason="real recordings are not part of the repository")
def test_real_recordings_that_could_be_used_do_not_go_back() -> None:
    """54 real files of some thirty makers; a rule that sent sound ones back would be worse than none."""
    files = [p for p in sorted(SHARED.rglob("*")) if p.suffix.lower() == ".c3d"]
    returned = {
        path.name
        for path in files
        if any(c.weight is Weight.RETURNS for c in contradictions_in(read_c3d(path).description))
    }
    assert len(files) >= 50
    assert returned == set(REAL_FILES_THAT_GO_BACK)


def test_a_real_corner_that_was_measured_is_a_rectangle() -> None:
    """Corners of a public sample file, measured with a pointer: 0.7 % of a side off."""
    measured = ((0.0, 0.0, 0.0), (459.4, 0.0, 0.0), (460.6, 504.75, 0.0), (0.0, 507.75, 0.0))
    off = says("plate", corners=measured, origin=(0.0, 0.0, -40.0))
    assert contradictions_in(replace(off, read_as=replace(off.read_as, metre=0.001))) == []


@pytest.mark.parametrize(
    ("degrees", "weights"), [(0.0, []), (2.0, []), (3.0, ["notes"]), (6.0, ["returns"]), (40.0, ["returns"])]
)
@pytest.mark.parametrize("about", [0, 1])
def test_a_tilted_plate_is_told_whichever_way_it_leans(degrees: float, weights: list[str], about: int) -> None:
    """Its corners still make a flat rectangle; a plate that is turned about the vertical is no tilted one."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    other, up = 1 - about, 2
    lean = np.eye(3)
    lean[[other, other, up, up], [other, up, other, up]] = cos, -sin, sin, cos
    c, s = np.cos(0.5), np.sin(0.5)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    corners = np.asarray(CORNERS) @ lean.T @ turn.T
    told = contradictions_in(says("plate", corners=tuple(map(tuple, corners))))
    assert [(c.place, str(c.weight)) for c in told] == [("level of a force plate", weight) for weight in weights]
