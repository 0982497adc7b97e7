"""Recordings that say two things about themselves, sent as a laboratory sends them: each goes back, named for what it is.

One delivery of each laboratory with one contradiction a trial, taken in once by the program itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import edfio
import ezc3d
import numpy as np
import pytest

from demo_site_uploads.simulator import edf_edit
from demo_site_uploads.simulator.c3d_edit import (
    header_word,
    parameter,
    renamed,
    with_header_float,
    with_header_word,
    with_parameter,
)
from demo_site_uploads.simulator.c3d_writer import without_address
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.faults import Fault
from demo_site_uploads.simulator.labs import Recording
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.trial import SimulatedTrial
from tests.delivery_builders import tables, take_in_only

RUN = Asked(muscles=False)
STAND = Asked("standing", duration_s=0.5)
FILE, PLATES, NAMES = "file_agrees_with_itself", "force_plates_are_described_in_full", "names_stand_for_one_thing"
SECOND, ZEROS, TIDY = "second_file_agrees_with_itself", "missing_positions_are_marked", "file_structure_is_consistent"
READ, CLOCK = "trial_file_can_be_read", "clocks_of_both_files_match"


@dataclass(frozen=True)
class Sent:
    """One faulty trial. says: what the finding of ``check`` must name."""

    site: str
    check: str
    says: tuple[str, ...]
    asked: Asked = RUN
    bytes_fault: Callable[[bytes], bytes] | None = None
    fault: Fault | None = None
    second_fault: Callable[[bytes], bytes] | None = None


def _lowered(content: bytes, frames: int) -> bytes:
    """Header and parameter both count fewer frames than the file holds."""
    held = header_word(content, 5)
    content = with_header_word(content, 5, held - frames)
    return with_parameter(content, "POINT", "FRAMES", [held - frames])


def _sign_turned(content: bytes) -> bytes:
    return with_header_float(content, 7, lambda scale: -scale)


def _one_block_early(content: bytes) -> bytes:
    return with_header_word(content, 9, header_word(content, 9) - 1)


def _one_channel_twice(content: bytes) -> bytes:
    channels = [*parameter(content, "FORCE_PLATFORM", "CHANNEL")]
    return with_parameter(content, "FORCE_PLATFORM", "CHANNEL", [channels[1], *channels[1:]])


def _corner_pulled(content: bytes) -> bytes:
    corners = [*parameter(content, "FORCE_PLATFORM", "CORNERS")]
    return with_parameter(content, "FORCE_PLATFORM", "CORNERS", [corners[0] + 150, *corners[1:]])


def _tilted(content: bytes) -> bytes:
    """Two neighbouring corners 100 mm higher: still a flat rectangle."""
    corners = [*parameter(content, "FORCE_PLATFORM", "CORNERS")]
    up = min(range(3), key=lambda axis: max(corners[axis:12:3]) - min(corners[axis:12:3]))
    for corner in (0, 1):
        corners[3 * corner + up] += 100
    return with_parameter(content, "FORCE_PLATFORM", "CORNERS", corners)


def _origin_upwards(content: bytes) -> bytes:
    origin = [*parameter(content, "FORCE_PLATFORM", "ORIGIN")]
    return with_parameter(content, "FORCE_PLATFORM", "ORIGIN", [-x for x in origin])


def _one_point_more(content: bytes) -> bytes:
    return with_header_word(content, 2, header_word(content, 2) + 1)


def _every_other_contact(content: bytes) -> bytes:
    """A second file whose foot switches close at every other contact of a foot only."""
    file = edfio.read_edf(content)
    for signal in file.signals:
        if signal.label.startswith("FOOT"):
            data = signal.data.copy()
            closed = np.concatenate([[False], data > (data.min() + data.max()) / 2])
            runs = np.cumsum(np.diff(closed.astype(int)) == 1)
            data[closed[1:] & (runs % 2 == 0)] = data.min()
            signal.update_data(data)
    return file.to_bytes()


def _with_group(content: bytes, group: str, values: Mapping[str, list[float]]) -> bytes:
    """The file as the open library writes it again, with one group more, and without its author's address."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "trial.c3d"
        path.write_bytes(content)
        file = ezc3d.c3d(str(path))
        for name, own in values.items():
            file.add_parameter(group, name, own)
        file.write(str(path))
        return without_address(path.read_bytes())


