"""Whether force and markers, however far apart in time, stay so from the start of a trial to its end."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from checks import showing as show
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.trial import FloatArray, Trial

#: Own choice: contacts by markers are never taken to scatter less (1.0 to 1.3 ms in two real runs); with few of them
#: chance may make them look so.
_LEAST_SCATTER_MS = 1.5
#: Own choices: with fewer contacts nothing can be told, with fewer of a foot not what is that foot's own; from six
#: on, one contact at an end, which markers may see only half of, makes no change.
_FEWEST, _FEWEST_OF_A_FOOT, _FEW_ENOUGH_FOR_ONE = 3, 3, 6
#: Own choice: of so many the first of each foot is left out, as markers may not have seen the swing before it.
_ENOUGH = 7


class _Step(NamedTuple):
    """A change of the difference from one contact to the next. by_ms: how much later markers are from then on."""

    by_ms: float
    error_ms: float
    before_s: float
    after_s: float


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="From the contact at {after_s:.2f} s on markers tell of contact {by_ms:.1f} ms {order} against force than up "
    "to {before_s:.2f} s, with a standard error of {error_ms:.1f} ms.",
    expected="Contact by markers and by force differ alike from start to end: by less than {most_ms:g} ms, or "
    "{times_error:g} standard errors, before and after any moment.",
    remedy="About that much of {which} is missing between these moments, or one of the clocks went astray. Look for a "
    "lost packet in the recording program, and export both again from the original recording.",
    words=("by_ms", "order", "before_s", "after_s", "error_ms", "which"),
    limits={
        "most_ms": Limit("ms", "own choice: 1.8 ms at most in a real run of 74 contacts, 1.5 in simulated ones"),
        "times_error": Limit("1", "own choice: the largest of many places is judged"),
    },
)
def force_and_markers_stay_together(
    trial: Trial, work: Workspace, footfalls: Rows, *, most_ms: float = 4.0, times_error: float = 4.0
) -> Looked:
    """What force and markers differ by in time does not change within a trial.

    Samples that were cut out of one of them make everything after them early; a delay on average hides half of it.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    found = {row["footfall_number"]: row for row in work.footfall_events.records if row["event_method"] == "markers"}
    rows = [
        (row, found[row["footfall_number"]]["contact_difference_s"])
        for row in footfalls.records
        if row["footfall_number"] in found
    ]
    known = [(row, 1000 * late) for row, late in rows if late is not None]
    if len(known) < _FEWEST:
        return nothing("fewer than three contacts were found by both force and markers")
    if len(known) >= _ENOUGH:
        starts = {row["side"]: i for i, (row, _) in reversed(list(enumerate(known)))}
        known = [one for i, one in enumerate(known) if i not in starts.values()]
    times = np.array([row["contact_s"] for row, _ in known], float)
    left = np.array([float(row["side"] == "left") for row, _ in known])
    late_ms = np.array([late for _, late in known], float)
    step = largest_step(times, left, late_ms)
    allowed = max(most_ms, times_error * step.error_ms) if step is not None else np.inf
    if step is None or abs(step.by_ms) <= allowed:
        return looked(len(known))
    fault = {
        "by_ms": abs(step.by_ms),
        "order": "later" if step.by_ms > 0 else "earlier",
        "before_s": step.before_s,
        "after_s": step.after_s,
        "error_ms": step.error_ms,
        "which": "force" if step.by_ms > 0 else "the markers",
        "place": "markers against force",
        "moment_s": step.after_s,
        "shows": show.picture(
            show.number("Change of contact by markers against force", "ms", step.by_ms, low=-allowed, high=allowed),
            show.one_by_one(
                "Contact by markers, later than by force", "ms", late_ms, [row["side"] for row, _ in known]
            ),
        ),
    }
    return looked(len(known), [fault])


def largest_step(times: FloatArray, left: FloatArray, late_ms: FloatArray) -> _Step | None:
    """The change that is largest against its error; each foot may have a difference of its own. None without any.

    left: (n,) 1 for contacts of the left foot, 0 for those of the right one.
    """
    sides = np.stack([left, 1 - left], axis=1)
    if sides.sum(axis=0).min() < _FEWEST_OF_A_FOOT:
        sides = np.ones((len(times), 1))
    found = []
    least = 1 if len(times) < _FEW_ENOUGH_FOR_ONE else 2
    for first in range(least, len(times) - least + 1):
        design = np.column_stack([sides, np.arange(len(times)) >= first])
        if np.linalg.matrix_rank(design) < design.shape[1] or len(times) <= design.shape[1]:
            continue
        fitted, *_ = np.linalg.lstsq(design, late_ms, rcond=None)
        left_over = late_ms - design @ fitted
        scatter = max(float(np.sqrt(left_over @ left_over / (len(times) - design.shape[1]))), _LEAST_SCATTER_MS)
        error = scatter * float(np.sqrt(np.linalg.inv(design.T @ design)[-1, -1]))
        found.append(_Step(float(fitted[-1]), error, float(times[first - 1]), float(times[first])))
    return max(found, key=lambda step: abs(step.by_ms) / step.error_ms, default=None)
