"""How well a muscle's activity over the stride fits what muscles of its kind do, on either foot, early or late.

When which kind is active is in ``schemas.muscle_phases`` and in the study file. Nothing here judges: limits are in the
checks.

The level of a channel is averaged over strides, as a function of the part of the left foot's stride that has passed:
zero at left contacts, and half a stride before or after right ones. So both feet's contacts tell of every channel, also
where a laboratory records one leg, and where few contacts are seen. A muscle of the left leg then follows the phase of
its kind, one of the right leg the same half a stride later, and one whose clock is off follows it late.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from pipelines.science.muscles.measures import LEVEL_WINDOW_S, Muscle, judged_muscles, raw_muscles
from pipelines.science.muscles.outcomes import Muscles
from schemas.muscle_phases import MusclePhases, Phase, within
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray, Signal, Trial

OTHER = {"left": "right", "right": "left"}
#: Parts of a stride that are told apart: about 18 ms each, less than a level's window.
PARTS = 40
HALF = PARTS // 2
_SHIFT = {"left": 0, "right": HALF}
#: Own choice: a contact is about a third of a stride in running, where only one contact was seen.
STRIDE_OF_CONTACT = 3.0
#: Own choice: strides of one trial differ by less than this part.
STRIDES_DIFFER = 0.2
#: Own choice: so many parts must be known of those in which a kind is active, and of those in which it is silent.
FEWEST_PARTS = 3

Contacts = Mapping[str, Sequence[tuple[float, float]]]


@dataclass(frozen=True)
class Strides:
    """Where strides lie. anchors_s: (k,) times at which the left foot's stride begins; stride_s: how long one is."""

    anchors_s: FloatArray
    stride_s: float


def strides_of(contacts: Contacts) -> Strides | None:
    """From (contact, toe-off) in s of each side; None without any contact.

    The length of a stride is the median of the distances from a contact to the next of the same foot with at most one
    of the other between, and of twice the distances to the next of the other foot; those that are longer than the
    shortest by a fifth have a contact missing and are left out.
    """
    order = sorted((start, end - start, side) for side, own in contacts.items() if side in OTHER for start, end in own)
    if not order:
        return None
    found = [(b[0] - a[0]) * (1 if a[2] == b[2] else 2) for a, b in itertools.pairwise(order)]
    found += [c[0] - a[0] for a, b, c in zip(order, order[1:], order[2:], strict=False) if a[2] == c[2] != b[2]]
    found = [length for length in found if length > 0]
    shortest = min(found, default=0.0)
    known = [length for length in found if length <= (1 + STRIDES_DIFFER) * shortest]
    stride = float(np.median(known)) if known else STRIDE_OF_CONTACT * float(np.median([o[1] for o in order]))
    starts = np.array([start - (stride / 2 if side == "right" else 0.0) for start, _, side in order])
    return Strides(starts, stride) if stride > 0 else None