def _fields_of_longer_trial(content: bytes) -> bytes:
    frames = header_word(content, 5) - header_word(content, 4) + 1
    return _with_group(content, "TRIAL", {"ACTUAL_START_FIELD": [1, 0], "ACTUAL_END_FIELD": [frames + 40, 0]})


def _group_twice(content: bytes, values: Mapping[str, list[float]]) -> bytes:
    return _with_group(content, "ANALOX", values).replace(b"ANALOX", b"ANALOG", 1)


def _scale_of_first_channel_gone(content: bytes) -> bytes:
    return with_parameter(content, "ANALOG", "SCALE", [0.0, *parameter(content, "ANALOG", "SCALE")[1:]])


def _same_label(first: str, second: str) -> Fault:
    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        return replace(recording, labels=tuple(first if x == second else x for x in recording.labels))

    return plant


def _same_channel(recording: Recording, trial: SimulatedTrial) -> Recording:
    labels = tuple("switch_L" if x == "switch_R" else x for x in recording.analog_labels)
    return replace(recording, analog_labels=labels)


def _zeros(recording: Recording, trial: SimulatedTrial) -> Recording:
    points = recording.points.copy()
    points[100:120, [recording.marker(label) for label in ("leftKnee", "rightKnee", "leftAnkle")]] = 0.0
    return replace(recording, points=points)


def _unmarked(header: bytes) -> Callable[[bytes], bytes]:
    return lambda content: content.replace(header, header.lower(), 1)


def _first_field(start: int, text: str) -> Callable[[bytes], bytes]:
    return lambda content: edf_edit.with_field(content, 0, start, text)


