"""A second opinion on a C3D file: what ezc3d makes of it, against our own reading, number by number.

ezc3d can end its process on damaged files, so both readings happen in a worker process. Only what two readers can
share is compared: counts, rates, labels, plates, events, positions and analog samples. Equal means equal to the last
bit.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.intake.c3d.counts import number
from pipelines.intake.c3d.layout import Layout
from pipelines.intake.c3d.parameters import BLOCK, Section
from pipelines.intake.c3d.reading import C3dProblem, Recording, read_c3d

_TIME_LIMIT_S = 120.0
_MEMORY_LIMIT_MB = 4096


def compare_readers(path: str | Path) -> list[str]:
    """Every difference between our reading and ezc3d's, a plain sentence each; none: they agree, or both refuse it.

    A difference is no verdict on the file: forms that ezc3d 1.7.2 is known to misread are named as such.
    """
    from pipelines.workers.isolation import Isolated

    with Isolated(1, _TIME_LIMIT_S, _MEMORY_LIMIT_MB) as isolated:
        own = isolated.run(_own_refusal, str(path))
        if own.problem is not None:
            return [f"manystrides itself failed on the file ({own.detail}), so there is nothing to compare."]
        both = isolated.run(_differences, (str(path), own.value))
    if both.problem is None:
        return list(both.value)
    told = "" if own.value is None else f", and manystrides refuses it ({own.value})"
    return [f"ezc3d cannot be asked: {both.detail}{told}."]


def _own_refusal(path: str) -> str | None:
    """Why our own reader refuses the file; None if it reads it."""
    try:
        read_c3d(Path(path))
    except C3dProblem as problem:
        return problem.detail
    return None


def _differences(job: tuple[str, str | None]) -> list[str]:
    """Runs in the worker. job: the path, and why our reader refuses the file, if it does."""
    path, refusal = job
    import ezc3d

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs = ezc3d.c3d(path)
    except MemoryError:
        raise
    except Exception as error:
        return [] if refusal else [f"ezc3d refuses the file ({_short(error)}); manystrides reads it."]
    if refusal:
        return [f"manystrides refuses the file ({refusal}); ezc3d reads it."]
    recording = read_c3d(Path(path))
    with np.errstate(all="ignore"):
        found = [
            *_of_words(recording, theirs),
            *_of_plates_and_events(recording.layout, theirs),
            *_of_positions(recording, theirs),
            *_of_analog(recording, theirs),
        ]
    return found + _known_reasons(recording.layout) if found else []


def _short(error: Exception) -> str:
    return " ".join(str(error).split()).rstrip(".")[:160] or type(error).__name__


def _of_words(recording: Recording, theirs: Any) -> Iterator[str]:
    """Rates and labels, where the file holds them as parameters; ezc3d invents what is not there."""
    layout = recording.layout
    groups = theirs["parameters"]
    rate = np.ravel(groups.get("POINT", {}).get("RATE", {}).get("value", []))
    if "RATE" in layout.groups.get("POINT", {}) and len(rate) and rate[0] != layout.point_rate_hz:
        yield f"The point rate is {rate[0]:g} Hz for ezc3d and {layout.point_rate_hz:g} Hz for manystrides."
    labels = groups.get("POINT", {}).get("LABELS", {}).get("value", [])
    both = [(a.strip(), b) for a, b in zip(labels, layout.point_labels, strict=False) if a.isascii() and a.strip()]
    unlike = [f"{a!r} and {b!r}" for a, b in both if a != b]
    if unlike:
        yield f"{len(unlike)} point labels differ: the first is {unlike[0]} (ezc3d, manystrides)."


def _of_plates_and_events(layout: Layout, theirs: Any) -> Iterator[str]:
    """Every number in the groups that say how the plates lie and when events happened."""
    for group in ("FORCE_PLATFORM", "EVENT"):
        for name, parameter in layout.groups.get(group, {}).items():
            other = theirs["parameters"].get(group, {}).get(name, {}).get("value", ())
            values = np.ravel(np.asarray(other), order="F")
            if not len(parameter.values) or not len(values) or values.dtype.kind not in "iuf":
                continue
            ours = parameter.values.astype(float)
            if len(values) != len(ours) or not np.array_equal(values.astype(float), ours, equal_nan=True):
                yield f"The numbers of {group}:{name} differ."


def _of_positions(recording: Recording, theirs: Any) -> Iterator[str]:
    points = theirs["data"]["points"][:3].transpose(2, 1, 0)
    residuals = theirs["data"]["meta_points"]["residuals"][0].T
    if points.shape != recording.points.shape:
        sizes = [f"{frames} frames of {count} points" for frames, count, _ in (points.shape, recording.points.shape)]
        yield f"ezc3d finds {sizes[0]}, manystrides {sizes[1]}."
        return
    valid = np.isfinite(points).all(axis=2) & (residuals >= 0)
    if unlike := int((valid != recording.valid).sum()):
        yield f"{unlike} of {valid.size} positions are valid for one reader only."
    both = valid & recording.valid
    apart = np.where(both[:, :, None], np.abs(points - recording.points), 0.0)
    if len(where := np.flatnonzero(apart.any(axis=(0, 2)))):
        first = recording.labels[where[0]]
        unit = recording.layout.point_unit or "file units"
        yield (
            f"The positions of {len(where)} of {points.shape[1]} points differ, by up to {apart.max():g} {unit}; "
            f"the first is {first!r}."
        )


def _of_analog(recording: Recording, theirs: Any) -> Iterator[str]:
    samples, ours = theirs["data"]["analogs"][0].T, recording.analog
    if not samples.size and not ours.size:
        return
    if samples.shape != ours.shape:
        sizes = [f"{shape[0]} samples of {shape[1]} channels" for shape in (samples.shape, ours.shape)]
        yield f"ezc3d finds {sizes[0]}, manystrides {sizes[1]}."
        return
    equal = (samples == ours) | (np.isnan(samples) & np.isnan(ours))
    if len(where := np.flatnonzero(~equal.all(axis=0))):
        largest = np.nanmax(np.abs(samples - ours), initial=0.0)
        first = recording.analog_labels[where[0]]
        yield (
            f"{len(where)} of {samples.shape[1]} analog channels differ, by up to {largest:g} in the channel's unit; "
            f"the first is {first!r}."
        )


def _known_reasons(layout: Layout) -> list[str]:
    """Forms that ezc3d 1.7.2 misreads without saying so; each was seen in a public sample file."""
    reasons = []
    if (layout.analog_offset < 0).any() or layout.analog_unsigned or (np.abs(layout.analog_offset) >= 16384).any():
        reasons.append(
            "Known: ezc3d 1.7.2 subtracts the absolute value of an offset, where negative ones are stored for "
            "unsigned samples."
        )
    if layout.counts.channels and "RATE" not in layout.groups.get("ANALOG", {}):
        reasons.append("Known: without ANALOG:RATE ezc3d 1.7.2 leaves the analog samples out and does not skip them.")
    if _counts_disagree(layout):
        reasons.append(
            "Known: where header and parameters disagree, ezc3d 1.7.2 follows one of them without looking at the size "
            "of the file."
        )
    return reasons


def _counts_disagree(layout: Layout) -> bool:
    """Whether header or parameters count something else than the data hold."""
    header, counts, section = layout.header, layout.counts, Section(layout.groups)
    block = counts.data_start // BLOCK + 1
    said: list[float | None] = [header.points, header.frames, header.data_block, header.analog_per_frame]
    said += [number(section, "POINT", name, whole=True) for name in ("USED", "FRAMES", "DATA_START")]
    held = [counts.points, counts.frames, block, counts.analog_per_frame, counts.points, counts.frames, block]
    return any(a is not None and a != b for a, b in zip(said, held, strict=True))
