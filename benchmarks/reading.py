"""What reading a C3D file costs: our reader against ezc3d on a recording of 30 s, the size of an ordinary trial."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import ezc3d
import numpy as np

from benchmarks.measured import Part, Row
from benchmarks.timing import ratio
from pipelines.intake.c3d.layout import Layout, read_layout
from pipelines.intake.c3d.reading import read_c3d

SECONDS, POINTS, POINT_RATE, CHANNELS, PER_FRAME = 30, 40, 200, 24, 5
STEP = 0.05  # of a stored 16-bit position, in millimetres
GOAL = 15.0


def measured() -> Part:
    """How many times as long as our reader ezc3d takes, for each storage."""
    made = f"{SECONDS} s, {POINTS} points at {POINT_RATE} Hz, {CHANNELS} channels at {POINT_RATE * PER_FRAME} Hz"
    return Part.of("Reading a C3D file", [f"A file of random numbers: {made}."], _rows())


def _rows() -> Iterator[Row]:
    with TemporaryDirectory() as folder:
        for storage in ("float", "int"):
            path = thirty_seconds(Path(folder), storage)
            what = f"ezc3d / our reader, {path.stat().st_size / 1e6:.1f} MB stored as {storage}"
            yield Row(what, times_faster(path), "times", GOAL, at_least=True)


def times_faster(path: Path, rounds: int = 15) -> float:
    """How many times as long as our reader ezc3d takes for one file."""
    return 1 / ratio(lambda: read_c3d(path), lambda: ezc3d.c3d(str(path)), rounds)


def thirty_seconds(folder: Path, storage: str) -> Path:
    """A file of random numbers: written by ezc3d, its data section encoded anew for "int", which ezc3d cannot write."""
    rng = np.random.default_rng(30)
    frames = SECONDS * POINT_RATE
    file = ezc3d.c3d()
    parameters = file["parameters"]
    parameters["POINT"]["RATE"]["value"] = [float(POINT_RATE)]
    parameters["POINT"]["LABELS"]["value"] = [f"point_{i}" for i in range(POINTS)]
    parameters["ANALOG"]["RATE"]["value"] = [float(POINT_RATE * PER_FRAME)]
    parameters["ANALOG"]["LABELS"]["value"] = [f"channel_{i}" for i in range(CHANNELS)]
    parameters["ANALOG"]["SCALE"]["value"] = [0.25 + 0.01 * i for i in range(CHANNELS)]
    points = np.ones((4, POINTS, frames))
    points[:3] = rng.uniform(-1000, 1000, (3, POINTS, frames))
    file["data"]["points"] = points
    file["data"]["analogs"] = rng.uniform(-5000, 5000, (1, CHANNELS, frames * PER_FRAME))
    path = folder / f"{storage}.c3d"
    file.write(str(path))
    if storage == "int":
        content = path.read_bytes()
        path.write_bytes(_as_integers(content, read_layout(content)))
    return path


def _as_integers(content: bytes, layout: Layout) -> bytes:
    """The same numbers as 16-bit integers; header and POINT:SCALE then hold the step, which is positive."""
    counts = layout.counts
    stored = np.frombuffer(content, "<f4", counts.frames * counts.frame_bytes // 4, counts.data_start)
    rows = stored.reshape(counts.frames, -1).copy()
    four = rows[:, : 4 * counts.points].reshape(counts.frames, counts.points, 4)
    four[:, :, :3] /= STEP
    head = bytearray(content[: counts.data_start])
    step = np.array([STEP], "<f4").tobytes()
    head[12:16] = step
    at = head.index(b"SCALE") + len("SCALE") + 2 + 2  # name, link, element size and count of dimensions
    at += head[at - 1]
    head[at : at + 4] = step
    data = np.round(rows).astype("<i2").tobytes()
    return bytes(head) + data + b"\0" * (-len(data) % 512)
