"""Whether muscles are active when muscles of their kind are: labels exchanged between muscles or sides, wrong places.

What muscles of the shank do in running is told in ``pipelines.science.muscles.phases``.
"""

from __future__ import annotations

from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.events.switches import markers_are_mirrored, on_other_feet, rows_of_both_feet
from pipelines.science.frames import Rows
from pipelines.science.muscles.measures import fault_of
from pipelines.science.muscles.phases import CALF, OTHER, SHIN, Phased
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.trial import Trial

_NONE = "no muscle whose phase is known shows bursts in a whole contact that is surely of its side"
_FIT = "own choice: good simulated signals reach 0.6 and more, exchanged ones the same below zero"


def _phased(trial: Trial, work: Workspace) -> list[Phased]:
    """The muscles that can be judged; none where the contacts themselves may be those of the other foot."""
    if markers_are_mirrored(trial) or on_other_feet(rows_of_both_feet(work.event_agreement)):
        return []
    return work.phased_muscles


def _exchanged(phased: list[Phased], least: float) -> list[tuple[Phased, Phased]]:
    """Calf and shin of one side that are each active in the other's phase; the worst calf stands for its side."""
    pairs = []
    for side in OTHER:
        groups = {
            group: [p for p in phased if p.side == side and p.group == group and p.own < -least]
            for group in (CALF, SHIN)
        }
        if groups[CALF] and groups[SHIN]:
            worst = min(groups[CALF], key=lambda p: p.own)
            pairs.append((worst, min(groups[SHIN], key=lambda p: p.own)))
    return pairs


def _turned(phased: list[Phased], least: float) -> list[tuple[Phased, Phased]]:
    """Left and right of one muscle that both fit the other side's contacts and not their own."""

    def fits_the_other(p: Phased) -> bool:
        return p.other is not None and p.other > least and p.own < least / 2

    told = {id(p) for pair in _exchanged(phased, least) for p in pair}
    wrong = {(p.muscle.signal.muscle, p.side): p for p in phased if fits_the_other(p) and id(p) not in told}
    lefts = [muscle for muscle, side in wrong if side == "left" and (muscle, "right") in wrong]
    return [(wrong[muscle, "left"], wrong[muscle, "right"]) for muscle in lefts]


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The {muscle} is active in late swing and {shin} in the middle of contact: each does what the other should.",
    expected="The calf active in the middle of contact, the front of the shank in swing.",
    remedy="Look at the photograph or notes of the electrodes: labels or leads of the two were exchanged. Correct the "
    "muscle in channels.csv and send the trial again; if the leads were exchanged, all trials of the session have it.",
    words=("muscle", "shin"),
    limits={"least_fit": Limit("1", _FIT)},
)
def shin_and_calf_are_not_exchanged(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    least_fit: float = 0.3,
) -> Looked:
    """The calf is active in contact and the front of the shank in swing, not the other way round.

    Two leads in each other's place give good signals and turn every conclusion about them upside down. Only where both
    are active in the other's phase it is an exchange; one alone is told of by muscles_are_active_in_their_phase.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    phased = _phased(trial, work)
    judged = [s for s in OTHER if {CALF, SHIN} <= {p.group for p in phased if p.side == s}]
    if not judged:
        return nothing("on neither side do both calf and shin show bursts in a contact that is surely of this side")
    faults = []
    for calf, shin in _exchanged(phased, least_fit):
        places = {"place": f"{calf.muscle.place}, {shin.muscle.place}"}
        faults.append(fault_of(calf.muscle, trial, channels, shin=shin.muscle.name) | places)
    return looked(len(judged), faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The {muscle} is active with the right foot's contacts and {right} with the left foot's.",
    expected="Each muscle active with the contacts of its own side.",
    remedy="Look whether left and right of this muscle were exchanged, in the labels or at the amplifier's inputs, and "
    "correct the side in channels.csv. If all muscles are like this, look first whether the foot markers or the foot "
    "sensors have the sides exchanged, since contacts get their side from them.",
    words=("muscle", "right"),
    limits={"least_fit": Limit("1", _FIT)},
)
def left_and_right_muscles_are_not_exchanged(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    least_fit: float = 0.3,
) -> Looked:
    """A muscle is active with the contacts of its own side.

    The two legs of a runner are half a stride apart. A muscle under the other side's name has its burst there, and its
    own windows hold a silence that passes for a weak muscle.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    phased = _phased(trial, work)
    if not phased:
        return nothing(_NONE)
    faults = []
    for left, right in _turned(phased, least_fit):
        places = {"place": f"{left.muscle.signal.muscle} left and right"}
        faults.append(fault_of(left.muscle, trial, channels, right=right.muscle.name) | places)
    return looked(len(phased), faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The {muscle} is active {when}.",
    expected="{wanted}.",
    remedy="Look where the electrodes sit: too far to the side of a muscle they pick up its opponent. Or another lead "
    "was plugged in here. Correct the row in channels.csv if it is another muscle; the trial is used as it is.",
    words=("muscle", "when", "wanted"),
    limits={"least_fit": Limit("1", _FIT)},
)
def muscles_are_active_in_their_phase(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    least_fit: float = 0.3,
) -> Looked:
    """Calf and shin muscles are active in the part of the stride that they work in.

    One muscle alone in its opponent's phase may be crosstalk or an unusual runner as well as a wrong electrode, so it
    is noted. Exchanges of two leads are told of by shin_and_calf_are_not_exchanged and
    left_and_right_muscles_are_not_exchanged.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    phased = _phased(trial, work)
    if not phased:
        return nothing(_NONE)
    pairs = _exchanged(phased, least_fit) + _turned(phased, least_fit)
    told = {id(p) for pair in pairs for p in pair}
    calf = ("in late swing and silent in the middle of contact", "A calf muscle bears the middle of contact")
    shin = ("in the middle of contact and silent in late swing", "The front of the shank holds the foot up in swing")
    faults = []
    for p in phased:
        if p.own < -least_fit and id(p) not in told:
            when, wanted = calf if p.group == CALF else shin
            faults.append(fault_of(p.muscle, trial, channels, when=when, wanted=wanted))
    return looked(len(phased), faults)
