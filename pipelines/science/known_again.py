"""A trial as a copy of it would be known again: rows of ``trial_shapes``, and what is made of such rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from pipelines.science import standing_shapes
from pipelines.science.frames import Rows
from pipelines.science.shapes import POINTS, SERIES, Shape, are_one, coded, decoded, shapes_of
from pipelines.science.standing_shapes import STANDING, SUMS, Sway, sway_of
from schemas.processing import Processing
from schemas.quality import TRIAL_SHAPES
from schemas.trial import FloatArray, Trial

#: Sway is written in hundredths of a millimetre, posture in tenths, strides in thousandths of a foot's length.
_SWAY_UNIT_M, _POSTURE_UNIT_M = 0.01, 0.1
#: Trial, marker, number, cell and code of a row.
ShapeRow = tuple[str, str, int, str, str]


@dataclass(frozen=True, eq=False)
class Kept:
    """What is kept of one trial: its strides and steps, or how it sways."""

    strides: tuple[Shape, ...] = ()
    sway: Sway | None = None

    @cached_property
    def cells(self) -> frozenset[str]:
        """Every cell in which a copy of a stride, or of the whole, may lie."""
        return frozenset().union(*(one.cells for one in (*self.strides, *([self.sway] if self.sway else ()))))

    @cached_property
    def own_cells(self) -> frozenset[str]:
        """The cells in which they lie."""
        return frozenset(one.cell for one in (*self.strides, *([self.sway] if self.sway else ())))

    def is_one_with(self, other: Kept) -> bool:
        """Whether both are of one recording, or one of a part of the other's."""
        if self.sway is not None and other.sway is not None:
            return standing_shapes.are_one(self.sway, other.sway)
        return are_one(self.strides, other.strides)


def shape_rows(trial: Trial, processing: Processing) -> Rows:
    """Rows of ``trial_shapes`` less provenance, of a running or standing trial."""
    rows = [(trial.trial_id, s.marker, s.number, s.cell, coded(s.points)) for s in shapes_of(trial, processing)]
    sway = sway_of(trial, processing)
    if sway is not None:
        rows.append((trial.trial_id, STANDING, 0, sway.cell, coded(sway.series / _SWAY_UNIT_M)))
        rows.append((trial.trial_id, STANDING, 1, sway.cell, coded(sway.posture / _POSTURE_UNIT_M)))
    names = ("trial_id", "marker", "stride_number", "cell", "shape_code")
    return Rows.of(TRIAL_SHAPES, (dict(zip(names, row, strict=True)) for row in rows))


def kept_in(rows: Iterable[ShapeRow]) -> dict[str, Kept]:
    """Trial -> what is kept of it."""
    strides: dict[str, list[Shape]] = {}
    standing: dict[str, dict[int, FloatArray]] = {}
    cells: dict[str, str] = {}
    for trial, marker, number, cell, code in rows:
        values = decoded(code)
        if marker == STANDING:
            standing.setdefault(trial, {})[int(number)] = values
            cells[trial] = cell
        elif len(values) == SERIES * POINTS:
            strides.setdefault(trial, []).append(Shape(marker, int(number), values.reshape(SERIES, POINTS)))
    swaying = {trial: Kept((), _sway(own, cells[trial])) for trial, own in standing.items() if len(own) == 2}
    return {trial: Kept(tuple(own)) for trial, own in strides.items()} | swaying


def _sway(parts: Mapping[int, FloatArray], cell: str) -> Sway:
    return Sway(_SWAY_UNIT_M * parts[0].reshape(3 * SUMS, -1), _POSTURE_UNIT_M * parts[1].reshape(-1, 3), cell)


def rows_in(shapes: Rows) -> Iterator[ShapeRow]:
    """What ``kept_in`` takes, of the rows of a verdict."""
    names = ("trial_id", "marker", "stride_number", "cell", "shape_code")
    return zip(*(shapes.columns[name] for name in names), strict=True)
