"""What is wrong with all of a runner, or a whole cluster, beside the standing trial, as faults that are told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from checks import showing as show
from schemas.trial import Posture, Trial

#: Own choice: fewer lengths may be those of one foot, of which one marker slid.
_FEWEST_LENGTHS = 4


def scale_fault(
    posture: Posture, changes: Sequence[tuple[float, float]], allowed_percent: float
) -> dict[str, Any] | None:
    """All lengths together larger or smaller than standing, if so; changes: each in both trials, m."""
    if len(changes) < _FEWEST_LENGTHS:
        return None
    mine, still = (sum(lengths) for lengths in zip(*changes, strict=True))
    percent = 100 * (mine / still - 1)
    if abs(percent) <= allowed_percent:
        return None
    return {
        "what": f"All lengths of feet and legs together are {percent:+.1f} % off those of the standing trial "
        f"{posture.trial_id}, more than {allowed_percent:g} %",
        "allowed_mm": 10 * still * allowed_percent / len(changes),
        "what_to_do": "Calibrate both trials by the same volume: one of the two was reconstructed with another scale; "
        "reconstruct it again and send both",
        "place": "all markers",
        "shows": show.picture(
            show.one_by_one(
                "Lengths of feet and legs, more than in the standing trial",
                "%",
                [100 * (one / other - 1) for one, other in changes],
                low=-allowed_percent,
                high=allowed_percent,
                across="Length",
            ),
            show.number("All of them together", "%", percent, low=-allowed_percent, high=allowed_percent),
        ),
    }


def elsewhere_fault(
    trial: Trial, posture: Posture, cluster: str, place: str, allowed: float, beyond_mm: float | None = None
) -> dict[str, Any]:
    """A cluster that does not lie on the segment whose landmarks it carries. place: where it lies, in words.

    beyond_mm: how far it lies beyond the segment's ends; None if it lies between them.
    """
    title = f"Cluster {cluster}: how far it lies beyond both ends of its segment"
    limit = None if beyond_mm is None else show.number(title, "mm", beyond_mm, high=allowed)
    carried = ", ".join(role for role, by in trial.carried.items() if by == cluster)
    return {
        "what": f"The markers of cluster {cluster} lie {place} ({carried}) in the standing trial {posture.trial_id}",
        "allowed_mm": allowed,
        "what_to_do": "Correct the profile: each cluster carries landmarks of the segment it is worn on; a joint "
        "between two segments that one cluster carries does not bend",
        "place": f"cluster {cluster}",
        "shows": None if limit is None else show.picture(limit),
    }
