"""Whether muscles keep time with the feet, all of a trial together.

When which kind of muscle is active is told in ``schemas.muscle_phases`` and in the study file, how well a signal fits
in ``pipelines.science.muscles.phases``; single muscles are the matter of ``timing``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from checks.muscles import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.events.switches import markers_are_mirrored, on_other_feet, rows_of_both_feet
from pipelines.science.frames import Rows
from pipelines.science.muscles.measures import contacts_by_side, fault_of
from pipelines.science.muscles.phases import HALF, PARTS, Phased, strides_of
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.trial import FloatArray, Trial

NOT_JUDGED = "no muscle whose phase is known shows bursts in strides that are surely of its side"
OUT_OF_TIME = "all muscles are out of time with the feet, which muscles_keep_time_with_the_feet tells"
FIT = "own choice: muscles of a real jog and good simulated ones reach 0.6 and more"
BETTER = "own choice: on a real jog twelve muscles of one leg fitted their own kind and side better, or as well"
#: Own choices, the defaults of the check below: what counts as fitting, as fitting better, and as late (of a stride).
_IN_TIME_FIT, _IN_TIME_GAIN, _LATE_PART = 0.6, 0.3, 0.1


def judged_by_phase(trial: Trial, work: Workspace) -> list[Phased]:
    """The muscles that can be judged; none where the contacts themselves may be those of the other foot."""
    if markers_are_mirrored(trial) or on_other_feet(rows_of_both_feet(work.event_agreement)):
        return []
    return [p for p in work.phased_muscles if p.kind is not None and np.isfinite([p.own, p.other]).all()]


def late_by(
    phased: Sequence[Phased],
    least_fit: float = _IN_TIME_FIT,
    least_gain: float = _IN_TIME_GAIN,
    least_part: float = _LATE_PART,
) -> int | None:
    """By how many parts of a stride the median muscle is late; None if they are in time, or cannot tell.

    They can tell if they are of two kinds at least. By half a stride they may be another leg's, which is told where
    sides are looked at, unless they come from a second file with its own clock.
    """
    if len({p.kind for p in phased}) < 2:
        return None
    together: FloatArray = np.median([p.by_delay for p in phased], axis=0)
    if not np.isfinite(together).all():
        return None
    best = int(np.argmax(together))
    off = min(best, PARTS - best)
    if together[best] < least_fit or together[best] < together[0] + least_gain or off < least_part * PARTS:
        return None
    another_leg = abs(best - HALF) <= least_part * PARTS
    if another_leg and any(p.muscle.signal.source != "sidecar" for p in phased):
        return None
    about = np.arange(best - HALF, best + HALF)  # the top is flat: its middle counts
    as_good = about[together[about % PARTS] >= together[best] - 0.05]
    return round(float(as_good.mean())) % PARTS


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The {count} muscles together fit the feet's contacts best if they are taken to be about "
    "{late_ms:.0f} ms {late_or_early}: by {best:.2f}, as they are by {now:.2f}.",
    expected="Muscles in time with the feet, to less than {least_percent:g} % of a stride.",
    remedy="Look for a delay of the transmitters or of the recorder that the recording program did not take off, or a "
    "second file that was started by hand, and export the muscles with their clock set right; if all trials of the "
    "session have it, all are to be sent again. Off by half a stride, all muscles may be called the other leg's.",
    words=("count", "late_ms", "late_or_early", "best", "now"),
    limits={
        "least_fit": Limit("1", FIT),
        "least_gain": Limit("1", "own choice: clean simulated trials gained up to 0.18, a real jog 0.05"),
        "least_percent": Limit("%", "own choice: kinds of muscles differ by less than this from runner to runner"),
    },
)
def muscles_keep_time_with_the_feet(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    least_fit: float = _IN_TIME_FIT,
    least_gain: float = _IN_TIME_GAIN,
    least_percent: float = 100 * _LATE_PART,
) -> Looked:
    """EMG keeps time with the feet: muscles of two kinds and more are active when contacts say.

    A clock that is off by part of a stride turns every onset and every window of all muscles into another's; no single
    channel shows it. Less than a tenth of a stride cannot be distinguished from a runner's own way.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    phased = judged_by_phase(trial, work)
    if len({p.kind for p in phased}) < 2:
        return nothing(NOT_JUDGED if not phased else "muscles of one kind only, which tell no clock")
    strides = strides_of(contacts_by_side(footfalls))
    assert strides is not None
    faults = []
    late = late_by(phased, least_fit, least_gain, least_percent / 100)
    if late is not None:
        together = np.median([p.by_delay for p in phased], axis=0)
        signed = late if late <= HALF else late - PARTS
        found = {
            "count": len(phased),
            "late_ms": 1000 * abs(signed) / PARTS * strides.stride_s,
            "late_or_early": "late" if signed > 0 else "early",
            "best": together[late],
            "now": together[0],
        }
        proof = shown.by_delay(np.asarray(together), strides.stride_s, least_gain)
        fault = fault_of(phased[0].muscle, trial, channels, **found)
        faults.append(fault | {"place": "all muscles", "signal": None, "shows": proof})
    return looked(len(phased), faults)
