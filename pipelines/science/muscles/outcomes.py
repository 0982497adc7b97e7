"""Assembles the muscle tables of one trial. Definitions and formulas stand with the functions called here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipelines.science.frames import Rows
from pipelines.science.muscles.amplitudes import Reference, amplitude_rows, root_mean_square
from pipelines.science.muscles.bursts import METHODS, activity, baseline_of, burst_rows, signal_to_noise
from pipelines.science.muscles.co_contraction import co_contraction_rows
from pipelines.science.muscles.signal import Conditioned, Key, conditioned_muscles, linear_envelope
from pipelines.science.muscles.windows import Step, steps_of
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
    """The muscle signals of one trial, conditioned once, with their envelopes, each made when first asked for."""

    def __init__(self, signals: Iterable[Signal], processing: MuscleProcessing) -> None:
        self.processing = processing
        self.conditioned: Mapping[Key, Conditioned] = conditioned_muscles(signals, processing)
        self._envelopes: dict[Key, FloatArray] = {}

    def envelope(self, key: Key) -> FloatArray:
        """Linear envelope (n,) in uV; NaN where missing, all NaN if the signal is of no use."""
        if key not in self._envelopes:
            settings = self.processing
            muscle = self.conditioned[key]
            self._envelopes[key] = linear_envelope(muscle, settings.envelope_cutoff_hz, settings.filter_order)
        return self._envelopes[key]


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
    amplitudes: list[dict[str, Any]] = []
    bursts: list[dict[str, Any]] = []
    qualities: list[dict[str, Any]] = []
    for key, muscle in muscles.conditioned.items():
        own = {"trial_id": trial_id, "muscle": key[0], "side": key[1]}
        rows = amplitude_rows(muscle, steps[key[1]], processing, references.get(key))
        amplitudes += [own | row for row in rows]
        found, quality = _bursts_and_quality(muscle, steps[key[1]], processing)
        bursts += [own | row for row in found]
        qualities.append(own | quality)
    return MuscleOutcomes(
        Rows.of(MUSCLE_AMPLITUDES, amplitudes),
        Rows.of(MUSCLE_BURSTS, bursts),
        Rows.of(CO_CONTRACTIONS, _co_contractions(trial_id, muscles, steps, references)),
        Rows.of(MUSCLE_SIGNALS, qualities),
    )


def _bursts_and_quality(
    muscle: Conditioned, steps: Sequence[Step], processing: MuscleProcessing
) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    baseline = baseline_of(muscle, processing)
    found = {method: activity(muscle, baseline, method, processing) for method in METHODS}
    rows = [row for method in METHODS for row in burst_rows(muscle, found[method], method, steps, processing)]
    return rows, {
        "signal_problem": muscle.problem,
        "signal_to_noise_db": signal_to_noise(muscle, baseline, found["threshold"]),
        "baseline_uv": root_mean_square(muscle.samples[baseline]),
        "sampling_rate_hz": muscle.rate_hz,
        "saturated_fraction": muscle.saturated_fraction,
        "missing_fraction": muscle.missing_fraction,
        "mains_notch_used": muscle.notch_used,
    }


def _co_contractions(
    trial_id: str, muscles: Muscles, steps: Mapping[str, Sequence[Step]], references: Mapping[Key, Reference]
) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    there = muscles.conditioned
    for one, other in muscles.processing.co_contraction_pairs:
        for side in steps:
            keys = (one, side), (other, side)
            if keys[0] not in there or keys[1] not in there:
                continue
            own = {"trial_id": trial_id, "side": side, "muscle": one, "opposing_muscle": other}
            pair, curves = (there[keys[0]], there[keys[1]]), (muscles.envelope(keys[0]), muscles.envelope(keys[1]))
            both = references.get(keys[0]), references.get(keys[1])
            found = co_contraction_rows(pair, curves, both, steps[side], muscles.processing)
            rows += [own | row for row in found]
    return rows
