"""Force plates against first principles and ezc3d's own platform extraction."""

import ezc3d
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from checks.self_description.agreement import contradictions_in
from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.plates import (
    channels_to_plate,
    force_and_moment_in_lab,
    plates_of,
    vertical_axis,
)
from pipelines.intake.units import metres_per_unit, newtons
from pipelines.science.equipment.places import axes_of_plate
from schemas.mechanics import centre_of_pressure, free_moment
from tests.pipelines.intake.c3d_bytes import c3d_bytes

#: z up, x along the first lab axis; plate axes by C3D's rule: x from corner 2 to 1, y from 4 to 1, z down
CORNERS = np.array([[0.4, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.6, 0.0], [0.4, 0.6, 0.0]]) * 1000
#: study axes of a lab with x forward, z up: X = x, Y = z, Z = -y
Z_UP = np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])
DEPTH = 0.04


def recording_of(tmp_path, raw, c3d_type, *, origin, units, corners=CORNERS, more=None, unit="mm"):
    raw = np.asarray(raw, float)
    channels = raw.shape[1]
    plate = {
        "USED": 1,
        "TYPE": c3d_type,
        "CORNERS": ([float(x) for x in corners.ravel()], (3, 4, 1)),
        "ORIGIN": ([float(x) for x in origin], (3, 1)),
        "CHANNEL": (list(range(1, channels + 1)), (channels, 1)),
        "ZERO": [1, 0],
    } | (more or {})
    path = tmp_path / "plate.c3d"
    path.write_bytes(
        c3d_bytes(
            np.zeros((len(raw), 1, 3)),
            raw,
            samples_per_frame=1,
            extra={"FORCE_PLATFORM": plate, "ANALOG": {"UNITS": list(units)}, "POINT": {"UNITS": [unit]}},
        )
    )
    return read_c3d(path)


def standing_at(x, y, weight=700.0, turning=0.0):
    """Six channels of a plate whose origin is at its surface: ground reaction -weight along z down."""
    force = np.array([0.0, 0.0, -weight])
    moment = np.cross([x, y, 0.0], force) + np.array([0, 0, turning])
    return force, moment


@pytest.mark.parametrize(
    ("unit", "metre"),
    [("mm", 1e-3), ("cm", 1e-2), ("m", 1), ("M", 1), ("mete", 1), ("Meters", 1), ("metres", 1), ("MM ", 1e-3)],
)
def test_units_of_length_are_known_in_the_ways_files_write_them(unit, metre):
    assert metres_per_unit(unit) == metre


@pytest.mark.parametrize("unit", ["", "V", "furlong", "deg"])
def test_other_words_are_no_unit_of_length(unit):
    assert metres_per_unit(unit) is None


def test_the_plate_axes_follow_the_corners():
    np.testing.assert_allclose(axes_of_plate(CORNERS), np.diag([1.0, -1.0, -1.0]), atol=1e-12)


@pytest.mark.parametrize("up", [0, 1, 2])
def test_the_vertical_is_the_lab_axis_nearest_to_the_normal(tmp_path, up):
    corners = np.roll(CORNERS, up + 1, axis=1)  # z to x, y, z
    force, moment = standing_at(0, 0)
    recording = recording_of(
        tmp_path, [[*force, *moment]], 2, origin=[0, 0, 0], units=["N"] * 3 + ["Nm"] * 3, corners=corners
    )
    spec = recording.plates[0]
    lab, _ = force_and_moment_in_lab(recording, spec, 1e-3)
    assert np.argmax(vertical_axis(spec)) == up
    assert lab[0] @ vertical_axis(spec) == pytest.approx(700)


@pytest.mark.parametrize(("unit", "moment_factor"), [("Nmm", 1000), ("Nm", 1), ("N.m", 1), ("V", 1000)])
def test_a_type_2_plate_finds_the_point_of_a_standing_weight(tmp_path, unit, moment_factor):
    weight, about_centre = standing_at(0.10, -0.05, turning=3.0)
    shear = np.array([50, 20, 0])
    force = weight + shear
    about_centre += np.cross([0.10, -0.05, 0], shear)
    about_sensor = about_centre + np.cross([0, 0, -DEPTH], force)  # the surface lies at -DEPTH seen from the sensor
    raw = [[*force, *(about_sensor * moment_factor)]]
    recording = recording_of(tmp_path, raw, 2, origin=[0, 0, -1000 * DEPTH], units=["N"] * 3 + [unit] * 3)
    (plate,) = plates_of(recording, Z_UP, 1e-3)
    cop = centre_of_pressure(plate.force, plate.moment, 0.0, 20.0)
    # plate x is lab x, plate y is -lab y; the centre is at (0.2, 0.3); study Z is -lab y
    np.testing.assert_allclose(plate.force[0], [50, 700, 20], rtol=1e-5)
    np.testing.assert_allclose(cop[0], [0.3, 0.0, -0.35], atol=1e-5)
    np.testing.assert_allclose(free_moment(plate.force, plate.moment, cop), [-3.0], atol=1e-3)


