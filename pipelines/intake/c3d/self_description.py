"""Gathers what a C3D file says about itself, every repeated statement with all its values. Judges nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from pipelines.intake.c3d.counts import long_field, number
from pipelines.intake.c3d.layout import Layout, per_channel, rows_of
from pipelines.intake.c3d.parameters import BLOCK, Section
from pipelines.intake.c3d.platforms import VERTICAL, PlateSpec, of_plate
from pipelines.intake.c3d.sample_facts import samples_say
from pipelines.intake.twins import twins_of
from pipelines.intake.units import metres_per_unit, newtons, stated
from schemas.self_description import (
    ParametersSay,
    PlateSays,
    PlatesSay,
    ReadAs,
    SelfDescription,
    Unmarked,
)
from schemas.trial import FloatArray

#: A matrix whose rows are nearer to one another than this (smallest to largest singular value) tells nothing apart.
_SINGULAR = 1e-9


def describe(
    data: bytes,
    layout: Layout,
    plates: Sequence[PlateSpec],
    points: FloatArray,
    analog: FloatArray,
    unmarked: NDArray[np.bool_],
) -> SelfDescription:
    """points: (f, n, 3), analog: (samples, channels), as decoded. unmarked: (f, n), where a position is none."""
    header, metre = layout.header, metres_per_unit(layout.point_unit)
    return SelfDescription(
        header=header,
        parameters=_parameters(layout),
        read_as=_read_as(data, layout, metre),
        plates=_plates(layout, plates, analog),
        twins=(
            *layout.repeated,
            *twins_of("point", layout.point_labels, points.transpose(1, 0, 2)),
            *twins_of("channel", layout.analog_labels, analog.T),
        ),
        unmarked=tuple(_unmarked(layout, points, unmarked)),
        samples=samples_say(data, layout, _seen(points, unmarked), metre or 1.0),
        header_events_s=tuple(time for time, _ in header.events),
    )


def _seen(points: FloatArray, unmarked: NDArray[np.bool_]) -> FloatArray:
    return np.where(unmarked[:, :, None], np.nan, points) if unmarked.any() else points


def _unmarked(layout: Layout, points: FloatArray, unmarked: NDArray[np.bool_]) -> Iterator[Unmarked]:
    counts = unmarked.sum(axis=0)
    for i in np.flatnonzero(counts):
        first = int(unmarked[:, i].argmax())
        yield Unmarked(layout.point_labels[i], _three(points[first, i]), int(counts[i]))


def _parameters(layout: Layout) -> ParametersSay:
    section = Section(layout.groups)

    def count(group: str, name: str) -> int | None:
        found = number(section, group, name, whole=True)
        return None if found is None else int(found)

    scales = per_channel(layout.groups, "SCALE")[: layout.counts.channels]
    times = layout.groups.get("EVENT", {}).get("TIMES")
    formats = layout.groups.get("ANALOG", {}).get("FORMAT")
    return ParametersSay(
        points=count("POINT", "USED"),
        frames=count("POINT", "FRAMES"),
        long_frames=count("POINT", "LONG_FRAMES"),
        first_frame=long_field(section, "ACTUAL_START_FIELD"),
        last_frame=long_field(section, "ACTUAL_END_FIELD"),
        scale=number(section, "POINT", "SCALE"),
        rate_hz=number(section, "POINT", "RATE"),
        data_block=count("POINT", "DATA_START"),
        channels=count("ANALOG", "USED"),
        analog_rate_hz=number(section, "ANALOG", "RATE"),
        general_scale=number(section, "ANALOG", "GEN_SCALE"),
        scale_entries=len(per_channel(layout.groups, "SCALE")),
        offset_entries=len(per_channel(layout.groups, "OFFSET")),
        blank_scales=tuple(int(i) + 1 for i in np.flatnonzero(~np.isfinite(scales) | (scales == 0))),
        point_labels=sum(len(p.texts) for p in rows_of(layout.groups, "POINT", "LABELS")),
        events=count("EVENT", "USED"),
        event_times=len(times.values) // 2 if times is not None else 0,
        event_seconds=tuple(time for time, _, _ in layout.events if np.isfinite(time)),
        camera_rate_hz=number(section, "TRIAL", "CAMERA_RATE"),
        rate_divider=number(section, "TRIAL", "VIDEO_RATE_DIVIDER"),
        analog_format=formats.texts[0].upper() if formats is not None and formats.texts else None,
        analog_bits=count("ANALOG", "BITS"),
    )


def _read_as(data: bytes, layout: Layout, metre: float | None) -> ReadAs:
    counts = layout.counts
    left_over = counts.left_over(len(data))
    rest = data[len(data) - left_over :] if left_over else b""
    return ReadAs(
        file_bytes=len(data),
        data_block=counts.data_start // BLOCK + 1,
        points=counts.points,
        channels=counts.channels,
        samples_per_frame=counts.samples_per_frame,
        frames=counts.frames,
        frame_bytes=counts.frame_bytes,
        storage=layout.storage,
        scale=layout.scale,
        point_rate_hz=layout.point_rate_hz,
        fits=layout.fits,
        left_over=left_over,
        left_over_blank=not rest.strip(rest[:1]),
        unit=layout.point_unit,
        metre=metre,
    )


def _plates(layout: Layout, specs: Sequence[PlateSpec], analog: FloatArray) -> PlatesSay:
    group = layout.groups.get("FORCE_PLATFORM", {})
    if not group:
        return PlatesSay()
    used, types, channel = (group.get(name) for name in ("USED", "TYPE", "CHANNEL"))
    entries = {
        name: len(p.values) for name, p in group.items() if p.kind != "text"
    }  # a number for each plate is counted, however the parameter's dimensions are written
    rows = channel.dims[0] if channel is not None and channel.dims else 1
    corners = group.get("CORNERS")
    return PlatesSay(
        used=int(used.counts[0]) if used is not None and len(used.counts) else 0,
        types=len(types.values) if types is not None else 0,
        corners=entries.get("CORNERS", 0) // 12,
        origins=entries["ORIGIN"] // 3 if "ORIGIN" in entries else None,
        channels=entries.get("CHANNEL", 0) // rows if rows else 0,
        plates=tuple(_plate(layout, spec, analog) for spec in specs),
        corner_dims=corners.dims if corners is not None else (),
    )


def _plate(layout: Layout, spec: PlateSpec, analog: FloatArray) -> PlateSays:
    group = layout.groups["FORCE_PLATFORM"]
    origin = of_plate(group.get("ORIGIN"), (3,), spec.number - 1)
    corners = of_plate(group.get("CORNERS"), (3, 4), spec.number - 1)
    units = tuple(layout.analog_units[c] for c in spec.channels)
    unknown = spec.c3d_type != 4 and newtons(stated(units[:3])) is None  # type 4: the matrix gives newtons
    own = analog[:, list(spec.channels)] if spec.channels and len(analog) else np.empty((0, 0))
    return PlateSays(
        number=spec.number,
        c3d_type=spec.c3d_type,
        channels=tuple(c + 1 for c in spec.channels),
        origin=_three(origin) if origin is not None else None,
        corners=tuple(_three(corner) for corner in corners.T) if corners is not None else None,
        calibration_singular=spec.calibration is not None and _singular(spec.calibration),
        problem=spec.problem,
        units=units,
        no_numbers=int((~np.isfinite(own)).sum()),
        zero_frames=spec.zero_frames,
        zero_load=_zero_load(own, spec, layout.counts.samples_per_frame),
        unknown_unit=stated(units[:3]) if unknown else None,
        labels=tuple(layout.analog_labels[c] for c in spec.channels),
    )


def _zero_load(own: FloatArray, spec: PlateSpec, samples: int) -> float:
    """Mean vertical force in the frames that FORCE_PLATFORM:ZERO names, as share of the largest; 0 if unknown.

    own: (samples, channels) of the plate. As it is stored: unit and sign do not matter to a share.
    """
    first, last = spec.zero_frames
    vertical = VERTICAL.get(spec.c3d_type)
    if vertical is None or not len(own) or not 1 <= first <= last:
        return 0.0
    force = own[:, list(vertical)].sum(axis=1)
    named = force[(first - 1) * samples : last * samples]
    largest = float(np.abs(force).max())
    return abs(float(named.mean())) / largest if len(named) and np.isfinite(largest) and largest > 0 else 0.0


def _three(values: FloatArray) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z


def _singular(matrix: FloatArray) -> bool:
    if not np.isfinite(matrix).all():
        return True
    sizes = np.linalg.svd(matrix, compute_uv=False)
    return bool(sizes[-1] <= _SINGULAR * sizes[0])
