"""Whether channels.csv says whose signal a muscle's channel is: which muscle, of which leg."""

from __future__ import annotations

import numpy as np

from checks.muscles.clock import judged_by_phase, late_by
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.events.switches import markers_are_mirrored
from pipelines.science.muscles.measures import file_of
from pipelines.science.muscles.phases import OTHER, Unnamed
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.trial import Trial

#: Own choice: where so many channels without a side tell the same leg, those that tell none are likely of it too.
FEWEST_OTHERS = 3


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Channel {channel!r} is said to be a muscle's, and its {lacking} is blank, so nothing is computed from it. "
    "{evidence}.",
    expected="Muscle and side in the row of every muscle's channel.",
    remedy="{proposal} of this channel in channels.csv and send the trial again, and look at the rows of the session's "
    "other trials. If it is no muscle, change its role.",
    words=("channel", "lacking", "evidence", "proposal"),
    limits={
        "least_difference": Limit(
            "1", "own choice: on a real jog ten of eleven muscles fitted their own leg better by more than this"
        )
    },
)
def muscle_channels_say_muscle_and_side(
    trial: Trial, channels: ChannelFacts | None, work: Workspace, *, least_difference: float = 0.5
) -> Looked:
    """Every EMG channel says which muscle it is, and of which leg.

    Without either no window of a stride belongs to it, and its rows would be missing without a word. Which leg it is
    can often be seen from the contacts that its bursts go with, also where one leg was recorded; it is proposed and
    never assumed.
    """
    muscles = [s for s in trial.signals if s.role == "muscle"]
    if not muscles:
        return nothing("no muscle was recorded")
    faults = []
    judged = judged_by_phase(trial, work) if work.unnamed_muscles else []
    doubtful = markers_are_mirrored(trial) or late_by(judged) is not None  # then the contacts say nothing
    sides = [None if doubtful else _side(one, least_difference) for one in work.unnamed_muscles]
    told = [side for side in sides if side is not None]
    shared = told[0] if len(told) >= FEWEST_OTHERS and len(set(told)) == 1 else None
    for one, side in zip(work.unnamed_muscles, sides, strict=True):
        by_others = shared if side is None and one.signal.side is None else None
        proposed = side or by_others
        faults.append(
            {
                "channel": one.signal.label,
                "lacking": " and ".join(
                    w for w, v in (("muscle", one.signal.muscle), ("side", one.signal.side)) if v is None
                ),
                "evidence": _evidence(one, side, by_others),
                "proposal": f"Write {proposed}, if that is right, as side" if proposed else "Write what is blank",
                "place": one.signal.label,
                "file": file_of(one.signal, trial, channels),
                "signal": f"channel:{one.signal.label}",
                "moment_s": _loudest_s(one, trial),
            }
        )
    return looked(len(muscles), faults)


def _side(one: Unnamed, least_difference: float) -> str | None:
    """The side whose contacts the channel fits clearly better; None where neither does."""
    if not one.fits:
        return None
    best = max(one.fits, key=lambda side: one.fits[side])
    return best if one.fits[best] - one.fits[OTHER[best]] >= least_difference else None


def _evidence(one: Unnamed, side: str | None, by_others: str | None) -> str:
    if by_others is not None:
        return f"Its signal alone does not tell the leg; all others without a side that do are of the {by_others} leg"
    told = ", ".join(f"with the {name} foot's contacts by {fit:.2f}" for name, fit in one.fits.items())
    if side is None:
        return f"Its signal does not surely tell the leg ({told})" if told else "Its signal does not tell the leg"
    return f"It is active as {one.signal.muscle} of the {side} leg would be: it fits {told}"


def _loudest_s(one: Unnamed, trial: Trial) -> float:
    """Where the channel reaches furthest from its middle, within the trial: what is worth drawing."""
    samples = one.signal.samples
    known = np.isfinite(samples)
    if not known.any() or not one.signal.rate_hz > 0:
        return 0.0
    size = np.where(known, np.abs(samples - np.median(samples[known])), -1.0)
    at = one.signal.start_s + int(np.argmax(size)) / one.signal.rate_hz
    return float(min(max(at, 0.0), trial.duration_s))
