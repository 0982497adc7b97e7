"""Reading C3D files made here byte by byte: processors, storage, scales, disagreements, damage."""

import time

import ezc3d
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.self_description.agreement import contradictions_in
from pipelines.intake.c3d.numbers import float32
from pipelines.intake.c3d.problem import C3dProblem
from pipelines.intake.c3d.reading import read_c3d
from tests.pipelines.intake.c3d_bytes import c3d_bytes, pack_float
from tests.tries import tries

FRAMES, POINTS, CHANNELS, PER_FRAME = 5, 3, 4, 2
WHOLE = np.arange(FRAMES * POINTS * 3).reshape(FRAMES, POINTS, 3) * 7 - 60
RAW = np.arange(FRAMES * PER_FRAME * CHANNELS).reshape(-1, CHANNELS) * 11 - 100
EVERY = [(p, s) for p in ("INTEL", "DEC", "MIPS") for s in ("float", "int")]


@pytest.fixture
def read(tmp_path):
    def reader(points=WHOLE, analog=RAW, **how):
        path = tmp_path / "one.c3d"
        path.write_bytes(c3d_bytes(points, analog, **how))
        return read_c3d(path)

    return reader


@pytest.mark.parametrize(("processor", "storage"), EVERY)
def test_every_encoding_gives_the_same_signals(read, processor, storage):
    recording = read(
        processor=processor, storage=storage, scale=0.5, offset=[3, 0, 1, 2], analog_scale=[2.0, -1.0, 0.5, 1.0]
    )
    expected = WHOLE * (0.5 if storage == "int" else 1.0)
    np.testing.assert_array_equal(recording.points, expected)
    np.testing.assert_array_equal(recording.analog, (RAW - [3, 0, 1, 2]) * [2.0, -1.0, 0.5, 1.0])
    facts = recording.facts
    assert (facts.processor, facts.storage) == (processor, storage)
    assert (facts.point_count, facts.frame_count, facts.point_rate_hz) == (POINTS, FRAMES, 100)
    assert (facts.analog_count, facts.analog_rate_hz, facts.point_unit) == (CHANNELS, 200, "mm")
    assert facts.oddities == ()
    assert contradictions_in(recording.description) == []


@given(st.floats(min_value=2.0**-100, max_value=2.0**100, width=32), st.booleans())
def test_dec_floats_come_back(value, negative):
    value = -value if negative else value
    assert float32(pack_float(value, "DEC"), "DEC")[0] == np.float32(value)


def test_known_dec_bytes():
    # 1.0 in the VAX F format is 4080 hexadecimal followed by zeros, least significant byte of each half first
    assert float32(b"\x80\x40\x00\x00", "DEC")[0] == 1.0
    assert float32(b"\x80\xc0\x00\x00", "DEC")[0] == -1.0
    assert float32(b"\x00\x00\x00\x00", "DEC")[0] == 0.0


def test_a_file_written_by_another_library_is_read_as_that_library_reads_it(tmp_path):
    path = tmp_path / "other.c3d"
    rng = np.random.default_rng(1)
    file = ezc3d.c3d()
    file["parameters"]["POINT"]["RATE"]["value"] = [200.0]
    file["parameters"]["POINT"]["LABELS"]["value"] = tuple(f"M{i}" for i in range(300))
    file["parameters"]["ANALOG"]["RATE"]["value"] = [1000.0]
    file["parameters"]["ANALOG"]["LABELS"]["value"] = ("a", "b")
    file["data"]["points"] = np.concatenate([rng.normal(size=(3, 300, 20)), np.ones((1, 300, 20))])
    file["data"]["analogs"] = rng.normal(size=(1, 2, 100))
    file.write(str(path))
    again = ezc3d.c3d(str(path))["data"]
    recording = read_c3d(path)
    np.testing.assert_array_equal(recording.points, again["points"][:3].transpose(2, 1, 0))
    np.testing.assert_array_equal(recording.analog, again["analogs"][0].T)
    assert recording.labels == tuple(f"M{i}" for i in range(300))  # beyond what one parameter holds


