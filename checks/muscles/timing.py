"""Whether muscles are active when muscles of their kind are: wrong names and wrong legs.

When which kind of muscle is active is told in ``schemas.muscle_phases`` and in the study file, how well a signal fits
in ``pipelines.science.muscles.phases``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Any

import numpy as np

from checks import showing as show
from checks.muscles import shown
from checks.muscles.clock import BETTER, FIT, NOT_JUDGED, OUT_OF_TIME, judged_by_phase, late_by
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.muscles.measures import fault_of
from pipelines.science.muscles.phases import OTHER, Phased
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.muscle_phases import MusclePhases
from schemas.reading import ChannelFacts
from schemas.trial import Trial

#: Own choices, the defaults of the checks below: what counts as fitting another leg, and as fitting better.
_EXCHANGED_GAIN = 0.3
_LEG_FIT, _LEG_GAIN = 0.3, 0.5


def _exchanged(phased: Sequence[Phased], known: MusclePhases, gain: float) -> list[tuple[float, Phased, Phased]]:
    """Pairs of one leg of which each does what the other should, and how much better they would fit exchanged.

    Each must be stronger than the other where only the other's kind is active; both together must fit better by
    ``gain``. Each muscle stands in its clearest pair only.
    """
    found = []
    for one, other in combinations(phased, 2):
        if one.side != other.side or one.kind == other.kind:
            continue
        phases = known.phases[str(one.kind)], known.phases[str(other.kind)]
        exchanged = one.as_kind(str(other.kind)) + other.as_kind(str(one.kind))
        better = exchanged - one.own - other.own
        of_another_leg = one.other + other.other > exchanged
        if better > gain and not of_another_leg and other.rather(*phases) - one.rather(*phases) > gain:
            found.append((better, one, other))
    told: set[int] = set()
    pairs = []
    for better, one, other in sorted(found, key=lambda f: -f[0]):
        if not told & {id(one), id(other)}:
            told |= {id(one), id(other)}
            pairs.append((better, one, other))
    return pairs


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The {muscle} and {other} are each active when the other should be: under each other's names they would fit "
    "the stride better, by {better:.2f} together.",
    expected="The one {wanted}; the other {other_wanted}.",
    remedy="Look at the photograph or notes of the electrodes: labels or leads of the two were exchanged. Correct the "
    "muscle in channels.csv and send the trial again; if the leads were exchanged, all trials of the session have it.",
    words=("muscle", "other", "better", "wanted", "other_wanted"),
    limits={"least_gain": Limit("1", BETTER)},
)
def muscles_of_a_leg_are_not_exchanged(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    least_gain: float = _EXCHANGED_GAIN,
) -> Looked:
    """EMG leads of one leg are not exchanged: each muscle is active in its own part of the stride.

    Two leads in each other's place give good signals and turn every conclusion about them upside down. Only where each
    fits the other's kind it is an exchange; one alone is told of by muscles_are_active_in_their_phase. Muscles that are
    active together, such as soleus and vastus, cannot be told apart.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    phased = judged_by_phase(trial, work)
    if late_by(phased) is not None:
        return nothing(OUT_OF_TIME)
    judged = [p for p in phased if any(q.side == p.side and q.kind != p.kind for q in phased)]
    if not judged:
        return nothing(
            "on neither leg do two muscles of different kinds show bursts in strides that are surely its own"
        )
    faults = []
    for better, one, other in _exchanged(phased, work.muscle_phases, least_gain):
        wanted, other_wanted = (work.muscle_phases.phases[str(p.kind)].told for p in (one, other))
        places = {"place": f"{one.muscle.place}, {other.muscle.place}"}
        words: dict[str, Any] = {"other": other.muscle.name, "better": better}
        words |= {"wanted": wanted, "other_wanted": other_wanted}
        better_by = show.number("How much better both would fit under each other's names", "1", better, high=least_gain)
        proof = {"signal": None, "shows": shown.over_strides([one, other], better_by)}
        faults.append(fault_of(one.muscle, trial, channels, **words) | places | proof)
    return looked(len(judged), faults)


def _of_another_leg(phased: Sequence[Phased], fit: float, gain: float) -> Iterator[tuple[Phased, list[Phased]]]:
    """Muscles that fit the other foot's contacts: the left of a pair with its right, then those of a leg without one.

    A single muscle counts only where no kind of its own side would explain it as well.
    """

    def fits_the_other(p: Phased) -> bool:
        here = max(v for v in (p.as_kind(kind) for kind in p.by_kind) if np.isfinite(v))
        return p.other > fit and p.other > p.own + gain and p.other > here - gain / 2

    wrong = [p for p in phased if fits_the_other(p)]
    by_name = {(p.muscle.signal.muscle, p.side): p for p in wrong}
    paired = [
        (p, by_name[m, "right"]) for (m, side), p in by_name.items() if side == "left" and (m, "right") in by_name
    ]
    yield from ((left, [right]) for left, right in paired)
    told = {id(p) for pair in paired for p in pair}
    for side in OTHER:
        rest = [p for p in wrong if p.side == side and id(p) not in told]
        if rest:
            yield rest[0], rest[1:]


