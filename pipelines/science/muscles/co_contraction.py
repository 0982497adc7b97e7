"""How much two opposing muscles are active at once, by published formulas. Envelopes come from ``muscle_signal``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np

from pipelines.science.muscles.amplitudes import Reference, usable
from pipelines.science.muscles.signal import Conditioned
from pipelines.science.muscles.windows import Step, windows_of
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray


def falconer_winter(one: FloatArray, other: FloatArray) -> float | None:
    """100 x 2 sum(min) / sum(both), in percent, of two envelopes (n,) of one unit (Falconer & Winter 1985).

    None if both are silent throughout (0 / 0), if a sample is missing, or without samples.
    """
    total = float(np.sum(one + other))
    return float(200 * np.sum(np.minimum(one, other)) / total) if total > 0 else None


def rudolph(one: FloatArray, other: FloatArray) -> float | None:
    """Mean over time of (low / high) x (low + high) of two normalised envelopes (n,) (Rudolph et al. 2000).

    Moments at which both are silent, 0 / 0, have no ratio and are left out; None if that is all of them, if a sample
    is missing, or without samples.
    """
    low, high = np.minimum(one, other), np.maximum(one, other)
    if not np.isfinite(low + high).all() or not (high > 0).any():
        return None
    low, high = low[high > 0], high[high > 0]
    return float(np.mean(low / high * (low + high)))


FORMULAS = {"falconer_winter": falconer_winter, "rudolph": rudolph}


def co_contraction_rows(
    pair: tuple[Conditioned, Conditioned],
    envelopes: tuple[FloatArray, FloatArray],
    references: tuple[Reference | None, Reference | None],
    steps: Iterable[Step],
    processing: MuscleProcessing,
) -> Iterator[dict[str, Any]]:
    """Rows of ``co_contractions`` less trial, side, muscles and provenance; values are null without both references.

    envelopes: (n,) uV each, of the two. Two signals of one trial may differ in rate; the second is then interpolated at
    the samples of the first.
    """
    one, other = pair
    kind = _shared_kind(references)
    scaled = [
        curve / reference.amplitude_uv if reference and kind else np.full(len(curve), np.nan)
        for curve, reference in zip(envelopes, references, strict=True)
    ]
    here, there = (muscle.start_s + np.arange(len(muscle.samples)) / muscle.rate_hz for muscle in pair)
    beside = scaled[1] if np.array_equal(here, there) else np.interp(here, there, scaled[1])
    for step in steps:
        for window, start_s, end_s in windows_of(step, processing):
            span = one.span(start_s, end_s)
            if span is None or other.span(start_s, end_s) is None:
                continue
            for formula, compute in FORMULAS.items():
                yield {
                    "footfall_number": step.footfall_number,
                    "analysis_window": window,
                    "formula": formula,
                    "co_contraction_index": compute(scaled[0][span], beside[span]),
                    "normalisation": kind or "none",
                }


def _shared_kind(references: tuple[Reference | None, Reference | None]) -> str | None:
    """The kind of both references; None if one is missing or they differ, since then they cannot be compared."""
    kinds = {reference.kind if usable(reference) and reference else None for reference in references}
    return kinds.pop() if len(kinds) == 1 else None
