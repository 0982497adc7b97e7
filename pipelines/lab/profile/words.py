"""What the words of a marker's label say of its place, in several spellings, and how well that fits a role.

Only anatomical words, and any beginning of one that has three letters or more; no list of anybody's marker names. The
words of a role are read by the same rules from the role's own name, so that a study's new role is understood, too.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

#: word -> region; the regions of weak words hold several places
_REGIONS = {
    "heel": "heel",
    "calcaneus": "heel",
    "calcaneal": "heel",
    "forefoot": "forefoot",
    "ball": "forefoot",
    "toe": "forefoot",
    "toes": "forefoot",
    "metatarsal": "forefoot",
    "metatarsus": "forefoot",
    "metatarsophalangeal": "forefoot",
    "ankle": "ankle",
    "malleolus": "ankle",
    "malleolar": "ankle",
    "knee": "knee",
    "epicondyle": "knee",
    "condyle": "knee",
    "hip": "hip",
    "trochanter": "hip",
    "pelvis": "pelvis",
    "pelvic": "pelvis",
    "iliac": "pelvis",
    "sacrum": "pelvis",
    "sacral": "pelvis",
    "asis": "pelvis",
    "psis": "pelvis",
}
#: the common short forms of the trade that are no beginning of a word
_SHORT = {
    **dict.fromkeys(("mt", "mth", "mtp", "met"), "forefoot"),
    **dict.fromkeys(("gt", "gtr"), "hip"),  # greater trochanter
    "fc": "knee",  # femoral condyle
    "pelv": "pelvis",
}
_WEAK = {"foot": {"heel", "forefoot"}, "fore": {"forefoot"}}
_SEGMENTS = frozenset(
    ("thigh", "shank", "shin", "tibia", "trunk", "leg", "calf", "arm", "head", "shoulder", "elbow", "wrist")
)
_QUALIFIERS = {
    "lateral": "lateral", "lat": "lateral", "outer": "lateral", "outside": "lateral", "out": "lateral",
    "medial": "medial", "med": "medial", "inner": "medial", "inside": "medial", "in": "medial",
    "anterior": "front", "ant": "front", "front": "front", "fr": "front", "fwd": "front", "asis": "front",
    "posterior": "back", "post": "back", "back": "back", "bk": "back", "rear": "back", "psis": "back",
    "sacrum": "back", "sacral": "back",
    "first": "1", "second": "2", "third": "3", "fourth": "4", "fifth": "5",
}  # fmt: skip
_OPPOSITE = {"lateral": "medial", "medial": "lateral", "front": "back", "back": "front"}
#: which side of the foot a ray lies on, so that "outer ball" is understood
_RAYS = {"5": "lateral", "1": "medial"}
_MIDDLE = frozenset(("mid", "middle", "midpoint", "centre", "center", "sacrum", "sacral"))
_SIDES = {"left": "left", "l": "left", "lt": "left", "right": "right", "r": "right", "rt": "right"}
_PIECES = re.compile(r"[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+|\d+")


@dataclass(frozen=True)
class Said:
    """What a label or a role's name says. strong, weak: regions; segment: it names a limb and no landmark."""

    side: str | None
    strong: frozenset[str]
    weak: frozenset[str]
    qualifiers: frozenset[str]
    middle: bool
    segment: bool

    @property
    def anything(self) -> bool:
        """Whether any word of a place was understood."""
        return bool(self.strong or self.weak)


def read_words(text: str) -> Said:
    """Read a label ("ankle-left", "heel_L", "RMT5") or a role without its side."""
    # one small letter behind capitals tells two points of one place apart: RLMALv is computed beside RLMAL in the open
    # recording of a runner on a runway in github.com/demotu/BMC (Duarte and others, CC BY 4.0)
    suffixed = re.search(r"(?<=[A-Z]{2})[a-z]$", text) is not None
    pieces = _PIECES.findall(text[:-1] if suffixed else text)
    words = [word for piece in pieces for word in _split(piece.lower())]
    side = next((_SIDES[w] for w in words if w in _SIDES), None)
    strong = {r for w in words if (r := _region(w)) is not None}
    weak = {r for w in words for r in _WEAK.get(w, ())}
    qualifiers = {q for w in words if (q := _qualifier(w)) is not None}
    return Said(
        side,
        frozenset(strong),
        frozenset(weak),
        frozenset(qualifiers | ({w for w in words if w in "12345"} if strong | weak else set())),
        any(w in _MIDDLE for w in words),
        any(w in _SEGMENTS for w in words) and not strong,
    )


