"""Writes a recording as a C3D file with ezc3d, and re-encodes it to 16-bit integers where the laboratory does so.

ezc3d 1.7 writes floats only: it turns POINT:SCALE negative and ANALOG:OFFSET to zero whatever is asked. Integer
files are therefore written by ezc3d first, and their data section is then encoded anew. Values are rounded to a
fixed grid before they are stored, so that the last bits of a different processor do not change the bytes.
"""

from __future__ import annotations

import struct
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from demo_site_uploads.simulator.labs import Recording

NOTE = "Invented data of a simulated runner. No person was measured."
INTEGER_OFFSET = 64  # counts that the laboratory's converter reads at zero
GENERAL_SCALE = 10 / 32768  # volts per count
COUNTS = 32000.0  # counts at the stated full scale


def c3d_bytes(recording: Recording) -> bytes:
    """The whole file."""
    content = _ezc3d_bytes(recording)
    content = without_address(content)
    return _as_integers(content, recording) if recording.storage == "integer" else content


def _ezc3d_bytes(recording: Recording) -> bytes:
    import ezc3d

    file = ezc3d.c3d()
    points, seen = _points(recording)
    file["parameters"]["POINT"]["RATE"]["value"] = [recording.point_rate_hz]
    file["parameters"]["POINT"]["LABELS"]["value"] = list(recording.labels)
    file["parameters"]["POINT"]["UNITS"]["value"] = [recording.point_unit]
    file["parameters"]["ANALOG"]["RATE"]["value"] = [recording.analog_rate_hz]
    file["parameters"]["ANALOG"]["LABELS"]["value"] = list(recording.analog_labels)
    file["data"]["points"] = points
    file["data"]["meta_points"]["residuals"] = np.where(seen, 0.0, -1.0).T[None]
    file["data"]["analogs"] = _on_grid(recording.analog, recording).T[None]
    for group, name, value in _parameters(recording):
        if group in file["parameters"] and name in file["parameters"][group]:
            file["parameters"][group][name]["value"] = value  # keeps the type; add_parameter would make it a real
        else:
            file.add_parameter(group, name, value)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trial.c3d"
        file.write(str(path))
        return path.read_bytes()


def _on_grid(analog: np.ndarray, recording: Recording) -> np.ndarray:
    """Rounded to what the laboratory's floats hold; integers are rounded once, when they are made."""
    if recording.storage == "integer":
        return analog
    return np.asarray(np.round(analog / recording.analog_grid) * recording.analog_grid)


def _points(recording: Recording) -> tuple[np.ndarray, np.ndarray]:
    """Points as ezc3d wants them (4, n, frames) with unseen ones at zero, and which were seen (frames, n)."""
    seen = np.asarray(~np.isnan(recording.points).any(axis=2))
    values = np.where(seen[:, :, None], np.round(recording.points / recording.point_grid) * recording.point_grid, 0.0)
    points = np.ones((4, values.shape[1], values.shape[0]))
    points[:3] = values.transpose(2, 1, 0)
    return points, seen