SENT = {
    "scale 8 % off": Sent(
        "corrie", FILE, ("scale", "POINT:SCALE"), bytes_fault=lambda c: with_header_float(c, 7, lambda s: 1.08 * s)
    ),
    "sign of the scale turned": Sent(
        "brack", FILE, ("floats", "integers"), bytes_fault=_sign_turned, asked=STAND
    ),
    "rate 5 % off": Sent(
        "brack", FILE, ("frames per second",), STAND, lambda c: with_header_float(c, 11, lambda rate: 1.05 * rate)
    ),
    "frames left unread": Sent("brack", FILE, ("bytes follow the last", "not read"), STAND, lambda c: _lowered(c, 30)),
    "analog rate of another recording": Sent(
        "brack", FILE, ("ANALOG:RATE",), RUN, lambda c: with_parameter(c, "ANALOG", "RATE", [2000.0])
    ),
    "data said to begin a block early": Sent(
        "corrie", TIDY, ("POINT:DATA_START", "only that fits the size"), STAND, _one_block_early
    ),
    "general scale of 0": Sent(
        "brack", FILE, ("GEN_SCALE",), RUN, lambda c: with_parameter(c, "ANALOG", "GEN_SCALE", [0.0])
    ),
    "no scales of channels": Sent(
        "brack", FILE, ("ANALOG:SCALE has 0 entries",), RUN, lambda c: renamed(c, "ANALOG", "SCALE", "SKALE")
    ),
    "origin missing": Sent(
        "brack", PLATES, ("ORIGIN",), RUN, lambda c: renamed(c, "FORCE_PLATFORM", "ORIGIN", "ORAGIN")
    ),
    "one channel twice": Sent("brack", PLATES, ("channel 2 more than once",), RUN, _one_channel_twice),
    "fewer plates used than described": Sent(
        "corrie", PLATES, ("USED is 2", "TYPE names 3"), RUN, lambda c: with_parameter(c, "FORCE_PLATFORM", "USED", [2])
    ),
    "scale of a plate's channel 0": Sent("brack", PLATES, ("channel 1",), RUN, _scale_of_first_channel_gone),
    "corners no rectangle": Sent("brack", PLATES, ("rectangle",), RUN, _corner_pulled),
    "calibration of type 4 missing": Sent(
        "brack", PLATES, ("CAL_MATRIX",), RUN, lambda c: with_parameter(c, "FORCE_PLATFORM", "TYPE", [4])
    ),
    "two markers of one name": Sent(
        "brack", NAMES, ("heel_L (2 times)",), STAND, fault=_same_label("heel_L", "heel_R")
    ),
    "two parameters of one name": Sent(
        "brack", NAMES, ("ANALOG:SCALE (2 times)",), RUN, lambda c: renamed(c, "ANALOG", "UNITS", "SCALE")
    ),
    "fields of a longer trial": Sent("brack", TIDY, ("TRIAL:ACTUAL", "only that fits the size"), STAND, _fields_of_longer_trial),
    "two groups of one name that disagree": Sent(
        "brack", NAMES, ("ANALOG",), RUN, partial(_group_twice, values={"SCALE": [2.0] * 40})
    ),
    "two channels of one name": Sent("brack", NAMES, ("switch_L (2 times)",), RUN, fault=_same_channel),
    "plate tilted": Sent("brack", PLATES, ("tilt its surface",), RUN, _tilted),
    "origin against the convention": Sent("brack", TIDY, ("ORIGIN", "turned round"), RUN, _origin_upwards),
    "points counted twice over": Sent("brack", TIDY, ("points", "POINT:USED"), STAND, _one_point_more),
    "block lost in a second file without times": Sent(
        "tarn", CLOCK, ("cannot be matched",), RUN, second_fault=lambda c: edf_edit.retimed(edf_edit.without_record(c, 20))
    ),
    "block doubled in a second file without times": Sent(
        "tarn", CLOCK, ("cannot be matched",), RUN, second_fault=lambda c: edf_edit.retimed(edf_edit.doubled_record(c, 20))
    ),
    "every other contact missing in the second file": Sent(
        "tarn", CLOCK, ("cannot be matched",), RUN, second_fault=_every_other_contact
    ),
    "hole in the second file": Sent(
        "tarn", SECOND, ("0.1 s are missing",), RUN, second_fault=lambda c: edf_edit.without_record(c, 20)
    ),
    "times of an EDF+ file lost": Sent(
        "tarn",
        SECOND,
        ("do not say when they begin",),
        RUN,
        second_fault=lambda c: c.replace(b"EDF Annotations ", b"Annotations     ", 1),
    ),
    "record of the second file doubled": Sent(
        "tarn", SECOND, ("overlap",), RUN, second_fault=lambda c: edf_edit.doubled_record(c, 20)
    ),
    "two channels of one name in the second file": Sent(
        "tarn", NAMES, ("FOOT L (2 times)",), RUN, second_fault=lambda c: c.replace(b"FOOT R ", b"FOOT L ", 1)
    ),
    "interrupted and in lower case": Sent(
        "tarn",
        READ,
        ("EDF+D",),
        RUN,
        second_fault=lambda c: edf_edit.without_record(c, 20).replace(b"EDF+C", b"edf+d", 1),
    ),
    "digital range turned round": Sent("tarn", READ, ("digital minimum",), RUN, second_fault=_first_field(120, "32768")),
    "digital limit with a fraction": Sent("tarn", READ, ("no whole number",), RUN, second_fault=_first_field(120, "-9.5")),
    "physical range empty": Sent("tarn", READ, ("physical minimum",), RUN, second_fault=_first_field(104, "16383.5")),
    "records counted wrongly": Sent(
        "tarn", READ, ("too short",), RUN, second_fault=lambda c: c[:236] + b"999     " + c[244:]
    ),
    "decimal comma": Sent("tarn", READ, ("decimal comma",), RUN, second_fault=_first_field(104, "-1638,4")),
    "samples outside the stated range": Sent(
        "tarn",
        SECOND,
        ("outside the digital range",),
        RUN,
        second_fault=lambda c: edf_edit.with_field(c, 0, 120, "-20"),
    ),
    "zeros for gaps": Sent("tarn", ZEROS, ("3 markers", "leftKnee in 20 frames"), RUN, fault=_zeros),
}  # fmt: skip


