"""Sidecars are written with edfio itself and, for the layout, byte by byte after the EDF specification."""

from __future__ import annotations

import pickle
import tempfile
from pathlib import Path

import edfio
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.intake.sidecar import SidecarProblem, read_sidecar
from pipelines.workers.isolation import Isolated
from tests.tries import tries

RATE = 1000.0
SECONDS = 4
MUSCLE = np.sin(np.arange(round(RATE * SECONDS)) / 7) * 900
SWITCH = np.where((np.arange(200 * SECONDS) // 70) % 2, 5.0, 0.0)


def write(path: Path, *signals: edfio.EdfSignal) -> Path:
    chosen = signals or (
        edfio.EdfSignal(MUSCLE, RATE, label="SOL L", physical_dimension="uV", physical_range=(-1000, 1000)),
        edfio.EdfSignal(SWITCH, 200, label="Foot L", physical_dimension="V", physical_range=(-10, 10)),
    )
    edfio.Edf(list(chosen), annotations=[edfio.EdfAnnotation(0, None, "start")]).write(path)
    return path


def by_hand(
    samples: list[list[int]],
    *,
    records: int = 2,
    record_s: str = "1",
    labels: tuple[str, ...] = ("SOL L", "Foot L"),
    dimensions: tuple[bytes, ...] = (b"uV", b"V"),
    physical: tuple[str, str] = ("-100", "100"),
    digital: tuple[str, str] = ("-1000", "1000"),
    reserved: bytes = b"EDF+C",
    version: bytes = b"0",
) -> bytes:
    """An EDF file after the specification's table: eight fixed fields, then each field for all channels, then data.

    samples: per channel the digital values of one record, written ``records`` times.
    """
    count = len(samples)

    def field(value: str | bytes, width: int) -> bytes:
        return (value.encode() if isinstance(value, str) else value).ljust(width)

    fixed = (
        field(version, 8) + field("X X X X", 80) + field("Startdate X X X X", 80) + field("01.01.85", 8)
        + field("00.00.00", 8) + field(str(256 * (count + 1)), 8) + field(reserved, 44) + field(str(records), 8)
        + field(record_s, 8) + field(str(count), 4)
    )  # fmt: skip
    columns = [
        ([*labels][:count], 16), ([""] * count, 80), ([*dimensions][:count], 8), ([physical[0]] * count, 8),
        ([physical[1]] * count, 8), ([digital[0]] * count, 8), ([digital[1]] * count, 8), ([""] * count, 80),
        ([str(len(s)) for s in samples], 8), ([""] * count, 32),
    ]  # fmt: skip
    header = fixed + b"".join(field(value, width) for values, width in columns for value in values)
    record = b"".join(np.array(s, "<i2").tobytes() for s in samples)
    return header + record * records


def read_bytes(path: Path, data: bytes) -> object:
    path.write_bytes(data)
    return read_sidecar(path)


def test_channels_come_in_physical_values_with_label_unit_and_their_own_rate(tmp_path: Path) -> None:
    found = read_sidecar(write(tmp_path / "T1.edf"))
    assert found.file == "T1.edf"
    assert found.duration_s == pytest.approx(SECONDS)
    assert [(c.label, c.unit, c.rate_hz, len(c.samples)) for c in found.channels] == [
        ("SOL L", "uV", 1000.0, 4000),
        ("Foot L", "V", 200.0, 800),
    ]
    step = 2000 / 65535
    assert found.channels[0].samples == pytest.approx(MUSCLE, abs=step)
    assert found.channels[1].samples == pytest.approx(SWITCH, abs=20 / 65535)


def test_digital_values_are_scaled_by_the_line_through_both_ranges(tmp_path: Path) -> None:
    data = by_hand([[-1000, 0, 500, 1000], [10, 20]], physical=("-100", "300"))
    found = read_bytes(tmp_path / "T1.edf", data)
    assert found.channels[0].samples.tolist() == pytest.approx([-100, 100, 200, 300] * 2)
    assert found.channels[1].samples.tolist() == pytest.approx([102, 104] * 2)
    assert [c.rate_hz for c in found.channels] == [4, 2]


def test_a_record_of_a_tenth_of_a_second_and_a_unit_outside_ascii_are_read(tmp_path: Path) -> None:
    data = by_hand([[0] * 100, [0] * 20], record_s="0.1", dimensions=("µV".encode("latin-1"), "µV".encode()))
    found = read_bytes(tmp_path / "T1.edf", data)
    assert [c.rate_hz for c in found.channels] == pytest.approx([1000, 200])
    assert [c.unit for c in found.channels] == ["µV", "Âµv".replace("v", "V")]


GOOD = by_hand([[0, 1, 2, 3], [4, 5]])
WRONG = {
    "empty": (b"", "only 0 bytes"),
    "a few bytes": (GOOD[:100], "only 100 bytes"),
    "header cut": (GOOD[:500], "ends within its header"),
    "cut off": (GOOD[:-4], "holds 1 of them"),
    "too long": (GOOD + b"\0" * 7, "7 bytes more"),
    "text": (b"trial,value\n" * 100, "does not begin as an EDF file does"),
    "zip": (b"PK\x03\x04" + b"\0" * 600, "does not begin"),
    "24 bits": (b"\xffBIOSEMI" + GOOD[8:], "24-bit"),
    "interrupted": (by_hand([[0, 1]], labels=("A",), reserved=b"EDF+D"), "interrupted recording"),
    "unfinished": (by_hand([[0, 1]], records=-1) + b"\0" * 4, "-1 data records"),
    "no channels": (GOOD[:252] + b"0   " + GOOD[256:], "0 channels"),
    "many channels": (GOOD[:252] + b"9999" + GOOD[256:], "9999 channels"),
    "word for a number": (GOOD[:236] + b"two     " + GOOD[244:], "no number"),
    "infinite records": (GOOD[:236] + b"inf     " + GOOD[244:], "no number"),
    "half a record": (GOOD[:236] + b"1.5     " + GOOD[244:], "no whole number"),
    "many records": (GOOD[:236] + b"99999999" + GOOD[244:], "samples; at most"),
    "no duration": (by_hand([[0, 1]], record_s="0"), "data records of 0 s"),
    "header length": (GOOD[:184] + b"512     " + GOOD[192:], "says it has 512 bytes"),
    "no physical range": (by_hand([[0, 1]], physical=("5", "5")), "physical minimum of channel 1 ('SOL L') is 5"),
    "no digital range": (by_hand([[0, 1]], digital=("5", "5")), "digital minimum of channel 1 ('SOL L') is 5"),
    "range no number": (by_hand([[0, 1]], physical=("nan", "5")), "physical minimum of channel 1"),
    "digital range turned round": (by_hand([[0, 1]], digital=("9", "-9")), "is 9 and its maximum -9"),
    "digital range of more than 16 bits": (by_hand([[0, 1]], digital=("0", "65535")), "needs more than 16 bits"),
    "fractional digital limit": (by_hand([[0, 1]], digital=("-9.5", "9")), "no whole number"),
    "decimal comma": (by_hand([[0, 1]], physical=("-3,5", "3,5")), "'-3,5', with a decimal comma"),
    "thousands": (by_hand([[0, 1]], physical=("-1_000", "1_000")), "no number"),
    "interrupted in lower case": (by_hand([[0, 1]], labels=("A",), reserved=b"edf+d"), "interrupted recording"),
    "annotations only": (by_hand([[0, 1]], labels=("EDF Annotations",)), "annotations only"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_file_that_cannot_be_used_is_told_in_one_plain_sentence(tmp_path: Path, name: str) -> None:
    data, expected = WRONG[name]
    with pytest.raises(SidecarProblem) as caught:
        read_bytes(tmp_path / "T1.edf", data)
    assert expected in caught.value.detail
    assert "\n" not in caught.value.detail
    assert not caught.value.detail.endswith(".")


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(SidecarProblem) as caught:
        read_sidecar(tmp_path / "T1.edf")
    assert caught.value.problem == "missing"
    again = pickle.loads(pickle.dumps(caught.value))
    assert (again.detail, again.problem) == (caught.value.detail, "missing")


@tries(150)
@given(st.data())
def test_damage_anywhere_is_a_sidecar_problem_or_a_finite_recording(data: st.DataObject) -> None:
    damaged = bytearray(GOOD)
    for _ in range(data.draw(st.integers(1, 6))):
        damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    if data.draw(st.booleans()):
        damaged = damaged[: data.draw(st.integers(0, len(damaged)))]
    with tempfile.TemporaryDirectory() as folder:
        try:
            found = read_bytes(Path(folder) / "T1.edf", bytes(damaged))
        except SidecarProblem:
            return
    assert all(np.isfinite(c.samples).all() and c.rate_hz > 0 for c in found.channels)


def test_a_worker_process_hands_back_the_recording(tmp_path: Path) -> None:
    path = write(tmp_path / "T1.edf")
    with Isolated(1, 60, 1024) as pool:
        read = pool.run(read_sidecar, path)
    assert read.problem is None
    assert [c.label for c in read.value.channels] == ["SOL L", "Foot L"]
    assert read.value.channels[0].samples.tolist() == read_sidecar(path).channels[0].samples.tolist()
