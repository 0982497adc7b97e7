"""The filtered paths of one trial's markers: all of them in one go for each cut-off that somebody asks for."""

from __future__ import annotations

from collections.abc import Mapping

from pipelines.science.signals.filters import low_pass_paths
from schemas.processing import Processing
from schemas.trial import FloatArray, Trial


class SmoothMarkers:
    """Marker paths below a cut-off, filtered when first asked for. Nobody writes to the arrays, they are shared."""

    def __init__(self, trial: Trial, processing: Processing) -> None:
        self._trial, self._processing = trial, processing
        self._made: dict[float | None, Mapping[str, FloatArray]] = {}

    @property
    def paths(self) -> Mapping[str, FloatArray]:
        """Role with side -> (frames, 3) m, below the study's cut-off for markers."""
        return self.below(self._processing.marker_cutoff_hz)

    def below(self, cutoff_hz: float | None) -> Mapping[str, FloatArray]:
        """Role with side -> (frames, 3) m, without what is faster than ``cutoff_hz``."""
        if cutoff_hz not in self._made:
            trial, order = self._trial, self._processing.filter_order
            self._made[cutoff_hz] = low_pass_paths(trial.markers, trial.marker_rate_hz, cutoff_hz, order)
        return self._made[cutoff_hz]