def _delivery(site: str) -> tuple[Delivery, dict[str, str]]:
    """All faulty trials of one laboratory, and which trial has which contradiction."""
    session = Session({"brack": "FS-01", "corrie": "FS-04", "tarn": "FS-14"}[site], "week_0", site)
    trials, ids, seconds = [PlannedTrial(session, "cushioned", "standing", Asked("standing"))], {}, {}
    for number, (name, sent) in enumerate(SENT.items(), 1):
        if sent.site == site:
            own = "standing" if sent.asked.kind == "standing" else "run"
            trial = PlannedTrial(session, "cushioned", f"{own}-{number}", sent.asked, sent.fault, sent.bytes_fault)
            trials.append(trial)
            ids[name] = trial.trial_id
            seconds[trial.sidecar] = sent.second_fault

    def spoil(files: dict[str, bytes]) -> None:
        for path, fault in seconds.items():
            if path is not None and fault is not None:
                files[path] = fault(files[path])

    return Delivery(site, f"{site}-001", site, 1, tuple(trials), payload_fault=spoil), ids


@dataclass(frozen=True)
class Taken:
    """What became of the trials: findings as (check, weight, seen), standing, and rows of the outcomes."""

    findings: dict[str, list[tuple[str, str, str]]]
    standings: dict[str, str]


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> Taken:
    folder = tmp_path_factory.mktemp("contradictions")
    ids: dict[str, str] = {}
    for site in ("brack", "corrie", "tarn"):
        delivery, own = _delivery(site)
        delivery.pack(folder / "inbox", folder / "work")
        ids |= own
    take_in_only(folder / "inbox", folder / "depot")
    found: dict[str, list[tuple[str, str, str]]] = {}
    standings: dict[str, str] = {}
    for delivery_tables in tables(folder / "depot").values():
        for row in delivery_tables["findings"]:
            found.setdefault(row["trial_id"], []).append((row["check_name"], row["weight"], row["seen"]))
        standings |= {row["trial_id"]: row["standing"] for row in delivery_tables["standings"]}
    return Taken({name: found.get(t, []) for name, t in ids.items()}, {name: standings[t] for name, t in ids.items()})


@pytest.mark.parametrize("name", SENT)
def test_it_goes_back_unless_no_value_depends_on_it_and_the_finding_names_both_sides(taken: Taken, name: str) -> None:
    sent = SENT[name]
    own = [seen for check, _, seen in taken.findings[name] if check == sent.check]
    assert own, taken.findings[name]
    for word in sent.says:
        assert any(word in seen for seen in own), own
    assert taken.standings[name] == ("accepted" if sent.check in (ZEROS, TIDY) else "returned")


def test_zeros_for_gaps_are_one_finding_and_read_as_gaps(taken: Taken) -> None:
    """Before, three markers blanked for 20 frames went back for four wrong causes."""
    checks = [check for check, _, _ in taken.findings["zeros for gaps"]]
    assert checks == [ZEROS]


def test_all_twins_are_told_in_one_finding() -> None:
    from checks.self_description.name_rules import contradictions
    from schemas.self_description import Twin

    twins = [Twin("point", f"M{i}", 2, alike=False) for i in range(9)]
    (told,) = contradictions(twins, {t.name for t in twins}, ())
    assert all(twin.name in told.said for twin in twins)
