"""How much two opposing muscles are active at once, by published formulas. Envelopes come from ``muscle_signal``."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipelines.science.frames import Column
from pipelines.science.muscles.amplitudes import Reference, usable
from pipelines.science.muscles.signal import Conditioned
from pipelines.science.muscles.windows import Windows
from pipelines.science.signals.spans import Spans, sums_over
from schemas.trial import FloatArray

#: Two curves (n,) and spans (w, 2) to one value (w,) each, NaN where there is none.
Formula = Callable[[FloatArray, FloatArray, Spans], FloatArray]


def falconer_winter(one: FloatArray, other: FloatArray) -> float | None:
    """100 x 2 sum(min) / sum(both), in percent, of two envelopes (n,) of one unit (Falconer & Winter 1985).

    None if both are silent throughout (0 / 0), if a sample is missing, or without samples.
    """
    return _over_all(_falconer_winter, one, other)


def rudolph(one: FloatArray, other: FloatArray) -> float | None:
    """Mean over time of (low / high) x (low + high) of two normalised envelopes (n,) (Rudolph et al. 2000).

    Moments at which both are silent, 0 / 0, have no ratio and are left out; None if that is all of them, if a sample
    is missing, or without samples.
    """
    return _over_all(_rudolph, one, other)


def _over_all(formula: Formula, one: FloatArray, other: FloatArray) -> float | None:
    found = float(formula(one, other, np.array([[0, len(one)]]))[0])
    return found if np.isfinite(found) else None


def _falconer_winter(one: FloatArray, other: FloatArray, spans: Spans) -> FloatArray:
    total = sums_over(one + other, spans)
    return 200 * sums_over(np.minimum(one, other), spans) / np.where(total > 0, total, np.nan)


def _rudolph(one: FloatArray, other: FloatArray, spans: Spans) -> FloatArray:
    low, high = np.minimum(one, other), np.maximum(one, other)
    active = high > 0
    each = np.where(np.isfinite(high), 0.0, np.nan)
    each[active] = low[active] / high[active] * (low[active] + high[active])
    count = sums_over(active.astype(float), spans)
    return sums_over(each, spans) / np.where(count > 0, count, np.nan)


FORMULAS: dict[str, Formula] = {"falconer_winter": _falconer_winter, "rudolph": _rudolph}


def co_contraction_columns(
    pair: tuple[Conditioned, Conditioned],
    envelopes: tuple[FloatArray, FloatArray],
    references: tuple[Reference | None, Reference | None],
    windows: Windows,
) -> dict[str, Column]:
    """Columns of ``co_contractions`` less trial, side, muscles and provenance; null values without both references.

    envelopes: (n,) uV each, of the two; windows: of their side. Two signals of one trial may differ in rate; the second
    is then interpolated at the samples of the first.
    """
    kind = _shared_kind(references, pair)
    scaled = [
        curve / reference.amplitude_uv if reference and kind else np.full(len(curve), np.nan)
        for curve, reference in zip(envelopes, references, strict=True)
    ]
    here, there = (muscle.start_s + np.arange(len(muscle.samples)) / muscle.rate_hz for muscle in pair)
    beside = scaled[1] if np.array_equal(here, there) else np.interp(here, there, scaled[1])
    spans, theirs = (muscle.spans(windows.start_s, windows.end_s) for muscle in pair)
    recorded = (spans[:, 0] < spans[:, 1]) & (theirs[:, 0] < theirs[:, 1])
    own = windows.kept(recorded)
    values = [compute(scaled[0], beside, spans[recorded]) for compute in FORMULAS.values()]
    each = len(FORMULAS)  # window by window, each formula in turn
    return {
        "footfall_number": [number for number in own.footfall_numbers for _ in range(each)],
        "analysis_window": [name for name in own.names for _ in range(each)],
        "formula": list(FORMULAS) * len(own.names),
        "co_contraction_index": np.stack(values, axis=1).ravel(),
        "normalisation": [kind or "none"] * (each * len(own.names)),
    }


def _shared_kind(
    references: tuple[Reference | None, Reference | None], pair: tuple[Conditioned, Conditioned]
) -> str | None:
    """The kind of both references; None if one is missing or they differ, since then they cannot be compared."""
    fitting = [usable(reference, muscle) for reference, muscle in zip(references, pair, strict=True)]
    kinds = {reference.kind if reference else None for reference in fitting}
    return kinds.pop() if len(kinds) == 1 else None