def _other_side(first: Phased, more: Sequence[Phased]) -> str:
    """What the message says of them."""
    here = f"active with the {OTHER[first.side]} foot's contacts"
    if more and more[0].side != first.side:
        return f"is {here} and {more[0].muscle.name} with the {first.side} foot's"
    others = f" and {', '.join(p.muscle.name for p in more)} are" if more else " is"
    return (
        f"{others.strip()} {here}, which they fit by {np.mean([p.other for p in (first, *more)]):.2f}; those of the "
        f"{first.side} foot by {np.mean([p.own for p in (first, *more)]):.2f}"
    )


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The {muscle} {active}.",
    expected="Each muscle active with the contacts of its own side.",
    remedy="Look whether left and right were exchanged, in the labels, at the amplifier's inputs, or for a whole leg, "
    "and correct the side in channels.csv. If all muscles are like it, look first whether foot markers or sensors "
    "have the sides exchanged, since contacts get their side from them.",
    words=("muscle", "active"),
    limits={"least_fit": Limit("1", FIT), "least_gain": Limit("1", BETTER)},
)
def left_and_right_muscles_are_not_exchanged(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    least_fit: float = _LEG_FIT,
    least_gain: float = _LEG_GAIN,
) -> Looked:
    """EMG of left and right is not exchanged: a muscle is active with the contacts of its own side.

    The two legs of a runner are half a stride apart. A muscle under the other side's name has its burst there, and its
    own windows hold a silence that passes for a weak muscle. One leg is enough to tell.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    phased = judged_by_phase(trial, work)
    if late_by(phased) is not None:
        return nothing(OUT_OF_TIME)
    if not phased:
        return nothing(NOT_JUDGED)
    faults = []
    exchanged = {id(p) for _, *pair in _exchanged(phased, work.muscle_phases, _EXCHANGED_GAIN) for p in pair}
    for first, more in _of_another_leg([p for p in phased if id(p) not in exchanged], least_fit, least_gain):
        place = ", ".join(p.muscle.place for p in (first, *more))
        if more and more[0].side != first.side:
            place = f"{first.muscle.signal.muscle} left and right"
        gains = {p.muscle.place: p.other - p.own for p in (first, *more)}
        limit = shown.fits("How much better each fits the other foot's contacts than its own", gains, high=least_gain)
        fault = fault_of(first.muscle, trial, channels, active=_other_side(first, more))
        faults.append(fault | {"place": place, "signal": None, "shows": shown.over_strides([first, *more], limit)})
    return looked(len(phased), faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {muscle} does not fit its part of the stride: by {own:.2f}.",
    expected="A muscle that is {wanted}, so that it fits by {least_fit:g} or more ({source}).",
    remedy="Look where the electrodes sit: too far to the side of a muscle they pick up its opponent. Or another lead "
    "was plugged in here. Correct the row in channels.csv if it is another muscle; the trial is used as it is. If the "
    "study's runners do use this muscle otherwise, state its phase in the study file.",
    words=("muscle", "own", "wanted", "source"),
    limits={"least_fit": Limit("1", "own choice: of eleven muscles of a real jog the weakest fitted by 0.61")},
)
def muscles_are_active_in_their_phase(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    least_fit: float = 0.2,
) -> Looked:
    """EMG fits the stride: muscles are active in the part of it that muscles of their kind work in.

    One muscle alone in another's phase may be crosstalk or an unusual runner as well as a wrong electrode, so it
    is noted. Exchanges of two leads are reported by muscles_of_a_leg_are_not_exchanged and
    left_and_right_muscles_are_not_exchanged, a clock that is off by muscles_keep_time_with_the_feet.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    phased = judged_by_phase(trial, work)
    if late_by(phased) is not None:
        return nothing(OUT_OF_TIME)
    if not phased:
        return nothing(NOT_JUDGED)
    told = {id(p) for _, *pair in _exchanged(phased, work.muscle_phases, _EXCHANGED_GAIN) for p in pair}
    told |= {id(p) for first, more in _of_another_leg(phased, _LEG_FIT, _LEG_GAIN) for p in (first, *more)}
    faults = []
    for p in phased:
        if p.own < least_fit and id(p) not in told:
            phase = work.muscle_phases.phases[str(p.kind)]
            words: dict[str, Any] = {"wanted": phase.told, "source": phase.source}
            limit = show.number("Fit with the part of the stride of its kind, from −1 to 1", "1", p.own, low=least_fit)
            words |= {"shows": shown.over_strides([p], limit)}
            faults.append(fault_of(p.muscle, trial, channels, own=p.own, **words))
    return looked(len(phased), faults)
