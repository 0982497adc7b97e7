"""Whether the smallest effect that a plan names can be meant: in the outcome's unit, and within what there is.

An effect larger than all that an outcome differs by is most often in another unit. It is told and never refused: the
ranges are of what is known so far.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from checks.registry import catalogue
from pipelines.errors import Unusable
from pipelines.pool.query import open_read_only
from schemas.compared import field_of
from schemas.convert.words import unit_words
from schemas.plan import Plan

#: Outcome -> check whose limits say what is credible, and the two of them.
_CREDIBLE = {
    "contact_time_s": ("contact_times_are_credible", "shortest_s", "longest_s"),
    "active_peak_bw": ("active_peaks_are_credible", "lowest_bw", "highest_bw"),
}
#: Of fewer values of runners the range says little. Own limit.
FEWEST_VALUES = 10
_IN_POOL = f"""
SELECT outcome, min(least(condition_mean_value, reference_mean_value)),
  max(greatest(condition_mean_value, reference_mean_value))
FROM runner_contrasts WHERE contrast <> 'interaction' AND difference_value IS NOT NULL
GROUP BY outcome HAVING count(*) >= {FEWEST_VALUES}
"""
Range = tuple[float, float]


def remarks(plan: Plan, warehouse: Path) -> list[str]:
    """What is told of smallest effects that are larger than the whole range of their outcome."""
    pooled = _in_pool(warehouse)
    return [line for family in ("primary", "secondary") for line in _of_family(plan, family, pooled)]


def _of_family(plan: Plan, family: str, pooled: Mapping[str, Range]) -> Iterator[str]:
    for number, one in enumerate(getattr(plan, family), start=1):
        unit = unit_words(field_of(one.outcome).unit)
        for (low, high), whose in _ranges(one.outcome, pooled) if one.smallest_effect else ():
            if one.smallest_effect > high - low:
                yield (
                    f"{family}.{number}.smallest_effect: {f'{one.smallest_effect:g} {unit}'.strip()} is more than "
                    f"{one.outcome} can differ by, {f'{low:.3g} to {high:.3g} {unit}'.strip()} {whose}. "
                    "Is it in that unit?"
                )
                break


def _ranges(outcome: str, pooled: Mapping[str, Range]) -> Iterator[tuple[Range, str]]:
    """What is known of an outcome's range, with whose it is."""
    field = field_of(outcome)
    if field.low is not None and field.high is not None:
        yield (float(field.low), float(field.high)), "by its definition"
    if outcome in _CREDIBLE:
        check, *limits = _CREDIBLE[outcome]
        low, high = (float(catalogue()[check].defaults[limit]) for limit in limits)
        yield (low, high), f"by the check {check}"
    if outcome in pooled:
        yield pooled[outcome], "in this pool"


def _in_pool(warehouse: Path) -> dict[str, Range]:
    """Outcome -> lowest and highest mean of a runner; nothing where no pool can be asked, which no plan needs."""
    import duckdb

    try:
        with open_read_only(warehouse) as connection:
            return {outcome: (low, high) for outcome, low, high in connection.execute(_IN_POOL).fetchall()}
    except (Unusable, duckdb.Error):
        return {}