@pytest.mark.parametrize(("processor", "storage"), EVERY)
def test_a_negative_residual_makes_a_point_invalid(read, processor, storage):
    residuals = np.zeros((FRAMES, POINTS), int)
    residuals[2, 1] = -1
    recording = read(processor=processor, storage=storage, residuals=residuals)
    np.testing.assert_array_equal(recording.valid, residuals >= 0)
    assert np.isnan(recording.points[2, 1]).all()
    assert np.isfinite(recording.points).sum() == 3 * (FRAMES * POINTS - 1)


def test_a_file_without_any_valid_point_says_so(read):
    recording = read(residuals=-np.ones((FRAMES, POINTS), int))
    assert not recording.valid.any()
    assert any("every point" in oddity for oddity in recording.oddities)


def test_when_header_and_parameters_disagree_the_size_of_the_file_decides(read):
    frames = 200
    points = np.tile(WHOLE[:1], (frames, 1, 1)) + np.arange(frames)[:, None, None]
    analog = np.tile(RAW[:2], (frames, 1))
    wrong_parameters = read(points, analog, extra={"POINT": {"USED": POINTS + 1, "FRAMES": frames - 7}})
    wrong_header = read(points, analog, header={2: POINTS + 2})
    for recording in (wrong_parameters, wrong_header):
        np.testing.assert_array_equal(recording.points, points)
        np.testing.assert_array_equal(recording.analog, analog)
        assert any(
            "points" in said.said and said.weight == "notes" for said in contradictions_in(recording.description)
        )


def test_a_missing_analog_rate_follows_from_the_samples_in_a_frame(read):
    recording = read(leave_out=("ANALOG:RATE",))
    assert recording.facts.analog_rate_hz == 200
    np.testing.assert_array_equal(recording.analog, RAW)
    assert [said.place for said in contradictions_in(recording.description)] == ["analog rate"]


def test_a_wrong_data_start_parameter_is_told_and_not_followed(read):
    recording = read(extra={"POINT": {"DATA_START": 1}})
    np.testing.assert_array_equal(recording.points, WHOLE)
    assert [said.place for said in contradictions_in(recording.description)] == ["first block of the data"]


def test_unsigned_samples_with_an_offset_stored_as_negative(read):
    counts = np.tile([32700, 32786, 40000, 65535], (FRAMES * PER_FRAME, 1))
    recording = read(
        analog=counts.astype(np.uint16).view(np.int16).astype(int),
        storage="int",
        offset=[-32750] * CHANNELS,
        extra={"ANALOG": {"FORMAT": ["UNSIGNED"], "BITS": 16}},
    )
    np.testing.assert_array_equal(recording.analog[0], [32700 - 32786, 0, 40000 - 32786, 65535 - 32786])
    np.testing.assert_array_equal(recording.analog_limits[0], [-32786, 65535 - 32786])


def test_unsigned_floats_with_an_offset_stored_as_negative_and_no_declaration(read):
    recording = read(analog=np.full((FRAMES * PER_FRAME, CHANNELS), 32770), offset=[-32768, -5, 0, 0])
    np.testing.assert_array_equal(recording.analog[0], [2, 32775, 32770, 32770])


def test_a_small_negative_offset_is_subtracted_as_it_is(read):
    np.testing.assert_array_equal(read(offset=[-5, 0, 0, 0]).analog[:, 0], RAW[:, 0] + 5)


def test_the_declared_bits_limit_what_a_channel_can_hold(read):
    recording = read(
        storage="int", analog_scale=[-2.0, 1.0, 1.0, 1.0], extra={"ANALOG": {"BITS": 12, "FORMAT": ["SIGNED"]}}
    )
    np.testing.assert_array_equal(recording.analog_limits[0], [-2 * 2047, 2 * 2048])
    np.testing.assert_array_equal(recording.analog_limits[1], [-2048, 2047])


@pytest.mark.parametrize(("largest", "high"), [(4095, 4095), (4096, 32767)])
def test_undeclared_twelve_bit_boards_are_known_by_their_offset_and_range(read, largest, high):
    analog = np.full((FRAMES * PER_FRAME, CHANNELS), 2000)
    analog[0, 0] = largest
    recording = read(analog=analog, storage="int", offset=[2048] * CHANNELS)
    assert recording.analog_limits[2, 1] == high - 2048


def test_float_samples_have_no_known_limits(read):
    assert np.isnan(read().analog_limits).all()


