"""Faults in the bytes of finished files, read by the real reader: what it hands over, and what the rules make of it.

Simulated recordings of all laboratories, and real ones where they lie beside the repository: what is found must not hang
on one simulator. Each file is sound before the fault, and nothing is said of it then.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from benchmarks.detection.specimens import Case, specimen
from checks.registry import Weight
from checks.self_description import second_file_rules
from checks.self_description.agreement import contradictions_in
from demo_site_uploads.simulator.c3d_edit import header_word, parameter, with_parameter
from demo_site_uploads.simulator.c3d_writer import c3d_bytes
from pipelines.intake.c3d.decode import stored_numbers
from pipelines.intake.c3d.reading import Recording, read_c3d
from pipelines.intake.sidecar import read_sidecar
from schemas.self_description import SelfDescription

SHARED = Path(__file__).resolve().parents[4] / "shared"
REAL = {
    "run": SHARED / "real_run" / "run.c3d",
    "treadmill": SHARED / "real_treadmill" / "r02_run25_landmarks.c3d",
    "runway": SHARED / "real_runway_emg" / "r11_run35.c3d",
}


@cache
def sound(name: str) -> bytes:
    if name in REAL:
        return REAL[name].read_bytes()
    return c3d_bytes(specimen(Case(3, name)).recording)


def recordings(*names: str) -> list[object]:
    there = pytest.mark.skipif(not SHARED.is_dir(), reason="real recordings are not part of the repository")
    return [pytest.param(name, marks=[there] if name in REAL else []) for name in names]


def reading(content: bytes, folder: Path) -> Recording:
    path = folder / "trial.c3d"
    path.write_bytes(content)
    return read_c3d(path)


def description(content: bytes, folder: Path) -> SelfDescription:
    return reading(content, folder).description


def said(content: bytes, folder: Path) -> dict[str, str]:
    """Place of a rule -> weight."""
    return {c.place: str(c.weight) for c in contradictions_in(description(content, folder))}


def data_of(content: bytes, folder: Path) -> tuple[int, int, int, int]:
    """First byte of the data, bytes of a frame, frames, bytes of one point."""
    layout = reading(content, folder).layout
    counts = layout.counts
    return counts.data_start, counts.frame_bytes, counts.frames, 4 * counts.values_size


EVERY = recordings("brack", "corrie", "tarn", *REAL)


@pytest.mark.parametrize("name", EVERY)
def test_of_sound_samples_nothing_is_said(name: str, tmp_path: Path) -> None:
    samples = description(sound(name), tmp_path).samples
    assert (samples.blank, samples.filled_up, samples.displaced) == ((), 0, None)
    assert samples.smooth_else < max(4, 3 * samples.smooth)
    assert samples.leaps_as_stated <= samples.leaps_else


@pytest.mark.parametrize("filling", [0, 0xF6])
@pytest.mark.parametrize("blocks", [1, 4])
@pytest.mark.parametrize("name", EVERY)
def test_blocks_that_a_disk_lost_are_found_where_they_lie(name: str, blocks: int, filling: int, tmp_path: Path) -> None:
    content = sound(name)
    start, frame, frames, _ = data_of(content, tmp_path)
    at = (start + frames // 2 * frame) // 512 * 512 + 512
    lost = content[:at] + bytes([filling]) * (512 * blocks) + content[at + 512 * blocks :]
    (found,) = description(lost, tmp_path).samples.blank
    assert (found.first_byte, found.bytes, found.filling) == (at, 512 * blocks, filling)


@pytest.mark.parametrize("name", recordings("brack", "corrie"))
def test_markers_that_nobody_saw_are_no_lost_block(name: str, tmp_path: Path) -> None:
    """Zeros of a writer begin and end with a frame's points, and force goes on meanwhile."""
    content = bytearray(sound(name))
    start, frame, _, point = data_of(bytes(content), tmp_path)
    points = header_word(bytes(content), 2)
    for number in range(40, 60):
        content[start + number * frame : start + number * frame + points * point] = bytes(points * point)
    found = description(bytes(content), tmp_path)
    assert found.samples.blank == ()
    assert {gone.frames for gone in found.unmarked} == {20}