def _parameters(recording: Recording) -> list[tuple[str, str, Any]]:
    scale = np.ones(len(recording.analog_labels))
    general = 1.0
    if recording.storage == "integer":
        general = GENERAL_SCALE
        scale = recording.full_scale / COUNTS / general
    parameters: list[tuple[str, str, Any]] = [
        ("ANALOG", "UNITS", list(recording.analog_units)),
        ("ANALOG", "SCALE", scale),
        ("ANALOG", "GEN_SCALE", np.array([general])),
        ("STUDY", "NOTE", [NOTE]),
    ]
    if recording.storage == "integer":
        parameters += [("ANALOG", "FORMAT", ["SIGNED"]), ("ANALOG", "BITS", np.array([16]))]
    if recording.events:
        times, labels, contexts = zip(*recording.events, strict=True)
        parameters += [
            ("EVENT", "USED", len(times)),
            ("EVENT", "CONTEXTS", list(contexts)),
            ("EVENT", "LABELS", list(labels)),
            ("EVENT", "TIMES", np.stack([np.zeros(len(times)), np.array(times)])),
        ]
    if recording.plate_types:
        ends = np.cumsum([6 if kind == 2 else 8 for kind in recording.plate_types])
        channel = np.zeros((max(np.diff(ends, prepend=0)), len(ends)), int)
        for i, end in enumerate(ends):
            count = end - (ends[i - 1] if i else 0)
            channel[:count, i] = np.arange(end - count, end) + 1
        parameters += [
            ("FORCE_PLATFORM", "USED", np.array([len(recording.plate_types)])),
            ("FORCE_PLATFORM", "TYPE", np.array(recording.plate_types)),
            ("FORCE_PLATFORM", "ZERO", np.array([1, 0])),
            ("FORCE_PLATFORM", "CORNERS", np.stack(recording.corners).transpose(2, 1, 0)),
            ("FORCE_PLATFORM", "ORIGIN", np.stack(recording.origins).T),
            ("FORCE_PLATFORM", "CHANNEL", channel),
        ]
    return parameters


def parameter_at(content: bytes, group: str, name: str) -> tuple[int, int, int]:
    """Where the value of a parameter stands in a file: byte offset, element size (with sign: -1 is text), count."""
    groups: dict[int, str] = {}
    found: list[tuple[int, str, int]] = []
    at = (content[0] - 1) * 512 + 4
    while content[at] != 0:
        length, number = abs(struct.unpack_from("b", content, at)[0]), struct.unpack_from("b", content, at + 1)[0]
        title = content[at + 2 : at + 2 + length].decode("ascii")
        link = at + 2 + length
        if number < 0:
            groups[-number] = title
        else:
            found.append((number, title, link + 2))
        (step,) = struct.unpack_from("<h", content, link)
        if step == 0:
            break
        at = link + step
    for number, title, place in found:
        if groups[number] == group and title == name:
            size, dimensions = struct.unpack_from("bB", content, place)
            count = int(np.prod(np.frombuffer(content, np.uint8, dimensions, place + 2), dtype=int))
            return place + 2 + dimensions, size, count
    raise KeyError(f"{group}:{name}")


def without_address(content: bytes) -> bytes:
    """ezc3d writes its author's address into every file; invented data should name nobody."""
    place, _, count = parameter_at(content, "EZC3D", "CONTACT")
    return content[:place] + b" " * count + content[place + count :]


def _as_integers(content: bytes, recording: Recording) -> bytes:
    frames, markers = recording.points.shape[:2]
    per_frame = len(recording.analog) // frames
    channels = len(recording.analog_labels)
    (start_block,) = struct.unpack_from("<H", content, 16)
    head = bytearray(content[: (start_block - 1) * 512])
    width = 4 * markers + per_frame * channels
    floats = np.frombuffer(content, "<f4", frames * width, len(head)).reshape(frames, width)
    words = floats.astype(np.float64)
    points = words[:, : 4 * markers].reshape(frames, markers, 4)
    unseen = points[:, :, 3] < 0
    points[:, :, :3] /= recording.point_grid
    points[:, :, 3] = np.where(unseen, -1, 0)
    words[:, 4 * markers :] += INTEGER_OFFSET
    data = np.clip(np.round(words), -32768, 32767).astype("<i2").tobytes()
    struct.pack_into("<f", head, 12, recording.point_grid)
    place, _, _ = parameter_at(content, "POINT", "SCALE")
    struct.pack_into("<f", head, place, recording.point_grid)
    place, size, count = parameter_at(content, "ANALOG", "OFFSET")
    if size != 2:
        raise ValueError("ezc3d stored ANALOG:OFFSET in another form than 16-bit integers")
    struct.pack_into(f"<{count}h", head, place, *[INTEGER_OFFSET] * count)
    return bytes(head) + data + bytes(-len(data) % 512)