def test_an_origin_written_from_surface_to_sensor_is_turned_round(tmp_path):
    raw = [[80, 0, -700, 500, 900, 30]]
    units = ["N"] * 3 + ["Nmm"] * 3
    (right,) = plates_of(recording_of(tmp_path, raw, 2, origin=[1, -2, -40], units=units), Z_UP, 1e-3)
    (turned,) = plates_of(recording_of(tmp_path, raw, 2, origin=[-1, 2, 40], units=units), Z_UP, 1e-3)
    np.testing.assert_allclose(right.moment, turned.moment)


def test_type_1_channels_are_force_point_and_free_moment(tmp_path):
    raw = [[10.0, 5.0, -700.0, 100.0, -50.0, 2000.0]]
    recording = recording_of(tmp_path, raw, 1, origin=[0, 0, 0], units=["N", "N", "N", "mm", "mm", "Nmm"])
    (plate,) = plates_of(recording, Z_UP, 1e-3)
    cop = centre_of_pressure(plate.force, plate.moment, 0.0, 20.0)
    np.testing.assert_allclose(cop[0], [0.3, 0.0, -0.35], atol=1e-6)
    np.testing.assert_allclose(free_moment(plate.force, plate.moment, cop), [-2.0], atol=1e-6)


@pytest.mark.parametrize("depth_sign", [-1, 1])
def test_type_3_sensors_find_the_point_of_a_standing_weight(tmp_path, depth_sign):
    a, b, weight, x, y = 0.12, 0.2, 700.0, 0.06, -0.1
    along, across = np.array([1, -1, -1, 1]) * x / a, np.array([1, 1, -1, -1]) * y / b
    fz = -weight / 4 * (1 + along + across + along * across)  # shares of a weight at (x, y) over four corners
    raw = [[0, 0, 0, 0, *fz]]
    recording = recording_of(tmp_path, raw, 3, origin=[120, 200, depth_sign * 48], units=["N"] * 8)
    (plate,) = plates_of(recording, Z_UP, 1e-3)
    np.testing.assert_allclose(plate.force[0], [0, weight, 0], atol=1e-3)
    cop = centre_of_pressure(plate.force, plate.moment, 0.0, 20.0)
    np.testing.assert_allclose(cop[0], [0.2 + x, 0, -(0.3 - y)], atol=1e-6)


def test_type_4_multiplies_by_its_calibration(tmp_path):
    rng = np.random.default_rng(4)
    wanted = np.array([30.0, -20.0, -700.0, 4000.0, -9000.0, 500.0])
    matrix = np.eye(6) + 0.05 * rng.normal(size=(6, 6))
    raw = np.linalg.solve(matrix, wanted)[None]
    units = ["N"] * 3 + ["Nmm"] * 3
    calibration = {"CAL_MATRIX": ([float(v) for v in matrix.T.ravel()], (6, 6, 1))}  # first index varies fastest
    four = plates_of(recording_of(tmp_path, raw, 4, origin=[0, 0, -40], units=units, more=calibration), Z_UP, 1e-3)
    two = plates_of(recording_of(tmp_path, wanted[None], 2, origin=[0, 0, -40], units=units), Z_UP, 1e-3)
    np.testing.assert_allclose(four[0].force, two[0].force, rtol=1e-5)
    np.testing.assert_allclose(four[0].moment, two[0].moment, rtol=1e-4)


@pytest.mark.parametrize("c3d_type", [2, 3, 4])
def test_force_and_moment_are_those_of_ezc3ds_own_extraction(tmp_path, c3d_type):
    rng = np.random.default_rng(c3d_type)
    channels = 8 if c3d_type == 3 else 6
    raw = rng.normal(scale=300, size=(20, channels))
    origin = [120, 200, -48] if c3d_type == 3 else [1.5, -2, -40]
    more = {"CAL_MATRIX": ([float(v) for v in rng.normal(size=36)], (6, 6, 1))} if c3d_type == 4 else None
    units = ["N"] * 8 if c3d_type == 3 else ["N"] * 3 + ["Nmm"] * 3
    recording = recording_of(tmp_path, raw, c3d_type, origin=origin, units=units, more=more)
    other = ezc3d.c3d(str(tmp_path / "plate.c3d"), extract_forceplat_data=True)["data"]["platform"][0]
    force, moment = force_and_moment_in_lab(recording, recording.plates[0], 1e-3)
    centre = CORNERS.mean(axis=0) / 1000
    np.testing.assert_allclose(force, other["force"].T, rtol=1e-5, atol=1e-4)
    np.testing.assert_allclose(moment - np.cross(centre, force), other["moment"].T / 1000, rtol=1e-5, atol=1e-4)


