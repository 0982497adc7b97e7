"""The anatomy that code knows by name: landmarks, and what kinds of muscles are judged by phase.

A study calls its marker roles and muscles what it likes, and declares which landmark or kind each is; a name that is
one of these words needs no declaration. Only words live here.
"""

from __future__ import annotations

from typing import Literal, get_args

Landmark = Literal[
    "calcaneus",
    "first_metatarsal_head",
    "second_metatarsal_head",
    "fifth_metatarsal_head",
    "lateral_malleolus",
    "medial_malleolus",
    "lateral_femoral_epicondyle",
    "medial_femoral_epicondyle",
    "greater_trochanter",
    "anterior_superior_iliac_spine",
    "posterior_superior_iliac_spine",
    "sacrum",
]
LANDMARKS: tuple[str, ...] = get_args(Landmark)

#: The calf bears the middle of contact, the front of the shank holds the foot up in swing.
MuscleKind = Literal["calf", "shin"]
#: Kinds of muscles by their SENIAM names, which need no declaration.
SENIAM_KINDS: dict[str, MuscleKind] = {
    "gastrocnemius_medialis": "calf",
    "gastrocnemius_lateralis": "calf",
    "soleus": "calf",
    "tibialis_anterior": "shin",
}
