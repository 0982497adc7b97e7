"""Assembles the muscle tables of one trial. Definitions and formulas stand with the functions called here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

from pipelines.science.frames import Column, Rows
from pipelines.science.muscles.amplitudes import Reference, above_reference, amplitude_columns, root_mean_square
from pipelines.science.muscles.bursts import METHODS, activity, baseline_of, rectified, signal_to_noise
from pipelines.science.muscles.co_contraction import co_contraction_columns
from pipelines.science.muscles.onsets import onset_rows
from pipelines.science.muscles.signal import Conditioned, Key, conditioned_muscles, root_of, smooth
from pipelines.science.muscles.windows import Step, Windows, steps_of
from pipelines.science.signals.filters import together
from schemas.outcomes_muscle import CO_CONTRACTIONS, MUSCLE_AMPLITUDES, MUSCLE_BURSTS, MUSCLE_SIGNALS
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray, Signal


@dataclass(frozen=True)
class MuscleOutcomes:
    """The four muscle tables of one trial, in definition order, less provenance."""

    amplitudes: Rows
    bursts: Rows
    co_contractions: Rows
    signals: Rows


class Muscles:
    """The muscle signals of one trial, conditioned once, and their smooth curves, made when first asked for."""

    def __init__(self, signals: Iterable[Signal], processing: MuscleProcessing) -> None:
        self.processing = processing
        self.conditioned: Mapping[Key, Conditioned] = conditioned_muscles(signals, processing)

    @cached_property
    def envelopes(self) -> Mapping[Key, FloatArray]:
        """Root-mean-square envelope (n,) of each in uV; NaN where missing, all NaN if the signal is of no use."""
        sizes = {(key, "threshold"): m.samples**2 for key, m in self.conditioned.items()}
        curves = self._smooth(sizes, self.processing.envelope_cutoff_hz)
        return {key: root_of(curve) for (key, _), curve in curves.items()}

    @cached_property
    def onset_curves(self) -> Mapping[tuple[Key, str], FloatArray]:
        """(key, method) -> the curve (n,) in which that method looks for bursts."""
        sizes = {(key, way): rectified(m, way) for key, m in self.conditioned.items() for way in METHODS}
        return self._smooth(sizes, self.processing.onset_cutoff_hz)

    def _smooth(
        self, curves: Mapping[tuple[Key, str], FloatArray], cutoff_hz: float
    ) -> dict[tuple[Key, str], FloatArray]:
        by_rate: dict[float, list[tuple[Key, str]]] = {}
        for name in curves:
            by_rate.setdefault(self.conditioned[name[0]].rate_hz, []).append(name)
        done: dict[tuple[Key, str], FloatArray] = {}
        for rate, names in by_rate.items():
            one = partial(smooth, rate_hz=rate, cutoff_hz=cutoff_hz, order=self.processing.filter_order)
            done |= dict(zip(names, together([curves[name] for name in names], one), strict=True))
        return done


def muscle_outcomes(
    trial_id: str, muscles: Muscles, footfalls: Rows, references: Mapping[Key, Reference]
) -> MuscleOutcomes:
    """Everything that is told about the muscles of one trial.

    footfalls: of the same trial, by whatever method. references: by muscle and side; those that are missing leave
    amplitudes unnormalised and co-contraction null. A muscle that was not recorded has no rows; one whose signal is of
    no use has a row in ``signals`` that says why, and null values in the other tables. Never raises on bad signals.
    """
    processing = muscles.processing
    steps = {side: steps_of(footfalls, side) for side in sorted({side for _, side in muscles.conditioned})}
    windows = {side: Windows.of(own, processing) for side, own in steps.items()}
    amplitudes: list[dict[str, Column]] = []
    bursts: list[dict[str, Any]] = []
    qualities: list[dict[str, Any]] = []
    for key, muscle in muscles.conditioned.items():
        own = {"trial_id": trial_id, "muscle": key[0], "side": key[1]}
        columns = amplitude_columns(muscle, windows[key[1]], references.get(key))
        amplitudes.append(_beside(own, columns))
        curves = {method: muscles.onset_curves[key, method] for method in METHODS}
        found, quality = _bursts_and_quality(muscle, curves, steps[key[1]], processing)
        bursts += [own | row for row in found]
        qualities.append(own | quality | {"above_reference_fraction": above_reference(columns["amplitude_fraction"])})
    return MuscleOutcomes(
        Rows.of_parts(MUSCLE_AMPLITUDES, amplitudes),
        Rows.of(MUSCLE_BURSTS, bursts),
        Rows.of_parts(CO_CONTRACTIONS, _co_contractions(trial_id, muscles, windows, references)),
        Rows.of(MUSCLE_SIGNALS, qualities),
    )


def _beside(same: Mapping[str, str], columns: Mapping[str, Column]) -> dict[str, Column]:
    """The columns with those beside them that are the same in every row."""
    count = len(next(iter(columns.values())))
    return {**{name: [word] * count for name, word in same.items()}, **columns}


def _bursts_and_quality(
    muscle: Conditioned, curves: Mapping[str, FloatArray], steps: Sequence[Step], processing: MuscleProcessing
) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    baseline = baseline_of(muscle, processing)
    found = {method: activity(muscle, curves[method], baseline, method, processing) for method in METHODS}
    return list(onset_rows(muscle, found, steps, processing)), {
        "signal_problem": muscle.problem,
        "signal_to_noise_db": signal_to_noise(muscle, baseline, found["threshold"]),
        "baseline_uv": root_mean_square(muscle.samples[baseline]) if muscle.gain_known else None,
        "sampling_rate_hz": muscle.rate_hz,
        "saturated_fraction": muscle.saturated_fraction,
        "missing_fraction": muscle.missing_fraction,
        "mains_notch_used": muscle.notch_used,
        "gain_known": muscle.gain_known,
    }


def _co_contractions(
    trial_id: str, muscles: Muscles, windows: Mapping[str, Windows], references: Mapping[Key, Reference]
) -> list[dict[str, Column]]:
    parts: list[dict[str, Column]] = []
    there = muscles.conditioned
    for one, other in muscles.processing.co_contraction_pairs:
        for side in windows:
            keys = (one, side), (other, side)
            if keys[0] not in there or keys[1] not in there:
                continue
            own = {"trial_id": trial_id, "side": side, "muscle": one, "opposing_muscle": other}
            pair, curves = (there[keys[0]], there[keys[1]]), (muscles.envelopes[keys[0]], muscles.envelopes[keys[1]])
            both = references.get(keys[0]), references.get(keys[1])
            parts.append(_beside(own, co_contraction_columns(pair, curves, both, windows[side])))
    return parts
