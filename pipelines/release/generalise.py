"""How exactly a release may tell who runners are, so that each shares what is told with enough others. Pure.

Full-domain generalisation with suppression of single records, as in Samarati (2001, IEEE Transactions on Knowledge and
Data Engineering 13:1010-1027) and LeFevre, DeWitt and Ramakrishnan (2005, Incognito, SIGMOD): each attribute is told at
one level for everybody, from as it is known over wider and wider bands to not at all; of all combinations of levels the
one that loses least is taken, among those that leave few enough runners in groups that are too small. What is left of
these runners is not told. Runners of whom nothing is told are a group, too: the only one of a laboratory is known by
that. So the smallest groups join them until they are enough. The loss is the share of cells that are not told, a banded
cell counting by its level.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

#: Of more combinations than this only those are tried that widen one attribute at a time, the one of most values first.
_MOST_TRIED = 20_000


@dataclass(frozen=True)
class Attribute:
    """One attribute. bands: widths of bands, each wider than the one before; none for words. values: one a runner."""

    name: str
    bands: tuple[float, ...]
    values: tuple[Hashable, ...]

    @property
    def levels(self) -> int:
        """How many ways there are to tell it: as it is, only for words, in each band, not at all."""
        return max(1, len(self.bands)) + 1

    def told(self, level: int) -> list[Hashable]:
        """The values at a level; a number by the lower end of its band. None: not told, or not known."""
        if level >= self.levels - 1:
            return [None] * len(self.values)
        if not self.bands:
            return list(self.values)
        return [lower_end(value, self.bands[level]) for value in self.values]


def lower_end(value: Hashable, band: float) -> float | None:
    """The lower end of the band that a number lies in; None of what is no number."""
    if not isinstance(value, int | float) or isinstance(value, bool) or value != value:
        return None
    # a value on a border may be a hair below it in binary: 1.85 of bands of 0.05 is 1.85 and not 1.80
    return round(math.floor(value / band + 1e-9) * band, 9)


@dataclass(frozen=True)
class Told:
    """What a release tells. values: attribute -> one value a runner, None where it is not told.

    levels: attribute -> the width of its bands, 0 for a word told as it is, None if it is told of nobody. before,
    after: runners in the smallest group, those of whom nothing is told being groups by what is fixed. untold: of whom
    nothing is told. after_told: as after, of those of whom something is told; small: runners in groups of fewer than k.
    generalised, suppressed: attribute -> cells told in bands, and cells that are known and not told.
    """

    k: int
    values: Mapping[str, list[Hashable]]
    levels: Mapping[str, float | None]
    before: int
    after: int
    alone_before: int
    untold: int
    after_told: int
    small: int
    generalised: Mapping[str, int]
    suppressed: Mapping[str, int]


def generalised(attributes: Sequence[Attribute], fixed: Sequence[Hashable], k: int, most_suppressed: float) -> Told:
    """Tell ``attributes`` so that no combination of them and ``fixed`` is told of fewer than ``k`` runners.

    fixed: what is known of each runner anyway, such as the laboratory; where fewer than ``k`` share it, nothing else is
    told of them. most_suppressed: the part of all runners of whom nothing may be told, before levels are made wider.
    """
    best: tuple[tuple[float, float], tuple[int, ...], frozenset[int]] | None = None
    allowed = int(most_suppressed * len(fixed))
    for levels in _combinations(attributes):
        columns = [a.told(level) for a, level in zip(attributes, levels, strict=True)]
        small = _in_small_groups(columns, fixed, k)
        rank = (float(max(0, len(small) - allowed)), _loss(attributes, levels, small, len(fixed)))
        if best is None or rank < best[0]:
            best = (rank, levels, small)
    assert best is not None
    _, levels, small = best
    values = {
        a.name: [None if i in small else v for i, v in enumerate(a.told(level))]
        for a, level in zip(attributes, levels, strict=True)
    }
    return Told(
        k=k,
        values=values,
        levels={a.name: _width(a, level) for a, level in zip(attributes, levels, strict=True)},
        before=smallest_group(zip(*(a.values for a in attributes), fixed, strict=True)),
        after=smallest_group((*row, own) for row, own in zip(zip(*values.values(), strict=True), fixed, strict=True)),
        untold=len(fixed) - len(_told_rows(values, fixed)),
        after_told=smallest_group(_told_rows(values, fixed)),
        small=_in_groups_below(
            k, [(*row, own) for row, own in zip(zip(*values.values(), strict=True), fixed, strict=True)]
        ),
        alone_before=sum(n == 1 for n in Counter(zip(*(a.values for a in attributes), fixed, strict=True)).values()),
        generalised={
            a.name: sum(v is not None for v in values[a.name]) if _width(a, level) else 0
            for a, level in zip(attributes, levels, strict=True)
        },
        suppressed={
            a.name: sum(v is None and _known(was) for v, was in zip(values[a.name], a.values, strict=True))
            for a in attributes
        },
    )


def smallest_group(rows: Iterable[tuple[Hashable, ...]]) -> int:
    """How many share the rarest row; 0 if there is none."""
    return min(Counter(rows).values(), default=0)


def _in_groups_below(k: int, rows: Sequence[tuple[Hashable, ...]]) -> int:
    return sum(n for n in Counter(rows).values() if n < k)


def _told_rows(values: Mapping[str, list[Hashable]], fixed: Sequence[Hashable]) -> list[tuple[Hashable, ...]]:
    """What is told of each runner of whom anything is."""
    rows = zip(*values.values(), strict=True)
    return [(*row, own) for row, own in zip(rows, fixed, strict=True) if any(v is not None for v in row)]


def _combinations(attributes: Sequence[Attribute]) -> Iterable[tuple[int, ...]]:
    every = [range(a.levels) for a in attributes]
    if math.prod(len(one) for one in every) <= _MOST_TRIED:
        return product(*every)
    return _one_by_one(attributes)


def _one_by_one(attributes: Sequence[Attribute]) -> Iterable[tuple[int, ...]]:
    """Each time the attribute of most different values a level wider (Sweeney 2002, Datafly)."""
    levels = [0] * len(attributes)
    yield tuple(levels)
    while any(level < a.levels - 1 for a, level in zip(attributes, levels, strict=True)):
        open_ones = [i for i, a in enumerate(attributes) if levels[i] < a.levels - 1]
        widest = max(open_ones, key=lambda i: len(set(attributes[i].told(levels[i]))))
        levels[widest] += 1
        yield tuple(levels)


def _in_small_groups(columns: Sequence[Sequence[Hashable]], fixed: Sequence[Hashable], k: int) -> frozenset[int]:
    """Runners of whom nothing can be told: those in groups that are too small, and whoever hides those."""
    rows = list(zip(*columns, fixed, strict=True))
    groups: dict[tuple[Hashable, ...], list[int]] = defaultdict(list)
    for i, row in enumerate(rows):
        groups[row].append(i)
    small: set[int] = set()
    for own in dict.fromkeys(fixed):
        told = sorted((g for row, g in groups.items() if row[-1] == own and _tells(row)), key=len, reverse=True)
        untold = sum(len(g) for row, g in groups.items() if row[-1] == own and not _tells(row))
        while told and (len(told[-1]) < k or 0 < untold < k):
            joining = told.pop()
            small.update(joining)
            untold += len(joining)
    return frozenset(small)


def _tells(row: tuple[Hashable, ...]) -> bool:
    return any(value is not None for value in row[:-1])


def _loss(attributes: Sequence[Attribute], levels: Sequence[int], small: frozenset[int], runners: int) -> float:
    kept = runners - len(small)
    by_level = sum(level / (a.levels - 1) for a, level in zip(attributes, levels, strict=True))
    return kept * by_level + len(small) * len(attributes)


def _width(attribute: Attribute, level: int) -> float | None:
    if level >= attribute.levels - 1:
        return None
    return attribute.bands[level] if attribute.bands else 0.0


def _known(value: Hashable) -> bool:
    return value is not None and value == value
