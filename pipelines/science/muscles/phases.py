"""How well muscles of the shank fit the part of the stride that muscles of their kind work in. Registers no check.

What each kind does in running is from memory (common knowledge in the trade): the calf bears the middle of contact and
is silent in mid-swing; the front of the shank holds the foot up in late swing and is all but silent in the middle of
contact. Muscles of another kind are not judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.science.muscles.measures import Muscle

CALF, SHIN = "calf", "shin"
OTHER = {"left": "right", "right": "left"}
#: Own choice: the middle of contact as parts of it, and late swing before the calf tenses, in s before contact.
STANCE_PART, SWING_BEFORE_S = (0.25, 0.60), (0.17, 0.10)


def fit_to_phase(muscle: Muscle, group: str, contacts: Iterable[tuple[float, float]]) -> float | None:
    """How well the muscle is active in the phase of its group in these contacts (start, end in s), from 1 to -1.

    group: calf or shin; -1 is active in the other's phase.
    Level in the middle of contact less level in late swing, over the burst level; the sign is turned for the shin.
    About 0 if it is active in neither. None without bursts, or with too few contacts.
    """
    times = np.array(list(contacts), float).reshape(-1, 2)
    if not muscle.has_bursts or not len(times):
        return None
    start, length = times[:, 0], times[:, 1] - times[:, 0]
    stance = muscle.levels_in(*(start + part * length for part in STANCE_PART))
    swing = muscle.levels_in(*(start - before for before in SWING_BEFORE_S))
    stance, swing = stance[np.isfinite(stance)], swing[np.isfinite(swing)]
    if not len(stance) or not len(swing):
        return None
    difference = float(stance.mean() - swing.mean()) / muscle.burst_uv
    return difference if group == CALF else -difference


@dataclass(frozen=True)
class Phased:
    """A muscle and how well it fits its own side's contacts and the other side's (None: cannot be told)."""

    muscle: Muscle
    group: str  # calf or shin
    own: float
    other: float | None

    @property
    def side(self) -> str:
        """Left or right."""
        return str(self.muscle.signal.side)


def phased(
    muscles: Iterable[Muscle], kinds: Mapping[str, str], contacts: Mapping[str, Sequence[tuple[float, float]]]
) -> list[Phased]:
    """The muscles that can be judged. kinds: muscle -> calf or shin; contacts: side -> (contact, toe-off) in s."""
    found = []
    for muscle in muscles:
        side, group = str(muscle.signal.side), kinds.get(str(muscle.signal.muscle))
        own = fit_to_phase(muscle, group, contacts.get(side, ())) if group else None
        if group and own is not None:
            other = fit_to_phase(muscle, group, contacts.get(OTHER.get(side, ""), ()))
            found.append(Phased(muscle, group, own, other))
    return found