def test_a_long_recording_counts_beyond_65535_frames(read):
    frames = 70_000
    points = np.zeros((frames, 1, 3), int)
    points[:, 0, 0] = np.arange(frames) % 1000
    actual = {"ACTUAL_START_FIELD": [1, 0], "ACTUAL_END_FIELD": [frames - 65536, 1]}
    for how in (
        {"extra": {"TRIAL": actual, "POINT": {"FRAMES": 65535}}, "header": {5: 65535}},
        {"extra": {"POINT": {"LONG_FRAMES": float(frames), "FRAMES": 65535}}, "header": {5: 65535}},
        {"extra": {"POINT": {"FRAMES": frames - 65536}}, "header": {5: frames - 65536}},
    ):
        recording = read(points, np.empty((frames, 0)), storage="int", scale=1.0, samples_per_frame=1, **how)
        np.testing.assert_array_equal(recording.points, points)


@pytest.mark.parametrize("storage", ["float", "int"])
def test_a_header_without_a_scale_leaves_it_to_the_parameters(read, storage):
    recording = read(storage=storage, scale=0.5, header={7: 0, 8: 0})
    np.testing.assert_array_equal(recording.points, WHOLE * (0.5 if storage == "int" else 1))
    np.testing.assert_array_equal(recording.analog, RAW)


def test_events_and_texts_are_kept(read):
    recording = read(
        extra={
            "EVENT": {
                "USED": 2,
                "TIMES": ([0.0, 0.02, 1.0, 0.5], (2, 2)),
                "LABELS": ["Foot on", "Foot off"],
                "CONTEXTS": ["Left", "Right"],
            },
            "SUBJECTS": {"NAMES": ["somebody"]},
        }
    )
    assert [e[1:] for e in recording.layout.events] == [("Foot on", "Left"), ("Foot off", "Right")]
    np.testing.assert_allclose([e[0] for e in recording.layout.events], [0.02, 60.5])
    assert ("SUBJECTS:NAMES", ("somebody",)) in recording.layout.texts


def test_points_without_analog_and_analog_without_points(read):
    only_points = read(analog=np.empty((FRAMES * PER_FRAME, 0)))
    assert (only_points.facts.analog_count, only_points.facts.analog_rate_hz) == (0, None)
    np.testing.assert_array_equal(only_points.points, WHOLE)
    only_analog = read(points=np.empty((FRAMES, 0, 3)))
    assert only_analog.points.shape == (FRAMES, 0, 3)
    np.testing.assert_array_equal(only_analog.analog, RAW)


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "0 bytes"),
        (b"not a motion file at all" * 100, "80"),
        (bytes([2, 80]) + bytes(2000), "processor type 0"),
        (bytes([9, 80]) + bytes(2000), "block 9"),
    ],
    ids=["empty", "text", "no_processor", "no_section"],
)
def test_what_is_no_c3d_file_is_refused_in_a_sentence(tmp_path, content, word):
    path = tmp_path / "no.c3d"
    path.write_bytes(content)
    with pytest.raises(C3dProblem, match=word) as refused:
        read_c3d(path)
    assert refused.value.problem == "malformed"
    assert not refused.value.detail.endswith(".")


def test_a_missing_file_is_told_as_missing(tmp_path):
    with pytest.raises(C3dProblem) as refused:
        read_c3d(tmp_path / "nowhere.c3d")
    assert refused.value.problem == "missing"


def test_a_file_cut_off_in_its_data_is_refused_with_the_frames_it_holds(tmp_path):
    whole = c3d_bytes(np.tile(WHOLE, (40, 1, 1)), np.tile(RAW, (40, 1)))
    path = tmp_path / "cut.c3d"
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(C3dProblem, match="declares 200 frames of 80 bytes"):
        read_c3d(path)


