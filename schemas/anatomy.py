"""The anatomy that code knows by name: landmarks. Kinds of muscles are in ``muscle_phases``.

A study calls its marker roles what it likes, and declares which landmark each is; a name that is one of these words
needs no declaration. Only words live here.
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
