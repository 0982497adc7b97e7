"""Faults of whole recordings: samples beside their places, and another axis called up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant, Planting
from benchmarks.detection.specimens import Specimen
from demo_site_uploads.simulator.c3d_edit import header_word

_BLOCK = 512


def _words_late(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """Each point is read ``size`` words beside its place: of four words one is its residual, 0."""
    points = specimen.recording.points
    words = np.concatenate([points, np.zeros((*points.shape[:2], 1))], axis=2)
    late = np.roll(words.reshape(-1), int(size)).reshape(words.shape)
    return specimen.with_recording(points=late[:, :, :3])


def bytes_late(share: float) -> Planting:
    """A plant that puts bytes in after a share of the samples, so that as many are lost at the end of the file."""

    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        def displaced(content: bytes) -> bytes:
            first = (header_word(content, 9) - 1) * _BLOCK
            at, more = first + int(share * (len(content) - first)), int(size)
            return content[:at] + bytes(more) + content[at:-more]

        return replace(specimen, after_writing=displaced)

    return plant


def other_axis_up(order: tuple[int, int, int], signs: tuple[int, int, int], *, plates: bool) -> Planting:
    """A plant that takes other axes of the laboratory for x, y and z; without plates only those of the markers."""

    def turned(places: np.ndarray) -> np.ndarray:
        return np.asarray(places[..., list(order)] * np.array(signs))

    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        corners = specimen.recording.corners
        return specimen.with_recording(
            points=turned(specimen.recording.points),
            corners=tuple(turned(c) for c in corners) if plates else corners,
        )

    return plant


def _displaced(what: str, planting: Planting, sizes: tuple[float, ...], unit: str, kind: str = "running") -> Plant:
    return Plant(
        "samples_stand_in_their_places",
        what,
        unit,
        sizes,
        matters=sizes[0],
        why="every position is another number",
        plant=planting,
        kind=kind,
    )


def _axes(what: str, planting: Planting, kind: str = "running") -> Plant:
    return Plant(
        "runner_is_upright",
        what,
        "",
        PRESENT,
        matters=PRESENT[0],
        why="heights and widths are exchanged in every outcome",
        plant=planting,
        kind=kind,
    )


PLANTS = (
    _displaced(
        "each point is read {size} words beside its place, standing", _words_late, (1.0, 2.0, 3.0), "", "standing"
    ),
    _displaced("each point is read {size} words beside its place, running", _words_late, (1.0, 2.0, 3.0), ""),
    _displaced("the file's samples are displaced by {size} from the first on", bytes_late(0.0), (2.0, 1.0), "By"),
    _displaced("the file's samples are displaced by {size} from a third on", bytes_late(1 / 3), (2.0, 1.0), "By"),
    _axes(
        "the markers' y and z are exchanged, with the sign that keeps them right-handed, standing",
        other_axis_up((0, 2, 1), (1, 1, -1), plates=False),
        "standing",
    ),
    _axes(
        "the markers' y and z are exchanged, with the sign that keeps them right-handed, running",
        other_axis_up((0, 2, 1), (1, 1, -1), plates=False),
    ),
    _axes(
        "x, y and z of markers and plates are taken for y, z and x", other_axis_up((1, 2, 0), (1, 1, 1), plates=True)
    ),
    _axes("the axis called up points down", other_axis_up((0, 1, 2), (1, -1, -1), plates=True)),
)
