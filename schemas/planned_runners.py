"""How many runners a study plans at each site, visit and condition; what is complete is counted against it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

#: Site, then visit, then condition -> runners. What is left out is not planned.
PlannedRunners = dict[str, dict[str, dict[str, int]]]


def refuse_strangers(
    planned: Mapping[str, Mapping[str, Mapping[str, int]]],
    sites: Iterable[str],
    visits: Iterable[str],
    conditions: Iterable[str],
) -> None:
    """Raises ValueError for a site, visit or condition that the study does not have, and for less than one runner."""
    of_sites = list(planned.values())
    named = {
        "sites": (set(planned), sites),
        "visits": ({word for own in of_sites for word in own}, visits),
        "conditions": ({word for own in of_sites for cells in own.values() for word in cells}, conditions),
    }
    for what, (words, known) in named.items():
        if unknown := sorted(words - set(known)):
            raise ValueError(f"planned_runners names {', '.join(unknown)}, which is not among the {what}")
    fewest = min((number for own in of_sites for cells in own.values() for number in cells.values()), default=1)
    if fewest < 1:
        raise ValueError(f"planned_runners plans {fewest} runners; leave a cell out that is not planned")
