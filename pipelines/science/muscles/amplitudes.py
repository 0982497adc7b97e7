"""How strongly a muscle is active: amplitude per window, and the reference amplitude it is divided by."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from pipelines.science.frames import Column, Rows
from pipelines.science.muscles.signal import Conditioned, Key, condition, conditioned_muscles
from pipelines.science.muscles.windows import Step, Windows, steps_of
from pipelines.science.signals.spans import rms_over
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray, Signal


@dataclass(frozen=True)
class Reference:
    """What one muscle's amplitudes are divided by. kind: a word of ``codes.NORMALISATION``, not ``none``.

    gain_known: if not, the amplitude is that of a channel as recorded, and only the same channel can be divided by it.
    """

    kind: str
    amplitude_uv: float
    gain_known: bool = True


def usable(reference: Reference | None, muscle: Conditioned) -> Reference | None:
    """The reference if this muscle can be divided by it, else None.

    A muscle of unknown gain is divided by a reference of unknown gain, since the gain of a channel is one and the same
    in a session; where one of the two is known, they cannot be compared.
    """
    if reference is None or reference.gain_known != muscle.gain_known:
        return None
    return reference if np.isfinite(reference.amplitude_uv) and reference.amplitude_uv > 0 else None


def root_mean_square(samples: FloatArray) -> float | None:
    """Of (n,) samples, in their unit. None if there is none or one is missing: no window is told by half."""
    return float(np.sqrt(np.mean(samples**2))) if len(samples) and np.isfinite(samples).all() else None


def amplitude_columns(muscle: Conditioned, windows: Windows, reference: Reference | None) -> dict[str, Column]:
    """Columns of ``muscle_amplitudes`` less trial, muscle, side and provenance; none for a window not wholly there.

    windows: of the muscle's side. Where the gain is not known the columns in uV are empty and the fraction is there.
    """
    reference = usable(reference, muscle)
    spans = muscle.spans(windows.start_s, windows.end_s)
    recorded = spans[:, 0] < spans[:, 1]
    own = windows.kept(recorded)
    amplitude = rms_over(muscle.samples, spans[recorded])
    divisor = reference.amplitude_uv if reference else np.nan
    count = len(own.names)
    at_skin = 1.0 if muscle.gain_known else np.nan
    return {
        "footfall_number": own.footfall_numbers,
        "analysis_window": own.names,
        "window_s": own.end_s - own.start_s,
        "amplitude_uv": amplitude * at_skin,
        "amplitude_fraction": amplitude / divisor,
        "normalisation": [reference.kind if reference else "none"] * count,
        "reference_uv": np.full(count, divisor * at_skin),
    }


def above_reference(fractions: Column) -> float | None:
    """The part of these fractions of a reference (w,) that is above 1; None where none is known."""
    known = np.asarray(fractions, float)
    known = known[np.isfinite(known)]
    return float(np.mean(known > 1)) if len(known) else None


def reference_amplitude(
    signal: Signal, processing: MuscleProcessing, kind: str, footfalls: Rows | None = None
) -> float | None:
    """One recording's reference amplitude of one muscle in uV; None where the recording has none to give.

    ``reference_contraction``: the largest root mean square of the band-passed signal over any stretch of
    ``reference_window_s``. ``dynamic_peak``: the same over any stretch of ``peak_window_s`` in each complete stride of
    ``footfalls`` (rows of that table), averaged over the strides, so that one artefact does not set the scale. So the
    reference is told in the same measure as what is divided by it.
    Raises ValueError for any other kind.
    """
    if kind not in ("reference_contraction", "dynamic_peak"):
        raise ValueError(f"there is no reference amplitude of kind {kind!r}")
    steps = [] if footfalls is None or signal.side is None else steps_of(footfalls, signal.side)
    return _reference(condition(signal, processing), processing, kind, steps)


def references_of(
    recordings: Iterable[tuple[Iterable[Signal], Rows | None]], processing: MuscleProcessing
) -> Mapping[Key, Reference]:
    """The reference of every muscle from one session's reference recordings, each given with its footfalls.

    Which recordings those are is the caller's business: trials of kind reference_contraction, or running trials of
    the reference condition. Of several contractions the strongest counts; dynamic peaks of several trials are
    averaged. A muscle without any is left out; with ``normalisation`` none all are.
    """
    kind = processing.normalisation
    if kind == "none":
        return {}
    found: list[dict[Key, Reference]] = []
    for signals, footfalls in recordings:
        one: dict[Key, Reference] = {}
        for key, muscle in conditioned_muscles(signals, processing).items():
            steps = [] if footfalls is None else steps_of(footfalls, key[1])
            amplitude = _reference(muscle, processing, kind, steps)
            if amplitude is not None:
                one[key] = Reference(kind, amplitude, muscle.gain_known)
        found.append(one)
    return combined(found)


def combined(recordings: Iterable[Mapping[Key, Reference]]) -> Mapping[Key, Reference]:
    """One session's references from those of its recordings, all of one kind: the strongest contraction, mean peak.

    A muscle whose gain is known in some of the recordings only has none.
    """
    found: dict[Key, list[Reference]] = {}
    for one in recordings:
        for key, reference in one.items():
            found.setdefault(key, []).append(reference)
    together = {"reference_contraction": max, "dynamic_peak": np.mean}
    return {
        key: replace(rs[0], amplitude_uv=float(together[rs[0].kind]([r.amplitude_uv for r in rs])))  # type: ignore[operator]
        for key, rs in found.items()
        if len({r.gain_known for r in rs}) == 1
    }


def _reference(muscle: Conditioned, processing: MuscleProcessing, kind: str, steps: Iterable[Step]) -> float | None:
    if muscle.problem:
        return None
    if kind == "reference_contraction":
        return _strongest_stretch(muscle.samples, round(processing.reference_window_s * muscle.rate_hz))
    length = round(processing.peak_window_s * muscle.rate_hz)
    spans = [muscle.span(s.contact_s, s.next_contact_s) for s in steps if s.next_contact_s is not None]
    strides = [muscle.samples[span] for span in spans if span is not None]
    found = [_strongest_stretch(own, length) for own in strides if np.isfinite(own).all()]
    peaks = [peak for peak in found if peak is not None]
    return float(np.mean(peaks)) if peaks else None


def _strongest_stretch(samples: FloatArray, length: int) -> float | None:
    """Largest root mean square over any ``length`` samples in a row of which none is missing."""
    if not 0 < length <= len(samples):
        return None
    sums = np.concatenate([[0.0], np.cumsum(np.nan_to_num(samples) ** 2)])
    gaps = np.concatenate([[0], np.cumsum(~np.isfinite(samples))])
    whole = gaps[length:] == gaps[:-length]
    return float(np.sqrt((sums[length:] - sums[:-length])[whole].max() / length)) if whole.any() else None
