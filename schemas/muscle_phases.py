"""When in a running stride muscles of each kind are active and when they are silent, with the source of each.

Positions are percent of the stride after contact of the muscle's own foot; negative ones, and those above 100, go round.
What lies in neither interval is not judged: there runners differ. A study may state its own phase for any muscle.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from pydantic import Field, model_validator

from schemas.settings import Settings

#: Muscles of one kind are active together; the words of ``muscles.<name>.kind`` in the study file.
MuscleKind = Literal[
    "calf", "shin", "quadriceps", "rectus_femoris", "hamstrings", "gluteus_maximus", "gluteus_medius", "peroneus"
]
KINDS: tuple[str, ...] = get_args(MuscleKind)
#: Kinds of muscles by their SENIAM names, which need no declaration.
SENIAM_KINDS: dict[str, MuscleKind] = {
    "gastrocnemius_medialis": "calf",
    "gastrocnemius_lateralis": "calf",
    "soleus": "calf",
    "tibialis_anterior": "shin",
    "peroneus_longus": "peroneus",
    "peroneus_brevis": "peroneus",
    "vastus_medialis": "quadriceps",
    "vastus_lateralis": "quadriceps",
    "rectus_femoris": "rectus_femoris",
    "biceps_femoris": "hamstrings",
    "semitendinosus": "hamstrings",
    "gluteus_maximus": "gluteus_maximus",
    "gluteus_medius": "gluteus_medius",
}

Interval = tuple[float, float]


class Phase(Settings):
    """When a muscle is active in running, and when it is silent."""

    active_percent: tuple[Interval, ...] = Field(
        min_length=1,
        description="Parts of the stride in which it is active, from and to, in percent after contact of its own foot.",
    )
    silent_percent: tuple[Interval, ...] = Field(
        min_length=1, description="Parts of the stride in which it is silent, likewise."
    )
    source: str = Field(description="Where this is from.")

    @model_validator(mode="after")
    def _parts_of_one_stride(self) -> Phase:
        for start, end in (*self.active_percent, *self.silent_percent):
            if not (-100 <= start < end <= 200 and end - start < 100):
                raise ValueError(f"{start:g} to {end:g} is no part of a stride: from -100 to 200, shorter than 100")
        if any(within(p, self.active_percent) and within(p, self.silent_percent) for p in range(100)):
            raise ValueError("active_percent and silent_percent overlap")
        return self

    @property
    def told(self) -> str:
        """``active from -5 % to 20 % and silent from 40 % to 85 % of the stride after contact of its foot``."""
        active, silent = (
            " and ".join(f"from {start:g} % to {end:g} %" for start, end in parts)
            for parts in (self.active_percent, self.silent_percent)
        )
        return f"active {active} and silent {silent} of the stride after contact of its foot"


def within(percent: float, parts: tuple[Interval, ...]) -> bool:
    """Whether a position of the stride lies in one of the parts, which may go round its end."""
    return any((percent - start) % 100 < end - start for start, end in parts)


_PROFILES = (
    "from memory, after averaged profiles of 14 muscles in running (Gazendam & Hof 2007, Gait Posture 25:604-614)"
)
PHASES: dict[str, Phase] = {
    "calf": Phase(
        active_percent=((-3, 24),),
        silent_percent=((45, 85),),
        source="Gazendam & Hof 2007, Gait Posture 25:604-614: the calf group from 86 % to 125 % of the running stride",
    ),
    "shin": Phase(active_percent=((84, 102),), silent_percent=((12, 36),), source=_PROFILES),
    "quadriceps": Phase(
        active_percent=((3, 20),),
        silent_percent=((40, 85),),
        source="Gazendam & Hof 2007, Gait Posture 25:604-614: together with the calf group in early stance; Montgomery "
        "et al. 1994, Am J Sports Med 22:272-278: vasti in terminal swing and loading response",
    ),
    "rectus_femoris": Phase(
        active_percent=((42, 66),),
        silent_percent=((78, 96),),
        source="Montgomery et al. 1994, Am J Sports Med 22:272-278: in swing with the hip's flexors; in contact it varies; "
        "the limits from memory",
    ),
    "hamstrings": Phase(
        active_percent=((80, 99),),
        silent_percent=((42, 62),),
        source="Montgomery et al. 1994, Am J Sports Med 22:272-278: chiefly against the swinging thigh; the limits from "
        "memory",
    ),
    "gluteus_maximus": Phase(active_percent=((0, 16),), silent_percent=((40, 75),), source=_PROFILES),
    "gluteus_medius": Phase(active_percent=((3, 20),), silent_percent=((40, 80),), source=_PROFILES),
    "peroneus": Phase(active_percent=((-3, 24),), silent_percent=((50, 80),), source=_PROFILES),
}


@dataclass(frozen=True)
class MusclePhases:
    """What a study knows of when its muscles are active. kinds: muscle -> kind; phases: kind -> phase."""

    kinds: Mapping[str, str]
    phases: Mapping[str, Phase]


SENIAM = MusclePhases(SENIAM_KINDS, {kind: PHASES[kind] for kind in dict.fromkeys(SENIAM_KINDS.values())})