@pytest.mark.parametrize("within", [0.0, 0.3])
@pytest.mark.parametrize("places", [1, 2])
@pytest.mark.parametrize("name", recordings("brack", "corrie", "tarn", "run", "runway"))
def test_points_lost_in_the_middle_are_told_with_the_frame(
    name: str, places: int, within: float, tmp_path: Path
) -> None:
    content = sound(name)
    start, frame, frames, point = data_of(content, tmp_path)
    lost = places * point
    at = start + frames // 2 * frame + int(within * frame) // point * point
    end = start + frames * frame
    shorter = content[:at] + content[at + lost : end] + bytes(lost) + content[end:]
    found = description(shorter, tmp_path).samples.displaced
    assert found is not None
    assert found[1] == places
    assert abs(found[0] - frames // 2 - 1) <= 2


@pytest.mark.parametrize("name", recordings("brack", "corrie"))
def test_a_frame_lost_before_and_zeros_put_at_the_end_are_told(name: str, tmp_path: Path) -> None:
    content = sound(name)
    start, frame, frames, _ = data_of(content, tmp_path)
    at, end = start + frames // 2 * frame, start + frames * frame
    filled = content[:at] + content[at + frame : end] + bytes(frame) + content[end:]
    assert description(filled, tmp_path).samples.filled_up == 1


@pytest.mark.parametrize("name", recordings("brack", "corrie", "run", "runway"))
def test_analog_samples_that_stand_channel_by_channel_are_told(name: str, tmp_path: Path) -> None:
    content = sound(name)
    layout = reading(content, tmp_path).layout
    counts = layout.counts
    stored = stored_numbers(content, layout).copy()
    analog = stored[:, 4 * counts.points :].reshape(counts.frames, counts.samples_per_frame, counts.channels)
    stored[:, 4 * counts.points :] = analog.transpose(0, 2, 1).reshape(counts.frames, -1)
    end = counts.data_start + counts.frames * counts.frame_bytes
    samples = description(content[: counts.data_start] + stored.tobytes() + content[end:], tmp_path).samples
    assert samples.smooth_else >= max(4, 3 * samples.smooth)


def with_marker(content: bytes, folder: Path, position: tuple[float, float, float], frames: range) -> bytes:
    """A file of floats in which the marker that is seen best stands somewhere else for some frames."""
    start, frame, _, point = data_of(content, folder)
    column = int(np.argmax(reading(content, folder).valid.mean(axis=0)))
    out = bytearray(content)
    for number in frames:
        at = start + number * frame + column * point
        out[at : at + 16] = struct.pack("<4f", *position, 0.0)
    return bytes(out)


@pytest.mark.parametrize("frames", [range(100, 101), range(100, 120)], ids=["one frame", "twenty"])
@pytest.mark.parametrize("number", [-9999.0, 9999.0, 1e6, -999999.0, 0.0])
@pytest.mark.parametrize("name", recordings("brack", "run", "treadmill"))
def test_numbers_that_stand_for_a_gap_are_read_as_one(name: str, number: float, frames: range, tmp_path: Path) -> None:
    recording = reading(with_marker(sound(name), tmp_path, (number,) * 3, frames), tmp_path)
    (gone,) = [one for one in recording.description.unmarked if one.position == (number,) * 3]
    assert gone.frames == len(frames)
    column = recording.labels.index(gone.label)
    assert np.flatnonzero(recording.unmarked[:, column]).tolist() == list(frames)


@pytest.mark.parametrize("position", [(1000.0, 0.0, 900.0), (0.0, 0.0, 1e-6), (5000.0, 100.0, 0.0)])
def test_zeros_that_an_origin_or_a_sum_changed_are_read_as_a_gap(
    position: tuple[float, float, float], tmp_path: Path
) -> None:
    """They stand still to the bit, and the marker leaps there and back."""
    found = description(with_marker(sound("brack"), tmp_path, position, range(100, 120)), tmp_path).unmarked
    assert [one.frames for one in found] == [20]


def test_a_marker_that_was_held_or_that_stands_still_is_no_gap(tmp_path: Path) -> None:
    """What was carried on over a gap has a finding of its own, and integers of a person who stands repeat by themselves."""
    content = sound("brack")
    column = int(np.argmax(reading(content, tmp_path).valid.mean(axis=0)))
    last = tuple(reading(content, tmp_path).points[99, column])
    assert description(with_marker(content, tmp_path, last, range(100, 120)), tmp_path).unmarked == ()
    standing = c3d_bytes(specimen(Case(3, "corrie", "standing")).recording)
    assert description(standing, tmp_path).unmarked == ()


def _corners_in_metres(content: bytes) -> bytes:
    corners = [x / 1000 for x in parameter(content, "FORCE_PLATFORM", "CORNERS")]
    return with_parameter(content, "FORCE_PLATFORM", "CORNERS", corners)


def _origin(*values: float) -> Callable[[bytes], bytes]:
    return lambda content: with_parameter(content, "FORCE_PLATFORM", "ORIGIN", values)


def _nan_in_force(content: bytes) -> bytes:
    start, frame = (header_word(content, 9) - 1) * 512, 0
    points, analog = header_word(content, 2), header_word(content, 3)
    frame = 4 * (4 * points + analog)
    at = start + 200 * frame + 16 * points + 8
    return content[:at] + struct.pack("<f", float("nan")) + content[at + 4 :]


@pytest.mark.parametrize(
    ("name", "change", "place", "weight"),
    [
        ("corrie", _corners_in_metres, "size of a force plate", "returns"),
        ("corrie", _origin(0.0, 0.0, -0.042), "origin of a force plate", "returns"),
        ("brack", _origin(0.0, 0.0, 0.0), "origin of a force plate", "notes"),
        ("brack", _nan_in_force, "samples of force plates", "returns"),
    ],
)
def test_a_plate_in_another_unit_or_without_numbers_is_told(
    name: str, change: Callable[[bytes], bytes], place: str, weight: str, tmp_path: Path
) -> None:
    assert place not in said(sound(name), tmp_path)
    assert said(change(sound(name)), tmp_path)[place] == weight


def test_samples_said_to_be_signed_that_are_unsigned_send_the_trial_back(tmp_path: Path) -> None:
    content = sound("corrie")
    layout = reading(content, tmp_path).layout
    counts = layout.counts
    stored = stored_numbers(content, layout).copy()
    stored[:, 4 * counts.points :] ^= np.int16(-32768)  # as numbers from 0 on: their middle is 32768
    end = counts.data_start + counts.frames * counts.frame_bytes
    unsigned = content[: counts.data_start] + stored.tobytes() + content[end:]
    assert said(unsigned, tmp_path)["sign of analog samples"] == Weight.RETURNS


def test_bits_that_samples_do_not_keep_to_are_noted_and_set_no_limit(tmp_path: Path) -> None:
    """Else a large force would seem cut off, and the advice would be to record it again."""
    content = sound("corrie")
    fewer = with_parameter(content, "ANALOG", "BITS", [12])
    assert said(fewer, tmp_path) == {"bits of the converter": "notes"}
    assert np.array_equal(reading(fewer, tmp_path).analog_limits, reading(content, tmp_path).analog_limits)


@cache
def second() -> bytes:
    content = specimen(Case(3, "tarn", muscles=True, second=True)).second
    assert content is not None
    return content


def said_of_second(content: bytes, folder: Path) -> list[str]:
    path = folder / "trial.edf"
    path.write_bytes(content)
    return list(second_file_rules.said_of(read_sidecar(path).says))


def test_two_channels_that_took_samples_from_one_another_are_named(tmp_path: Path) -> None:
    content = second()
    assert said_of_second(content, tmp_path) == []
    count = int(content[252:256])
    at = 256 + 216 * count
    few = content[:at] + b"50      150     " + content[at + 16 :]
    assert "50 samples in a record" in " ".join(said_of_second(few, tmp_path))


def test_a_lost_block_of_a_second_file_is_found(tmp_path: Path) -> None:
    content = second()
    at = len(content) // 2 // 512 * 512
    told = said_of_second(content[:at] + bytes(1024) + content[at + 1024 :], tmp_path)
    assert f"1024 bytes from byte {at}" in " ".join(told)
