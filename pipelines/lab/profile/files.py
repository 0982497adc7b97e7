"""Reads the C3D files a profile is drafted from, each in an isolated worker, and keeps what the draft needs of them."""

from __future__ import annotations

import warnings
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pipelines.errors import Unusable
from pipelines.workers.isolation import Isolated
from schemas.trial import FloatArray

if TYPE_CHECKING:
    from pipelines.intake.c3d.reading import Recording

#: Enough to see what a laboratory does; more would only take longer.
MOST_FILES = 40
_MOST_FRAMES = 3000
_TIME_LIMIT_S, _MEMORY_LIMIT_MB = 60.0, 2048
#: Slower than this, median over markers, nobody walks: standing sways by some mm/s (common practice).
_STANDING_M_PER_S = 0.08
#: m: the markers of a person lie further apart than the first and not so far as the second, whichever way (own choice)
_SMALLEST_M, _LARGEST_M = 0.3, 2.8
_UNITS = {"mm": 0.001, "cm": 0.01, "m": 1.0}


@dataclass(frozen=True)
class PlateSeen:
    """One force plate. normal: (3,) the lab axis nearest to its normal. mean_force: (3,) N in lab axes, None unloaded.

    height_m: of its surface along that axis.
    """

    c3d_type: int
    normal: FloatArray
    mean_force: FloatArray | None
    height_m: float


@dataclass(frozen=True)
class Recorded:
    """One file in lab axes. points: (frames, n, 3) m, NaN where a marker was not seen. labels: without a prefix.

    unit: as the file states it. meant: the unit that its numbers are in, if they cannot be in that one.
    """

    labels: tuple[str, ...]
    points: FloatArray
    rate_hz: float
    force_rate_hz: float | None
    unit: str
    plates: tuple[PlateSeen, ...]
    path: Path | None = None
    meant: str | None = None

    @property
    def standing(self) -> bool:
        """Whether nearly nothing moves."""
        if len(self.points) < 2:
            return False
        speed = np.linalg.norm(np.diff(self.smooth, axis=0), axis=2) * self.rate_hz
        return bool(np.nanmedian(speed) < _STANDING_M_PER_S) if np.isfinite(speed).any() else False

    @property
    def smooth(self) -> FloatArray:
        """Points averaged over 0.05 s, so that speeds are not those of noise."""
        width = max(1, round(0.05 * self.rate_hz))
        if width == 1 or len(self.points) < 2 * width:
            return self.points
        sums = np.cumsum(np.vstack([np.zeros((1, *self.points.shape[1:])), self.points]), axis=0)
        return np.asarray((sums[width:] - sums[:-width]) / width) if np.isfinite(sums).all() else self.points


def recordings_in(folder: Path) -> tuple[list[Recorded], int]:
    """What can be read of the C3D files in ``folder`` (or of one file), and how many could not be read.

    Raises Unusable if there is none.
    """
    if folder.is_file():
        paths = [folder]
    else:
        paths = sorted(
            p for p in folder.rglob("*") if p.suffix.lower() == ".c3d" and p.is_file() and not p.is_symlink()
        )
        paths = [p for p in paths if not any(part.startswith(".") for part in p.relative_to(folder).parts)]
    if not paths:
        raise Unusable(
            "There is no C3D file here.", "a folder with some of your recordings.", "Correct the path.", file=folder
        )
    places = np.unique(np.linspace(0, len(paths) - 1, MOST_FILES).round().astype(int))
    with isolated_readers() as isolated:
        ended = list(isolated.map(seen_in, [paths[i] for i in places]))
    found = [e.value for e in ended if e.problem is None and e.value is not None]
    if not found:
        raise Unusable(
            f"None of {len(ended)} C3D files could be read with markers in it.",
            "recordings with markers.",
            "Ask manystrides look FILE.c3d what is the matter with one of them.",
            file=folder,
        )
    return found, len(ended) - len(found)


def isolated_readers() -> Isolated:
    """Workers that read files for a draft."""
    return Isolated(2, _TIME_LIMIT_S, _MEMORY_LIMIT_MB)


def seen_in(path: Path) -> Recorded | None:
    """One file; None if it has no markers. Runs in a worker. Raises C3dProblem."""
    from pipelines.intake.c3d.reading import read_c3d
    from pipelines.intake.units import metres_per_unit

    recording = read_c3d(path)
    layout = recording.layout
    metre = metres_per_unit(layout.point_unit) or 1.0
    points = np.where(recording.valid[..., None], recording.points, np.nan)[:_MOST_FRAMES] * metre
    if not np.isfinite(points).any():
        return None
    meant = _unit_meant(points, metre)
    factor = _UNITS[meant] / metre if meant else 1.0
    points = points * factor
    seen = np.atleast_1d(np.isfinite(points).all(axis=2).any(axis=0))
    labels = tuple(label.rpartition(":")[2].strip() for label in recording.labels)
    return Recorded(
        labels=tuple(labels[i] for i in np.flatnonzero(seen)),
        points=points[:, seen],
        rate_hz=layout.point_rate_hz,
        force_rate_hz=layout.analog_rate_hz if recording.plates else None,
        unit=layout.point_unit,
        plates=tuple(_plates(recording, metre * factor)),
        path=path,
        meant=meant,
    )


def _unit_meant(points: FloatArray, metre: float) -> str | None:
    """The unit in which the markers would lie as far apart as those of a person; None if they do, or in none they do.

    points: (frames, n, 3) m by the unit that the file states, of which there are 1 / metre in a metre.
    """
    some = points[np.isfinite(points).any(axis=(1, 2))][:: max(1, len(points) // 100)]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # of frames without a marker
        apart = float(np.nanmax(np.nanmedian(np.nanmax(some, axis=1) - np.nanmin(some, axis=1), axis=0)))
    if not apart or _SMALLEST_M <= apart <= _LARGEST_M:
        return None
    fitting = [unit for unit, own in _UNITS.items() if _SMALLEST_M <= apart / metre * own <= _LARGEST_M]
    return fitting[0] if len(fitting) == 1 else None


def told_of_units(recordings: Sequence[Recorded]) -> Iterator[str]:
    """What is to be said of files whose numbers are not in the unit that they state."""
    for (states, meant), count in Counter((r.unit, r.meant) for r in recordings if r.meant).items():
        yield (
            f"In {count} of {len(recordings)} files the unit is {states or 'not stated'}, in which no person's markers "
            f"lie as far apart as these: the numbers fit {meant}, and are taken so for this draft. Trials are judged "
            "by the unit that a file states: correct POINT:UNITS where it is exported."
        )


def _plates(recording: Recording, metre: float) -> Iterator[PlateSeen]:
    from pipelines.intake.plates import force_and_moment_in_lab, vertical_axis

    for spec in recording.plates:
        if spec.problem:
            continue
        axis = vertical_axis(spec)
        mean = None
        if len(recording.analog):
            with np.errstate(all="ignore"):
                force, _ = force_and_moment_in_lab(recording, spec, metre)
            mean = force.mean(axis=0)
            mean = mean if np.isfinite(mean).all() and np.linalg.norm(mean) > 50 else None
        yield PlateSeen(spec.c3d_type, axis, mean, float(spec.corners.mean(axis=0) @ axis * metre))