def over_the_stride(muscle: Muscle, strides: Strides) -> FloatArray:
    """(PARTS,) mean level of the muscle in uV in each part of the left foot's stride; NaN in parts not recorded."""
    levels, length = muscle.levels_uv, max(round(LEVEL_WINDOW_S * muscle.rate_hz), 1)
    if not len(levels):
        return np.full(PARTS, np.nan)
    hop = max(length // 2, 1)
    middles = muscle.signal.start_s + (np.arange(len(levels)) * hop + length / 2) / muscle.rate_hz
    parts = (np.arange(PARTS) - HALF) / PARTS  # half a stride to each side of an anchor
    times = strides.anchors_s[:, None] + strides.stride_s * parts
    values = np.interp(times, middles, levels, left=np.nan, right=np.nan)
    known = np.isfinite(values)
    counts = known.sum(axis=0)
    means = np.where(known, values, 0.0).sum(axis=0) / np.maximum(counts, 1)
    return np.roll(np.where(counts > 0, means, np.nan), HALF)


@lru_cache(maxsize=64)
def _parts(phase: Phase) -> tuple[FloatArray, FloatArray]:
    """(PARTS, PARTS) each, 1 where active and where silent: row l for a pattern that is l parts late."""
    percent = 100 * np.arange(PARTS) / PARTS
    both = (phase.active_percent, phase.silent_percent)
    active, silent = (np.array([within(p, part) for p in percent], float) for part in both)
    late = (np.arange(PARTS)[None, :] - np.arange(PARTS)[:, None]) % PARTS
    return active[late], silent[late]


def fits(profile: FloatArray, phase: Phase) -> FloatArray:
    """(PARTS,) how well a profile (PARTS,) fits the phase when it is shifted by so many parts, from 1 to -1.

    The correlation of the level with being active, both states counting alike: with the means a, s and variances v of
    the level where the kind is active and silent, d / sqrt(d^2 + (v_a + v_s) / 2), d = (a - s) / 2. NaN where too
    little is known.
    """
    known = np.isfinite(profile)
    level = np.where(known, profile, 0.0)
    found = []
    for part in _parts(phase):
        count = part @ known
        mean = part @ level / np.maximum(count, 1)
        spread = np.maximum(part @ level**2 / np.maximum(count, 1) - mean**2, 0.0)
        found.append((count, mean, spread))
    (count_a, a, v_a), (count_s, s, v_s) = found
    half = (a - s) / 2
    size = np.sqrt(half**2 + (v_a + v_s) / 2)
    enough = (np.minimum(count_a, count_s) >= FEWEST_PARTS) & (size > 0)
    return np.where(enough, half / np.where(size > 0, size, 1.0), np.nan)


@dataclass(frozen=True)
class Phased:
    """A muscle and how well it fits. kind: what it is declared to be; None where that is not known.

    profile: (PARTS,) its level over the left foot's stride. by_kind: kind -> (PARTS,) fit of the left leg's phase when
    that many parts late.
    """

    muscle: Muscle
    kind: str | None
    profile: FloatArray
    by_kind: Mapping[str, FloatArray]

    @property
    def side(self) -> str:
        """Left or right, as declared."""
        return str(self.muscle.signal.side)

    def as_kind(self, kind: str, side: str | None = None, late: int = 0) -> float:
        """Fit with the contacts of a side, its own unless told, as a muscle of this kind, so many parts late."""
        return float(self.by_kind[kind][(_SHIFT[side or self.side] + late) % PARTS])

    @property
    def own(self) -> float:
        """Fit of its declared kind with the contacts of its own side."""
        return self.as_kind(str(self.kind))

    @property
    def other(self) -> float:
        """The same with those of the other foot."""
        return self.as_kind(str(self.kind), OTHER[self.side])

    def rather(self, one: Phase, other: Phase) -> float:
        """How much of its largest level it is stronger where only ``one`` is active than where only ``other`` is.

        From 1 to -1; NaN where the two phases leave too few parts to compare.
        """
        (first, _), (second, _) = _parts(one), _parts(other)
        level, late = np.roll(self.profile, -_SHIFT[self.side]), 0
        apart = [(a > b) & np.isfinite(level) for a, b in ((first[late], second[late]), (second[late], first[late]))]
        if min(part.sum() for part in apart) < FEWEST_PARTS or not np.nanmax(level) > 0:
            return float("nan")
        return float(level[apart[0]].mean() - level[apart[1]].mean()) / float(np.nanmax(level))

    @property
    def by_delay(self) -> FloatArray:
        """(PARTS,) fit of its declared kind and side when the signal is so many parts of a stride late."""
        return np.roll(self.by_kind[str(self.kind)], -_SHIFT[self.side])


def phased(muscles: Iterable[Muscle], known: MusclePhases, contacts: Contacts) -> list[Phased]:
    """The muscles that show bursts, with their fits to every phase; those without a known kind too, with kind None."""
    strides = strides_of(contacts)
    if strides is None:
        return []
    found = []
    for muscle in muscles:
        if muscle.has_bursts:
            profile = over_the_stride(muscle, strides)
            by_kind = {kind: fits(profile, phase) for kind, phase in known.phases.items()}
            found.append(Phased(muscle, known.kinds.get(str(muscle.signal.muscle)), profile, by_kind))
    return found


@dataclass(frozen=True)
class Unnamed:
    """A channel said to be a muscle's whose name or side is not told.

    fits: side -> fit of its muscle's kind with the contacts of that foot; empty where it cannot be told.
    """

    signal: Signal
    fits: Mapping[str, float]


def unnamed(trial: Trial, processing: MuscleProcessing, known: MusclePhases, contacts: Contacts) -> list[Unnamed]:
    """Every channel of a muscle without name or side, in order."""
    found = []
    for signal in trial.signals:
        if signal.role != "muscle" or (signal.muscle is not None and signal.side is not None):
            continue
        fits: dict[str, float] = {}
        if signal.muscle in known.kinds and signal.side is None:
            alone = replace(trial, signals=(replace(signal, side="left"),))
            muscles = raw_muscles(judged_muscles(alone, Muscles(alone.signals, processing)))
            for p in phased(muscles, known, contacts):
                fits = {side: p.as_kind(str(p.kind), side) for side in OTHER}
        found.append(Unnamed(signal, fits if np.isfinite(list(fits.values())).all() else {}))
    return found