def test_metres_and_millimetres_give_the_same_plate(tmp_path):
    raw = np.array([[20.0, 30.0, -700.0, 4.0, -9.0, 0.5]])
    metres = recording_of(
        tmp_path, raw, 2, origin=[0, 0, -0.04], units=["N"] * 3 + ["Nm"] * 3, corners=CORNERS / 1000, unit="m"
    )
    in_metres = plates_of(metres, Z_UP, 1.0)[0]
    millimetres = raw * [1, 1, 1, 1000, 1000, 1000]
    mm = recording_of(tmp_path, millimetres, 2, origin=[0, 0, -40], units=["N"] * 3 + ["Nmm"] * 3)
    in_mm = plates_of(mm, Z_UP, 1e-3)[0]
    for name in ("force", "moment", "corners"):
        np.testing.assert_allclose(getattr(in_metres, name), getattr(in_mm, name), rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize(
    ("more", "word"),
    [
        ({"TYPE": 6}, "type 6"),
        ({"CHANNEL": ([1, 2, 3, 4, 5, 60], (6, 1))}, "channel 60"),
        ({"CHANNEL": ([1, 2, 3], (3, 1))}, "needs 6 channels"),
        ({"CORNERS": ([0.0] * 12, (3, 4, 1))}, "corners"),
        ({"TYPE": 4}, "CAL_MATRIX"),
    ],
    ids=["unknown_type", "no_such_channel", "too_few_channels", "no_corners", "no_calibration"],
)
def test_a_plate_that_cannot_be_used_is_told_and_left_out(tmp_path, more, word):
    recording = recording_of(tmp_path, np.ones((3, 6)), 2, origin=[0, 0, -40], units=["N"] * 6, more=more)
    assert word in recording.plates[0].problem
    assert plates_of(recording, Z_UP, 1e-3) == ()
    assert any(word in said.said and said.weight == "returns" for said in contradictions_in(recording.description))


@given(
    arrays(float, (4, 3), elements=st.floats(-1, 1)),
    arrays(float, (4,), elements=st.floats(-20, 20)),
    st.floats(-0.2, 0.2),
)
def test_the_centre_of_pressure_of_a_known_wrench_comes_back(sideways, turning, height):
    point = np.column_stack([sideways[:, 0], np.full(4, height), sideways[:, 2]])
    force = np.column_stack([300 * sideways[:, 1], np.full(4, 800.0), 200 * sideways[:, 0]])
    moment = np.cross(point, force)
    moment[:, 1] += turning
    cop = centre_of_pressure(force, moment, height, 20.0)
    np.testing.assert_allclose(cop, point, atol=1e-9)
    np.testing.assert_allclose(free_moment(force, moment, cop), turning, atol=1e-9)


def test_there_is_no_centre_of_pressure_below_the_threshold():
    force = np.array([[0, 19.9, 0], [0, 20.0, 0], [0, -500, 0], [0, np.nan, 0], [0, 0, 0]], float)
    cop = centre_of_pressure(force, np.zeros((5, 3)), 0.0, 20.0)
    assert np.isfinite(cop).all(axis=1).tolist() == [False, True, False, False, False]
    assert np.isnan(free_moment(force, np.zeros((5, 3)), cop)[[0, 2, 3, 4]]).all()


def test_a_threshold_of_zero_does_not_divide_by_zero():
    cop = centre_of_pressure(np.zeros((2, 3)), np.zeros((2, 3)), 0.0, 0.0)
    assert np.isnan(cop).all()


def test_channels_to_plate_keeps_the_number_of_samples(tmp_path):
    recording = recording_of(tmp_path, np.ones((7, 6)), 2, origin=[0, 0, -40], units=["N"] * 6)
    assert channels_to_plate(np.ones((7, 6)), recording.plates[0], 1e-3, 1e-3).shape == (7, 6)


def test_units_of_force_are_converted_or_not_known():
    assert newtons("kgf") == pytest.approx(9.80665)
    assert (newtons("kN"), newtons("Newtons"), newtons("")) == (1000.0, 1.0, 1.0)
    assert newtons("stone") is None


def test_a_moment_without_a_unit_is_read_in_that_of_the_others_of_its_plate(tmp_path):
    """Positions are in mm; without the others' unit the moments would be taken for N.mm."""
    raw = np.tile([0.0, 0.0, -500.0, 10.0, 20.0, 3.0], (7, 1))
    moments = []
    for last in ("N.m", ""):
        recording = recording_of(tmp_path, raw, 2, origin=[0, 0, -40], units=["N"] * 3 + ["N.m", "N.m", last])
        moments.append(plates_of(recording, np.eye(3), 1e-3)[0].moment)
    np.testing.assert_array_equal(*moments)
