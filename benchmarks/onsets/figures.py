"""Figures of onsets: how far detectors lie from known ones, and what the stated uncertainty covers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from benchmarks.onsets.made import KEY, Shape, Source, made
from benchmarks.real_recordings.jog_muscles import jog
from pipelines.science.muscles.bursts import METHODS, activity, baseline_of
from pipelines.science.muscles.onsets import DETECTORS, onset_rows
from schemas.trial import FloatArray

#: An onset that is further off is no onset of this burst. Own choice.
GROSS_MS = 50.0


@dataclass(frozen=True)
class Errors:
    """Found less true onsets in ms. by_detector: name -> (k,), NaN where it gives none. given: (k,) those of the table.

    uncertainty: (k,) what is stated for these, in ms.
    """

    by_detector: dict[str, FloatArray]
    given: FloatArray
    uncertainty: FloatArray

    @property
    def given_share(self) -> float:
        """Part of the bursts for which an onset is given."""
        return float(np.isfinite(self.given).mean())

    def covered(self, factor: float) -> float:
        """Part of the given onsets that lie within so many standard uncertainties of the truth."""
        known = np.isfinite(self.given)
        return float(np.mean(np.abs(self.given[known]) <= factor * self.uncertainty[known]))

    def gross(self, errors: FloatArray) -> float:
        """Part of the known ones among these errors that are gross."""
        known = errors[np.isfinite(errors)]
        return float(np.mean(np.abs(known) > GROSS_MS))


def errors(sources: Sequence[Source], shape: Shape, seed: int = 1000) -> Errors:
    """Of the main burst of each stride, over all sources."""
    by_detector: dict[str, list[float | None]] = {name: [] for name in DETECTORS}
    given: list[float | None] = []
    uncertainty: list[float | None] = []
    for number, source in enumerate(sources):
        one = made(source, shape, seed + number)
        muscle, processing = one.muscles.conditioned[KEY], one.muscles.processing
        baseline = baseline_of(muscle, processing)
        curves = one.muscles.onset_curves
        found = {way: activity(muscle, curves[KEY, way], baseline, way, processing) for way in METHODS}
        rows = [row for row in onset_rows(muscle, found, one.steps, processing) if row["burst"] == "stance"]
        for row, step, onset_s in zip(rows, one.steps, one.onset_s, strict=True):
            lead = step.contact_s - onset_s
            for name, errors_s in by_detector.items():
                own = row[f"onset_by_{name}_s"]
                errors_s.append(None if own is None else lead - own)
            own = row["onset_before_contact_s"]
            given.append(None if own is None else lead - own)
            uncertainty.append(row["onset_uncertainty_s"])
    return Errors({name: _ms(own) for name, own in by_detector.items()}, _ms(given), _ms(uncertainty))


def _ms(values_s: Sequence[float | None]) -> FloatArray:
    return 1000 * np.array(values_s, float)


def of_known_onsets(sources: Sequence[Source], shape: Shape) -> Iterator[str]:
    """A line for each detector, and one for what is given."""
    found = errors(sources, shape)
    for name, own in (*found.by_detector.items(), ("given", found.given)):
        known = own[np.isfinite(own)]
        line = f"{shape.name:26}{name:16}{np.median(known):+4.0f} ms, rms {np.sqrt(np.mean(known**2)):3.0f} ms, "
        line += f"{100 * found.gross(own):3.0f} % gross"
        if name == "given":
            line += f"; {100 * found.given_share:.0f} % of {len(own)} given, "
            line += f"{100 * found.covered(1):.0f} % within one, {100 * found.covered(2):.0f} % within two"
        yield line


def of_the_jog() -> Iterator[str]:
    """What the table says of it."""
    rows = jog().work.muscle_outcomes.bursts.records
    for place in ("pre_contact", "stance"):
        own = Counter(row["onset_quality"] for row in rows if row["burst"] == place)
        yield f"{place} bursts: " + ", ".join(f"{name} {count}" for name, count in own.most_common())
    given = [row for row in rows if row["onset_quality"] == "all_agree"]
    stated = 1000 * np.array([row["onset_uncertainty_s"] for row in given])
    low, high, middle = stated.min(), stated.max(), np.median(stated)
    yield f"standard uncertainty of those given: {low:.0f} to {high:.0f} ms, median {middle:.0f}"
    spread = 1000 * np.array([row["onset_spread_s"] for row in rows])
    spread = spread[np.isfinite(spread)]
    over = ", ".join(f"more than {limit} ms in {np.sum(spread > limit)}" for limit in (20, 50))
    yield f"the three detectors lie {np.median(spread):.0f} ms apart (median of {len(spread)}), {over}"
    by_muscle: dict[tuple[str, str], list[float]] = {}
    for row in given:
        by_muscle.setdefault((row["muscle"], row["burst"]), []).append(1000 * row["onset_before_contact_s"])
    for (muscle, place), own in by_muscle.items():
        if len(own) == 2:
            yield f"{muscle}, {place}: {own[0]:+.0f} and {own[1]:+.0f} ms before the two contacts"