@tries(150)
@given(data=st.data(), processor=st.sampled_from(["INTEL", "DEC", "MIPS"]))
def test_our_own_reading_of_damaged_bytes_ends_in_a_refusal_or_in_whole_arrays(data, processor):
    from pipelines.intake.c3d.decode import decode
    from pipelines.intake.c3d.layout import read_layout
    from pipelines.intake.c3d.platforms import plate_specs

    content = bytearray(c3d_bytes(WHOLE, RAW, processor=processor, storage="int"))
    for _ in range(data.draw(st.integers(0, 6))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    content = bytes(content[: data.draw(st.integers(0, len(content)))] if data.draw(st.booleans()) else content)
    try:
        with np.errstate(all="ignore"):
            layout = read_layout(content)
            points, valid, analog = decode(content, layout)
            plate_specs(layout)
    except C3dProblem:
        return
    counts = layout.counts
    assert points.shape == (counts.frames, counts.points, 3)
    assert valid.shape == points.shape[:2]
    assert analog.size == counts.frames * counts.analog_per_frame
    assert counts.left_over(len(content)) >= 0


def test_a_parameter_turned_into_a_group_by_damage_is_told(tmp_path):
    content = bytearray(c3d_bytes(WHOLE, RAW, extra={"SUBJECTS": {"NAMES": ["x" * 40]}}))
    at = content.index(b"NAMES") - 1
    content[at] = 0x90  # the group number of a parameter, made negative
    path = tmp_path / "odd.c3d"
    path.write_bytes(bytes(content))
    recording = read_c3d(path)
    np.testing.assert_array_equal(recording.points, WHOLE)
    assert any("longer or shorter" in oddity for oddity in recording.oddities)


def test_declared_counts_beyond_any_file_are_refused_before_anything_is_made_of_them(tmp_path):
    """A recording of no frames fits every count of points and channels; none of them may become a list or an array."""
    none = {2: 0, 3: 0, 4: 1, 5: 0}
    no_points, no_analog = np.empty((FRAMES, 0, 3)), np.empty((FRAMES * PER_FRAME, 0))
    path = tmp_path / "huge.c3d"
    for points, analog, extra in (
        (WHOLE, no_analog, {"POINT": {"USED": 1e12, "FRAMES": 0}}),
        (no_points, RAW, {"ANALOG": {"USED": 1e12}, "POINT": {"FRAMES": 0}}),
        (no_points, RAW, {"ANALOG": {"RATE": 9e6}, "POINT": {"RATE": 1e-6, "FRAMES": 0}}),
    ):
        path.write_bytes(c3d_bytes(points, analog, header=none, extra=extra))
        with pytest.raises(C3dProblem, match="no frame of the declared points and analog channels fits"):
            read_c3d(path)


def test_a_file_with_thousands_of_equal_labels_is_read_in_no_time(tmp_path):
    count = 16_000
    labels = {f"LABELS{i or ''}": ["same"] * 255 for i in (0, *range(2, 65))}
    path = tmp_path / "labels.c3d"
    path.write_bytes(c3d_bytes(np.zeros((1, count, 3), int), np.empty((2, 0)), storage="int", extra={"POINT": labels}))
    began = time.process_time()
    recording = read_c3d(path)
    assert time.process_time() - began < 2
    assert [(t.name, t.count, t.alike) for t in recording.description.twins] == [("same", count, True)]


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -1e30])
def test_plate_numbers_stored_as_floats_that_are_no_counts_are_told_and_never_raise(read, number):
    plate = {"USED": 1, "TYPE": [number], "ZERO": [number, number], "CHANNEL": [1.0, number, 3.0, 4.0, 1.0, 2.0]}
    recording = read(extra={"FORCE_PLATFORM": plate})
    assert recording.plates[0].problem
    assert recording.plates[0].zero_frames == (0, 0)
    assert recording.description.plates.plates[0].problem


def test_two_groups_under_one_number_are_told_with_both_their_names(tmp_path):
    content = bytearray(c3d_bytes(WHOLE, RAW, extra={"OTHER": {"X": 1.0}}))
    at = content.index(b"OTHER") - 1
    content[at] = 256 - 3  # the number of FORCE_PLATFORM
    path = tmp_path / "odd.c3d"
    path.write_bytes(bytes(content))
    (twin,) = (t for t in read_c3d(path).description.twins if t.kind == "group number")
    assert (twin.name, twin.spellings, twin.alike) == ("3", ("FORCE_PLATFORM", "OTHER"), False)


def test_the_last_frame_may_be_stated_as_one_number(read):
    count = len(WHOLE)
    for end in ([count + 3], [count + 3, 0]):
        says = read(extra={"TRIAL": {"ACTUAL_START_FIELD": [1, 0], "ACTUAL_END_FIELD": end}}).description.parameters
        assert (says.first_frame, says.last_frame) == (1, count + 3)
