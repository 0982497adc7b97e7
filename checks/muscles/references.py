"""Whether the amplitudes of a muscle fit the reference that they are divided by."""

from __future__ import annotations

from typing import Any

import numpy as np

from checks import showing as show
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.muscles.measures import fault_of, without_muscles
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.trial import FloatArray, Trial

_REFERENCES = {
    "reference_contraction": "the reference contraction of its session",
    "dynamic_peak": "the peak of its session's running in the reference condition",
}


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="{percent:.0f} % of the windows of the {muscle} lie above its reference; the largest of the middle "
    "footfall is {times:.1f} times as large.",
    expected="At most {most_times:g} times {reference}.",
    remedy="Look whether the gain of this channel was changed between the recordings of the session, or an electrode "
    "set anew; state in channels.csv the gain that each recording had and send it again. If the reference recording "
    "was feeble or the muscle hardly at work in it, say so to the data manager: its fractions compare with no "
    "other session's.",
    words=("percent", "muscle", "times", "reference"),
    limits={
        "most_times": Limit(
            "1",
            "own choice: simulated trials reach 1.2 in their own reference condition and 1.7 in others, twelve "
            "muscles of a real jog 1.6 in its own, of two footfalls",
        )
    },
)
def muscle_amplitudes_stay_near_their_reference(
    trial: Trial,
    channels: ChannelFacts | None,
    footfalls: Rows,
    work: Workspace,
    *,
    most_times: float = 2.0,
) -> Looked:
    """The amplitudes of a muscle are not far above the reference that they are divided by.

    Windows above the reference are counted in muscle_signals, and some are usual: a stride may be stronger than the
    mean of peaks. Where the largest of every stride is twice the reference, the two were not recorded alike. Amplitudes
    far below it are no fault: a muscle may rest.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    muscles = work.raw_muscles
    if not muscles:
        return nothing(without_muscles(trial))
    largest, above, kinds = _over_footfalls(work.muscle_outcomes.amplitudes)
    judged = [m for m in muscles if (m.signal.muscle, m.signal.side) in largest]
    if not judged:
        return nothing("no muscle has a reference that its amplitudes are divided by")
    faults = []
    for m in judged:
        key = str(m.signal.muscle), str(m.signal.side)
        times = float(np.median(largest[key]))
        if times > most_times:
            found: dict[str, Any] = {"percent": 100 * above[key], "times": times, "reference": _REFERENCES[kinds[key]]}
            title = "Largest amplitude of each footfall, as a multiple of the reference"
            proof = show.picture(show.one_by_one(title, "1", largest[key], high=most_times))
            faults.append(fault_of(m, trial, channels, **found, shows=proof))
    return looked(len(judged), faults)


_Key = tuple[str, str]


def _over_footfalls(amplitudes: Rows) -> tuple[dict[_Key, FloatArray], dict[_Key, float], dict[_Key, str]]:
    """By muscle and side: largest fraction of each footfall (k,), part of windows above 1, kind of the reference."""
    by_footfall: dict[_Key, dict[int, float]] = {}
    each: dict[_Key, list[float]] = {}
    kinds: dict[_Key, str] = {}
    columns = (amplitudes.columns[name] for name in ("muscle", "side", "footfall_number", "normalisation"))
    fractions = amplitudes.numbers("amplitude_fraction").tolist()
    for muscle, side, footfall, kind, fraction in zip(*columns, fractions, strict=True):
        if np.isfinite(fraction):
            key = str(muscle), str(side)
            own = by_footfall.setdefault(key, {})
            own[footfall] = max(own.get(footfall, 0.0), fraction)
            each.setdefault(key, []).append(fraction)
            kinds[key] = kind
    largest = {key: np.array(list(own.values())) for key, own in by_footfall.items()}
    return largest, {key: float(np.mean(np.array(own) > 1)) for key, own in each.items()}, kinds