def _split(word: str) -> list[str]:
    """A word, or a word with the letters of a side and of a qualifier run together before it: "rmt", "lmal"."""
    if _known(word):
        return [word]
    if word[:1] in ("l", "r"):
        rest = word[1:]
        if _known(rest):
            return [word[0], rest]
        if rest[:1] in ("l", "m") and _region(rest[1:]):
            return [word[0], {"l": "lateral", "m": "medial"}[rest[0]], rest[1:]]
    return [word]


def _known(word: str) -> bool:
    return bool(
        _region(word) or _qualifier(word) or word in _SIDES or word in _WEAK or word in _SEGMENTS or word in _MIDDLE
    )


def _region(word: str) -> str | None:
    if word in _SHORT:
        return _SHORT[word]
    whole = _whole(word, _REGIONS)
    return _REGIONS[whole] if whole else None


def _qualifier(word: str) -> str | None:
    if word in _QUALIFIERS:
        return _QUALIFIERS[word]
    whole = _whole(word, _QUALIFIERS)
    return _QUALIFIERS[whole] if whole else None


def _whole(word: str, among: dict[str, str]) -> str | None:
    """The word that ``word`` is, or is the beginning of, if all such mean the same."""
    if word in among:
        return word
    if len(word) < 3 or word in _WEAK or word in _SEGMENTS:
        return None
    candidates = [w for w in among if w.startswith(word)]
    return candidates[0] if candidates and len({among[c] for c in candidates}) == 1 else None


def misfit(label: Said, role: Said, role_side: str | None) -> float:
    """How badly a label's words fit a role, as a penalty: 0 fits in every word, 1 says nothing, 6 and more contradicts.

    role: read from the role's name without side. role_side: left, right, or None for a role in the middle.
    """
    penalty = _of_region(label, role) + _of_side(label, role_side)
    if label.anything:
        penalty += _of_qualifiers(label.qualifiers, role.qualifiers)
    return penalty


def _of_region(label: Said, role: Said) -> float:
    if label.strong:
        return 0.0 if label.strong & role.strong else 7.0
    if label.weak:
        return 0.5 if label.weak & role.strong else 6.0
    return 2.5 if label.segment else 1.0


def _of_side(label: Said, role_side: str | None) -> float:
    if role_side is None:
        return 3.0 if label.side and not label.middle else 0.0
    if label.side is None:
        return 3.0 if label.middle else 0.5
    return 0.0 if label.side == role_side else 6.0


def _of_qualifiers(label: frozenset[str], role: frozenset[str]) -> float:
    """Numbers against numbers, words against words; a ray of the foot is also outer or inner."""
    penalty = 0.0
    rays_label, rays_role = {q for q in label if q.isdigit()}, {q for q in role if q.isdigit()}
    if rays_label and rays_role:
        penalty += 0.0 if rays_label & rays_role else 6.0
    elif rays_role:
        penalty += 0.4 if "2" in rays_role else 0.8
    elif rays_label:
        penalty += 0.8  # a number may be that of a ray of the foot
    own = {q for q in role if not q.isdigit()} | {_RAYS[r] for r in rays_role if r in _RAYS}
    for word in label - rays_label:
        if _OPPOSITE.get(word) in own:
            penalty += 6.0
        elif word not in own:
            penalty += 2.0 if rays_role else 0.3
    penalty += 0.4 * len({q for q in role if q in _OPPOSITE} - label)
    return penalty
