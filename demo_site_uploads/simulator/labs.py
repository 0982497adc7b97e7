"""The three invented laboratories: plates, noise, storage; what turns a simulated trial into a recording.

Labels, axes and rates come from the site profiles in ``demo_site_uploads/sites``, as the pipeline reads them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.channels import channels_in
from demo_site_uploads.simulator.plates import CHANNELS, TYPE_2, TYPE_3, PlateSpec, channels_of, wrench_on
from demo_site_uploads.simulator.trial import FootLoad, SimulatedTrial, random_source
from schemas.study import SiteProfile

FloatArray = NDArray[np.float64]

HERE = Path(__file__).resolve().parents[1]
ANALOG_RATE_HZ = 1000.0  # where there is no force plate
FORCE_GRID_N, MOMENT_GRID_NMM = 0.5, 128.0  # of the laboratory that stores floats
MARKER_NOISE_MM = 0.2
MOMENT_NOISE_NMM_PER_N = 200.0  # a plate's moment channels are noisier by this lever


@dataclass(frozen=True)
class Recording:
    """What the laboratory's computer holds before it writes the file; faults are planted here.

    points: (frames, n, 3) in lab axes and ``point_unit``, NaN where a marker was not seen. analog: (samples, c).
    corners: one (4, 3) per plate, mm; origins one (3,) per plate, mm. full_scale: (c,) largest value a channel can
    store, for integers. point_grid, analog_grid (c,): what values are rounded to.
    events: seconds from the first frame, label, context.
    """

    labels: tuple[str, ...]
    points: FloatArray
    point_rate_hz: float
    point_unit: str
    analog: FloatArray
    analog_labels: tuple[str, ...]
    analog_units: tuple[str, ...]
    analog_rate_hz: float
    plate_types: tuple[int, ...]
    corners: tuple[FloatArray, ...]
    origins: tuple[FloatArray, ...]
    full_scale: FloatArray
    storage: str
    point_grid: float
    analog_grid: FloatArray
    events: tuple[tuple[float, str, str], ...] = ()

    def column(self, label: str) -> int:
        """Index of an analog channel."""
        return self.analog_labels.index(label)

    def marker(self, label: str) -> int:
        """Index of a marker."""
        return self.labels.index(label)


@dataclass(frozen=True)
class Lab:
    """One laboratory."""

    profile: SiteProfile
    plates: tuple[PlateSpec, ...]
    storage: str  # "float" or "integer"
    force_noise_n: float
    point_unit: str = "mm"
    point_grid: float = 0.1  # in that unit

    @property
    def treadmill(self) -> bool:
        """Whether the runner stays in place."""
        return self.profile.surface == "treadmill"

    @property
    def rates(self) -> tuple[float, float]:
        """Marker and analog rate, Hz."""
        return self.profile.marker_rate_hz, float(self.profile.force_rate_hz or ANALOG_RATE_HZ)

    @property
    def units_per_mm(self) -> float:
        """Of the file's unit of position."""
        return {"mm": 1.0, "m": 0.001}[self.point_unit]

    @property
    def to_lab(self) -> FloatArray:
        """(3, 3) such that lab = study @ to_lab."""
        axes = np.zeros((3, 3))
        for row, name in enumerate((self.profile.axes.forward, self.profile.axes.up, self.profile.axes.right)):
            axes[row, "xyz".index(name[1])] = -1.0 if name[0] == "-" else 1.0
        return axes


@cache
def lab(site: str) -> Lab:
    """The laboratory called ``site``."""
    import yaml

    text = (HERE / "sites" / f"{site}.yaml").read_text(encoding="utf-8")
    profile = SiteProfile.model_validate(yaml.safe_load(text))
    if site == "brack":
        plate = PlateSpec(TYPE_2, (0.0, 0.0), 0.95, 0.30, (0.0, 0.0, 0.055))
        return Lab(profile, (plate,), "float", 1.5, point_grid=1 / 4)
    if site == "tarn":
        return Lab(profile, (), "integer", 0.0, point_unit="m", point_grid=0.0002)
    plates = (
        PlateSpec(TYPE_2, (-1.205, 0.0), 0.60, 0.30, (0.0, 0.0, 0.042)),
        PlateSpec(TYPE_2, (0.0, 0.0), 0.60, 0.30, (0.0, 0.0, 0.042), turned=True),
        PlateSpec(TYPE_3, (1.205, 0.0), 0.60, 0.30, (0.52, 0.22, 0.050)),
    )
    return Lab(profile, plates, "integer", 0.5)  # solid ground is quieter than a belt


