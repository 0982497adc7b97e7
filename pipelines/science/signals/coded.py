"""Which samples of a channel are exactly alike, as steps of a converter are, and how often chance does that.

Limits are in the checks. What a channel measures is no matter here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipelines.science.signals.middle import percentiles
from schemas.mechanics import run_edges
from schemas.trial import FloatArray, Signal

#: Own choice: noise is looked at in blocks of this length.
NOISE_BLOCK_S = 0.1
#: Own choice: shorter channels say nothing.
SHORTEST_S = 0.5


@dataclass(frozen=True)
class Coded:
    """A channel without gaps. samples: (n,), finite."""

    signal: Signal
    samples: FloatArray

    @cached_property
    def codes(self) -> NDArray[np.uint64]:
        """(n,) whole numbers, equal exactly where samples are equal: their bits, well mixed, with one zero, not two."""
        bits = np.ascontiguousarray(self.samples + 0.0).view(np.uint64)
        mixed = (bits ^ (bits >> np.uint64(32))) * np.uint64(0x9E3779B97F4A7C15)  # each step can be undone
        return mixed ^ (mixed >> np.uint64(29))

    @cached_property
    def held(self) -> NDArray[np.bool_]:
        """(n - 1,) whether a sample equals the one before."""
        return np.asarray(self.codes[1:] == self.codes[:-1])

    @cached_property
    def blocks(self) -> NDArray[np.uint64]:
        """(m, length) stretches of 0.1 s; what is left over at the end is in none."""
        length = max(round(NOISE_BLOCK_S * self.signal.rate_hz), 20)
        count = len(self.codes) // length
        return self.codes[: count * length].reshape(count, length)

    def equal_neighbours(self, longest: int) -> float:
        """How often neighbours are equal in the quieter blocks, runs of ``longest`` and more left out; 1 if none."""
        if not len(self.blocks):
            return 1.0
        same = np.zeros(self.blocks.shape, bool)  # the last of each block has no neighbour, which parts the blocks
        same[:, :-1] = self.blocks[:, 1:] == self.blocks[:, :-1]
        flat = same.ravel()
        edges = run_edges(flat)
        for start, stop in edges[edges[:, 1] - edges[:, 0] >= longest - 1]:
            flat[start:stop] = False
        return percentiles(same.sum(axis=1) / (len(same[0]) - 1), 90)[0]

    @cached_property
    def alike(self) -> float:
        """How often two samples of one block are equal, in the quieter blocks; 1 if it is too short to tell."""
        if not len(self.blocks):
            return 1.0
        ordered = np.sort(self.blocks, axis=1)
        length = ordered.shape[1]
        begins = np.ones(ordered.shape, bool)  # where a run of equal samples begins
        begins[:, 1:] = ordered[:, 1:] != ordered[:, :-1]
        place = np.broadcast_to(np.arange(length), ordered.shape)
        equal_before = place - np.maximum.accumulate(np.where(begins, place, 0), axis=1)
        return percentiles(2 * equal_before.sum(axis=1) / (length * (length - 1)), 90)[0]

    def repeat(self, length: int) -> tuple[int, int, int] | None:
        """Start of the first stretch of ``length`` samples that comes again later, where again, how long both agree.

        Stretches are compared by a polynomial hash in 64-bit arithmetic and then sample by sample. A stretch that is
        held for most of its length is no block.
        """
        codes, count = self.codes, len(self.codes) - length + 1
        if count < 2:
            return None
        hashes = _hashes(codes, length)
        held = np.concatenate([[0], np.cumsum(self.held)])
        lively = np.flatnonzero(held[length - 1 :][:count] - held[:count] < length / 2)
        ordered = np.sort(hashes[lively])
        if not (ordered[1:] == ordered[:-1]).any():  # the rule; sorting with places takes ten times as long
            return None
        order = lively[np.argsort(hashes[lively], kind="stable")]
        pairs = np.flatnonzero(hashes[order][1:] == hashes[order][:-1])
        for first, second in sorted((int(order[i]), int(order[i + 1])) for i in pairs):
            if second - first >= length and np.array_equal(
                codes[first : first + length], codes[second : second + length]
            ):
                agree = codes[first : first + len(codes) - second] == codes[second:]
                ends = np.flatnonzero(~agree)
                return first, second, min(int(ends[0]) if len(ends) else len(agree), second - first)
        return None


def coded(signal: Signal) -> Coded | None:
    """The channel; None for one that is short or has missing samples."""
    samples = np.asarray(signal.samples, float)
    if not signal.rate_hz > 0 or len(samples) < signal.rate_hz * SHORTEST_S or not np.isfinite(samples).all():
        return None
    return Coded(signal, samples)


def _hashes(codes: NDArray[np.uint64], length: int) -> NDArray[np.uint64]:
    """(n - length + 1,) hash of the ``length`` samples from each on, made of those of halves: double, or add one."""
    factor = 6364136223846793005
    hashes, reach, power = codes + np.uint64(1), 1, factor
    for bit in bin(length)[3:]:
        count = len(codes) - 2 * reach + 1
        hashes = hashes[:count] * np.uint64(power) + hashes[reach : reach + count]
        reach, power = 2 * reach, power * power % 2**64
        if bit == "1":
            count = len(codes) - reach
            hashes = hashes[:count] * np.uint64(factor) + codes[reach : reach + count] + np.uint64(1)
            reach, power = reach + 1, power * factor % 2**64
    return hashes
