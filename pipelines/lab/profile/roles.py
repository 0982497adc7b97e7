"""Which label is which marker role: where the markers lie in standing trials, and what the labels say.

Every pair of label and role has a penalty: how far the marker lies from where the landmark should lie, plus what the
label's words say against it. The assignment with the least sum is taken (Kuhn 1955), and a role is as sure as the sum
gets worse without it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linear_sum_assignment

from pipelines.lab.profile.axes import Axes
from pipelines.lab.profile.carrying import Carrier, carriers_of
from pipelines.lab.profile.files import Recorded
from pipelines.lab.profile.landmarks import LANDMARKS
from pipelines.lab.profile.stance import NOBODY, Places, base_of, places_of, side_of
from pipelines.lab.profile.together import SURELY_RIGID_M, moving_together
from pipelines.lab.profile.words import Said, misfit, read_words
from schemas.trial import FloatArray

_OPTIONAL = 1.0  # what it costs to take a label for a role that the study does not require
_COMPUTED = 0.5  # what it costs that a point was computed: of two at one place, the one that was worn is meant
_SAYS_SO = 1.5  # words that are no further off than this name the role
_CONTRADICTS = 5.0  # words or places that are this far off speak against a guess, whatever the rest says
#: by how much the sum of penalties must get worse without a guess; natural logarithms of odds, if errors are normal
SURE, LIKELY = 3.5, 1.5


@dataclass(frozen=True)
class Guess:
    """One role. label: None if no label fits. sureness: sure, likely or not sure. why: the evidence.

    only_standing: whether no running trial has the label, so that a cluster must carry the landmark. carried_by: the
    name of the cluster that does. named: whether the words of the label say so.
    """

    role: str
    label: str | None
    sureness: str
    why: str
    only_standing: bool = False
    carried_by: str | None = None
    named: bool = False


@dataclass(frozen=True)
class Guesses:
    """All roles in the order asked for, sentences about all of them together, and the clusters that carry some."""

    roles: tuple[Guess, ...]
    notes: tuple[str, ...]
    carriers: tuple[Carrier, ...] = ()


@dataclass(frozen=True)
class _Evidence:
    labels: Sequence[str]
    said: Sequence[Said]
    words: FloatArray
    places: Places
    computed: Mapping[str, str]  # label -> how that is known


def guess_roles(
    recordings: Sequence[Recorded], axes: Axes, roles: Sequence[str], required: Collection[str] = ()
) -> Guesses:
    """A guess for each role of ``roles`` (with side, as a profile names them).

    required: roles that every laboratory of the study has to have, so that they are looked for first.
    """
    labels = _common_labels(recordings)
    if not labels:
        return Guesses(tuple(Guess(r, None, "not sure", "no label is in most of the files") for r in roles), ())
    together = moving_together(recordings)
    evidence = _evidence(recordings, axes, labels, roles, together.computed)
    extra = np.array([_OPTIONAL if required and role not in required else 0.0 for role in roles])
    guesses = _guesses(evidence, roles, extra)
    places, carriers = evidence.places, tuple[Carrier, ...]()
    notes = [note for note in (places.facing, _sides_against(evidence, roles)) if note]
    if late := _only_standing(recordings):
        every = _evidence(recordings, axes, [*labels, *late], roles, together.computed)
        elsewhere = np.where(np.isin(every.labels, late), 0.0, 10 * NOBODY)
        found = _guesses(every, roles, extra + elsewhere[:, None])
        later = [_late(one, other) for one, other in zip(guesses, found, strict=True)]
        wanted = {guess.role: str(guess.label) for guess in later if guess.only_standing}
        carriers = carriers_of(recordings, axes.up, together.groups, wanted)
        later = [_carried(guess, carriers) if guess.only_standing else guess for guess in later]
        guesses = tuple(
            one if one.named and other.only_standing and other.carried_by is None else other
            for one, other in zip(guesses, later, strict=True)
        )
    if left := [guess.role for guess in guesses if guess.only_standing and not guess.carried_by]:
        notes.append(
            f"Worn only while standing: {', '.join(left)}. A running trial has them only if 'clusters' says which "
            "markers, worn in both, carry them."
        )
    notes += _of_computed(together.computed)
    if not places.standing:
        notes.append("No standing trial was found, or the axes are not known: the roles rest on the labels alone.")
    return Guesses(guesses, tuple(notes), carriers)


def _of_computed(computed: Mapping[str, str]) -> list[str]:
    if not computed:
        return []
    told = ", ".join(computed)
    return [f"Not seen by cameras but computed from others, or what others were computed from: {told}."]


def _evidence(
    recordings: Sequence[Recorded], axes: Axes, labels: Sequence[str], roles: Sequence[str], computed: Mapping[str, str]
) -> _Evidence:
    said = [read_words(label) for label in labels]
    words = np.array([[misfit(one, _role_words(role), side_of(role)) for role in roles] for one in said])
    words += np.array([[_COMPUTED if label in computed else 0.0] for label in labels])
    return _Evidence(labels, said, words, places_of(recordings, axes, labels, roles), computed)


def _guesses(evidence: _Evidence, roles: Sequence[str], extra: FloatArray) -> tuple[Guess, ...]:
    """extra: (roles,) or (labels, roles), what it costs besides to give a label to a role."""
    picks = _assign(evidence.words + evidence.places.penalty + extra)
    taken = {pick.label for pick in picks}
    return tuple(
        _named(role, r, evidence, taken, extra) if pick.label is None else _guess(role, r, pick, evidence, roles)
        for r, (role, pick) in enumerate(zip(roles, picks, strict=True))
    )


def _named(role: str, r: int, evidence: _Evidence, taken: Collection[int | None], extra: FloatArray) -> Guess:
    """A role that no label fits by words and place together: the one that alone names it is proposed, never sure."""
    barred = np.broadcast_to(extra, evidence.words.shape)[:, r] >= NOBODY
    names = [
        place
        for place, said in enumerate(evidence.said)
        if place not in taken and said.strong and evidence.words[place, r] < _SAYS_SO and not barred[place]
    ]
    if len(names) != 1:
        return Guess(role, None, "not sure", "no label fits")
    label = evidence.labels[names[0]]
    where = float(evidence.places.penalty[names[0], r])
    why = [_of_words(evidence.said[names[0]], float(evidence.words[names[0], r]))]
    why += [f"it {_fit(where)}"] if evidence.places.standing and base_of(role) in LANDMARKS else []
    return Guess(role, label, "not sure", "; ".join([*why, *_computed(label, evidence)]), named=True)


def _late(worn: Guess, late: Guess) -> Guess:
    """The guess by labels worn in running, or the one by those worn only while standing where that alone is clear."""
    clear = late.sureness != "not sure" or (late.named and worn.label is None)
    if worn.sureness != "not sure" or late.label is None or not clear:
        return worn
    return replace(late, only_standing=True)


def _carried(late: Guess, carriers: Sequence[Carrier]) -> Guess:
    """A guess by a label worn only while standing, with what carries it; without that it is no value yet."""
    by = next((one for one in carriers if late.role in one.carries), None)
    if by is None:
        why = f"{late.why}; it is worn only while standing, so a cluster must carry it"
        return replace(late, sureness="not sure", why=why)
    why = f"{late.why}; it is worn only while standing, and cluster {by.name} carries it"
    rigid = by.group.spread_m <= SURELY_RIGID_M
    if rigid and late.sureness == "not sure":
        why = f"{late.why}; it is worn only while standing: if it is right, let cluster {by.name} carry it"
    sureness = late.sureness if rigid else "not sure"
    return replace(late, sureness=sureness, why=why, carried_by=by.name)


def _role_words(role: str) -> Said:
    return replace(read_words(base_of(role)), side=None)


def _common_labels(recordings: Sequence[Recorded]) -> list[str]:
    """Labels in at least half of the moving recordings and, if there are any, of the standing ones; in file order."""
    found: list[str] = list(dict.fromkeys(label for r in recordings for label in r.labels if label))
    for group in ([r for r in recordings if not r.standing], [r for r in recordings if r.standing]):
        if group:
            found = [label for label in found if 2 * sum(label in r.labels for r in group) >= len(group)]
    return found


def _only_standing(recordings: Sequence[Recorded]) -> list[str]:
    """Labels in at least half of the standing recordings and in none that moves, in file order; none without both."""
    still, moving = [r for r in recordings if r.standing], [r for r in recordings if not r.standing]
    if not still or not moving:
        return []
    worn = {label for r in moving for label in r.labels}
    labels = dict.fromkeys(label for r in still for label in r.labels if label and label not in worn)
    return [label for label in labels if 2 * sum(label in r.labels for r in still) >= len(still)]


@dataclass(frozen=True)
class _Pick:
    """What the best assignment makes of one role. label: None for nobody. margin: by how much the sum gets worse if
    that is forbidden; then ``other_label`` gets the role, and ``other_role`` the label."""

    label: int | None
    margin: float
    other_label: int | None
    other_role: int | None


def _assign(total: FloatArray) -> list[_Pick]:
    """The assignment of labels to roles with the least sum. total: (labels, roles)."""
    labels, roles = total.shape
    padded = np.hstack([total.T, np.full((roles, roles), NOBODY)])
    places, best = _solved(padded)
    picks = []
    for role, place in enumerate(places):
        other = padded.copy()
        other[role, slice(place, place + 1) if place < labels else slice(labels, None)] = 1e6
        others, worse = _solved(other)
        taker = others.index(place) if place < labels and place in others else None
        instead = others[role] if others[role] < labels else None
        picks.append(_Pick(place if place < labels else None, worse - best, instead, taker))
    return picks


def _solved(costs: FloatArray) -> tuple[list[int], float]:
    rows, columns = linear_sum_assignment(costs)
    return [int(column) for column in columns], float(costs[rows, columns].sum())


def _guess(role: str, r: int, pick: _Pick, evidence: _Evidence, roles: Sequence[str]) -> Guess:
    if pick.label is None:
        return Guess(role, None, "not sure", "no label fits")
    label = evidence.labels[pick.label]
    words, where = float(evidence.words[pick.label, r]), float(evidence.places.penalty[pick.label, r])
    reasons = [_of_words(evidence.said[pick.label], words)]
    placed = bool(evidence.places.standing) and base_of(role) in LANDMARKS
    if placed:
        count = evidence.places.standing
        reasons.append(f"it {_fit(where)} in {count} standing {'trial' if count == 1 else 'trials'}")
    reasons += _computed(label, evidence)
    sureness = "sure" if pick.margin >= SURE else "likely" if pick.margin >= LIKELY else "not sure"
    if words >= _CONTRADICTS or where >= _CONTRADICTS:
        sureness = "not sure"
    elif not placed or where >= 4 or label in evidence.computed:
        sureness = "likely" if sureness == "sure" else sureness
    if pick.margin < LIKELY:
        if pick.other_role is not None:
            reasons.append(f"{label} could also be {roles[pick.other_role]}")
        elif pick.other_label is not None:
            reasons.append(f"{evidence.labels[pick.other_label]} fits nearly as well")
        else:
            reasons.append("it fits hardly better than none")
    named = evidence.said[pick.label].anything and words < _SAYS_SO
    return Guess(role, label, sureness, "; ".join(reasons), named=named)


def _fit(penalty: float) -> str:
    return "lies where it should" if penalty < 2 else "lies near it" if penalty < 4 else "lies elsewhere than it should"


def _computed(label: str, evidence: _Evidence) -> list[str]:
    return [f"it is {evidence.computed[label]}"] if label in evidence.computed else []


def _of_words(label: Said, penalty: float) -> str:
    if not label.anything:
        return "the label says only the side" if label.side else "the label says nothing"
    if penalty < _SAYS_SO:
        return "the label says so"
    return "the label says something near it" if penalty < _CONTRADICTS else "the label says otherwise"


def _sides_against(evidence: _Evidence, roles: Sequence[str]) -> str:
    """A warning if most markers lie on the other side than their labels say."""
    if not evidence.places.standing:
        return ""
    sides = {side: [r for r, role in enumerate(roles) if side_of(role) == side] for side in ("left", "right")}
    agree = against = 0
    for said, row in zip(evidence.said, evidence.places.penalty, strict=True):
        if said.side and all(sides.values()):
            left, right = (float(np.min(row[places])) for places in sides.values())
            if abs(left - right) > 2:
                lies = "left" if left < right else "right"
                agree, against = agree + (lies == said.side), against + (lies != said.side)
    if against <= agree:
        return ""
    return (
        f"{against} markers lie on the other side than their labels say ({agree} on the same). Either the labels are "
        "exchanged, or 'forward' points the wrong way; find out which before anything else."
    )


def shares(guesses: Guesses, truth: Mapping[str, str]) -> tuple[float, float]:
    """Share of ``truth`` (role -> label) guessed right at all, and right and sure enough to be a value."""
    right = [g for g in guesses.roles if g.role in truth and g.label == truth[g.role]]
    return len(right) / len(truth), sum(g.sureness != "not sure" for g in right) / len(truth)