def turned_round(trial: SimulatedTrial) -> SimulatedTrial:
    """The same trial run the other way: turned half round about the vertical through the middle of the runway."""
    half = np.array([-1.0, 1.0, -1.0])
    loads = tuple(FootLoad(x.side, x.force * half, x.cop * half, x.free_moment) for x in trial.loads)
    return replace(trial, markers={role: p * half for role, p in trial.markers.items()}, loads=loads)


def record(trial: SimulatedTrial, where: Lab, *, muscles: bool = True) -> Recording:
    """The trial as the laboratory records it: its labels, axes, unit, channels, noise. muscles: their amplifier is on."""
    rng = random_source(trial.trial_id + "/recording")
    roles = tuple(where.profile.markers)
    points = np.stack([trial.markers[role] for role in roles], axis=1) @ where.to_lab * 1000
    points = points + MARKER_NOISE_MM * rng.standard_normal(points.shape)
    columns = [*_plate_columns(trial, where, rng), *_channel_columns(trial, where, muscles)]
    values = [c.values for c in columns]
    return Recording(
        tuple(where.profile.markers.values()),
        points * where.units_per_mm,
        trial.marker_rate_hz,
        where.point_unit,
        np.stack(values, axis=1) if values else np.empty((round(trial.duration_s * trial.force_rate_hz), 0)),
        tuple(c.label for c in columns),
        tuple(c.unit for c in columns),
        trial.force_rate_hz,
        tuple(p.c3d_type for p in where.plates),
        tuple(p.corners @ where.to_lab * 1000 for p in where.plates),
        tuple(p.c3d_origin * 1000 for p in where.plates),
        np.array([c.full_scale for c in columns]),
        where.storage,
        where.point_grid,
        np.array([c.grid for c in columns]),
    )


@dataclass(frozen=True)
class _Column:
    """One analog channel on its way into a recording."""

    label: str
    unit: str
    values: FloatArray
    full_scale: float
    grid: float


def _plate_columns(trial: SimulatedTrial, where: Lab, rng: np.random.Generator) -> list[_Column]:
    columns = []
    for number, plate in enumerate(where.plates, 1):
        force, moment = wrench_on(plate, trial.loads, whole_floor=where.treadmill)
        for label, values in zip(CHANNELS[plate.c3d_type], channels_of(plate, force, moment).T, strict=True):
            is_moment = label.startswith("M")
            noise = where.force_noise_n * (MOMENT_NOISE_NMM_PER_N if is_moment else 1.0)
            noise /= 2 if plate.c3d_type == TYPE_3 else 1  # four sensors share the vertical force
            zero = 0.3 * noise * rng.standard_normal()
            values = values * (1000 if is_moment else 1) + zero + noise * rng.standard_normal(len(values))
            full_scale = 4_000_000.0 if is_moment else 10_000.0 if label == "Fz" else 5_000.0
            grid = MOMENT_GRID_NMM if is_moment else FORCE_GRID_N
            columns.append(_Column(f"P{number}.{label}", "Nmm" if is_moment else "N", values, full_scale, grid))
    return columns


def _channel_columns(trial: SimulatedTrial, where: Lab, muscles: bool) -> list[_Column]:
    t = np.arange(round(trial.duration_s * trial.force_rate_hz)) / trial.force_rate_hz
    return [
        _Column(c.label, c.unit, c.values(trial, t, trial.force_rate_hz), c.full_scale, c.grid)
        for c in channels_in(where.profile.site, trial.kind, muscles)
    ]
