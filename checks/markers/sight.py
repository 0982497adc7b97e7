"""Whether the cameras saw the markers: few filled frames, no flicker, and the feet in sight at contact.

Long gaps are for ``markers``; frames that only look measured are for ``marker_frames``.
"""

from __future__ import annotations

import numpy as np

from checks import showing as show
from checks.markers import shown
from checks.markers.frames import moment_of
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.mechanics import runs
from schemas.study import Study
from schemas.trial import Trial


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="{filled_percent:.0f} % of the frames of {marker} were empty and filled; required markers like that: {count}.",
    expected="At most {share_percent:g} % of the frames of a required marker are filled.",
    remedy="Look why the cameras lose this marker: its place on the body, a camera that was moved, or its settings. If "
    "it is in the file under no label at these moments, label it and export again.",
    words=("filled_percent", "marker", "count"),
    limits={"share_percent": Limit("%", "common practice")},
)
def few_frames_are_filled(trial: Trial, study: Study, *, share_percent: float = 10.0) -> Looked:
    """Most frames of every required marker were measured.

    Each short gap may be filled; where a marker comes and goes all the time, its path is the filling.
    """
    shares, examined = {}, 0
    for role in study.required_at(trial.site):
        filled = trial.filled.get(role)
        if filled is None or not len(filled) or role not in trial.markers:
            continue
        examined += len(filled)
        shares[role] = 100 * float(np.mean(filled))
    many = [role for role in shares if shares[role] > share_percent]
    if not many:
        return looked(examined) if examined else nothing("no required marker was seen")
    role = max(many, key=lambda r: shares[r])
    fault = {
        "filled_percent": shares[role],
        "count": len(many),
        **moment_of(trial, study, role, int(np.argmax(trial.filled[role]))),
        "place": signals.few(many, "markers"),
        "signal": None,
        "shows": show.picture(
            show.one_by_one(
                "Frames that were filled, of each required marker",
                "%",
                list(shares.values()),
                high=share_percent,
                across="Required marker, in the order of the study",
            )
        ),
    }
    return looked(examined, [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="Marker {marker} appears {count} times between two gaps for no longer than {island_s:g} s, first in frames "
    "{first} to {last}.",
    expected="A marker appears that briefly between two gaps fewer than {at_least:g} times in a trial.",
    remedy="Go to frames {first} to {last}: what carries the label may be a reflection or another marker. If so, take "
    "the label away there; if it is the marker, join it up, and find out why the cameras lose it.",
    words=("marker", "count", "first", "last"),
    limits={
        "island_s": Limit("s", "common practice: five frames at 250 Hz, too few to see a path in"),
        "at_least": Limit("1", "common practice: once or twice happens to every recording"),
    },
)
def markers_do_not_flicker(
    trial: Trial, work: Workspace, study: Study, *, island_s: float = 0.02, at_least: float = 3
) -> Looked:
    """No marker appears again and again for an instant between two gaps.

    What a program finds for a few frames is often something else that shines, and the gaps on both sides are then
    filled towards it.
    """
    faults, examined = [], 0
    for role in trial.markers:
        known = work.measured[role]
        examined += int(known.sum())
        longest = island_s * (trial.marker_rate_hz or 1.0)
        inner = [(a, b) for a, b in runs(known) if a > 0 and b < len(known)]
        islands = [(a, b) for a, b in inner if b - a <= longest]
        if len(islands) >= at_least:
            a, b = islands[0]
            told = {"count": len(islands), "first": a + 1, "last": b, **moment_of(trial, study, role, a)}
            proof = shown.flickers(work, role, a / (trial.marker_rate_hz or 1.0), len(islands), at_least - 1)
            faults.append(told | {"signal": None, "shows": proof})
    return looked(examined, faults) if examined else nothing("no marker was seen")


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Only {seen_count} of {footfalls} footfalls have heel and forefoot markers measured at contact; {marker} is "
    "missing most often, first at {where}.",
    expected="At least {least_percent:g} % of the footfalls have both, from {around_s:g} s before contact to as long "
    "after it.",
    remedy="Look for {marker} under another or no label at the contacts and label it there; fill what is left from the "
    "other markers of the foot. A line across a contact is an invention, so it is not used.",
    words=("seen_count", "footfalls", "marker", "where"),
    limits={
        "least_percent": Limit("%", "common practice"),
        "around_s": Limit("s", "common practice: two or three frames to either side"),
    },
)
def foot_markers_are_seen_at_contact(
    trial: Trial,
    work: Workspace,
    footfalls: Rows,
    study: Study,
    *,
    least_percent: float = 50.0,
    around_s: float = 0.01,
) -> Looked:
    """Heel and forefoot were measured at the moment of contact in most footfalls, not filled.

    The strike angle is read in these few frames. A gap of a twentieth of a second counts as short, and across a contact
    it hides all there is to see.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    roles = (study.processing.heel_role, study.processing.forefoot_role)
    absent: list[tuple[str, float, str]] = []
    complete = examined = 0
    for footfall in footfalls.records:
        own = [f"{role}_{footfall['side']}" for role in roles if f"{role}_{footfall['side']}" in trial.markers]
        at = float(footfall["contact_s"])
        if len(own) < len(roles) or not np.isfinite(at):
            continue
        examined += 1
        lacks = [role for role in own if not _seen_around(work, role, at, around_s)]
        complete += not lacks
        absent += [(role, at, signals.footfall_place(footfall)) for role in lacks]
    if not examined:
        return nothing("no footfall of a foot with heel and forefoot markers")
    if 100 * complete >= least_percent * examined:
        return looked(examined)
    names = [role for role, _, _ in absent]
    role = max(names, key=names.count)
    at, where = next((at, where) for name, at, where in absent if name == role)
    fault = {
        "seen_count": complete,
        "footfalls": examined,
        "where": where,
        **moment_of(trial, study, role, round(at * (trial.marker_rate_hz or 1.0))),
        "place": role,
        "moment_s": at,
        "signal": None,
        "shows": shown.measured_at(work, role, at, 100 * complete / examined, least_percent),
    }
    return looked(examined, [fault])


def _seen_around(work: Workspace, role: str, at_s: float, around_s: float) -> bool:
    """Whether a marker was measured in every frame around a moment, as far as the recording goes."""
    known, rate = work.measured[role], work.trial.marker_rate_hz or 1.0
    first = max(0, int(np.ceil((at_s - around_s) * rate)))
    part = known[first : int(np.floor((at_s + around_s) * rate)) + 1]
    return bool(len(part)) and bool(part.all())
