"""Whether the contacts and toe-offs that a laboratory marked in its file can be true.

How far they lie from those of other methods stands in ``event_agreement``; no outcome rests on them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from checks.recording import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.events.agreement import EVENTS, NEAREST_WITHIN_S
from pipelines.science.events.from_force import SIDES
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.trial import Mark, Trial

#: Side and event -> the moments at which the signals show it, s.
_Shown = dict[tuple[str, str], np.ndarray]
_KINDS = {"contact": "toe_off", "toe_off": "contact"}
#: Own choice: toe-off and contact of one foot lie further apart, so a mark so near the other kind is of that kind.
_OF_THE_OTHER_KIND_S = 0.05
_MEND = {
    "beyond": "Set no marks outside the part of the recording that the file holds",
    "doubled": "Take the second mark away",
    "order": "A foot is in the air for longer: exchange the words of the two marks, or set them anew",
    "side": "Exchange left and right of these marks",
    "kind": "Exchange contact and toe-off of these marks",
    "late": "Set the marks anew, or let the times of a file that was cut count from the first frame that was recorded",
}


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="Of {marks} marks of contact and toe-off in the EVENT group {what}.",
    expected="Marks within the recording, each foot in the air for at least {air_s:g} s, no mark twice within "
    "{twice_s:g} s, and contact and toe-off as by {method}, within {late_ms:g} ms on average.",
    remedy="{mend}, and export again. No outcome is computed from marks; they are compared in event_agreement.",
    words=("marks", "what", "method", "mend"),
    limits={
        "air_s": Limit("s", "own choice: in running a foot is in the air for 0.3 s and more"),
        "twice_s": Limit("s", "own choice: a quarter of the shortest step"),
        "late_ms": Limit("ms", "own choice: several frames; 5 ms at most in one real run"),
    },
)
def event_marks_contradict_nothing(
    trial: Trial, work: Workspace, *, air_s: float = 0.2, twice_s: float = 0.1, late_ms: float = 30.0
) -> Looked:
    """Contacts and toe-offs that the site marked in the file contradict neither each other nor the signals.

    Marks of another recording, or with left and right exchanged, are a sign that more in the export is.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    marks = trial.marks
    if not marks:
        return nothing("the file marks no contact and no toe-off")
    method = next((method for _, _, method in work.contacts.believed), None)
    seen = _shown(work)
    found = [*_among_themselves(trial, air_s, twice_s), *_against(marks, seen, late_ms / 1000)]
    told = {"marks": len(marks), "method": {"sensor": "foot sensors", None: "force"}.get(method, method)}
    limits = {"doubled": twice_s, "order": air_s}
    return looked(
        len(marks),
        [
            {
                **told,
                "what": what,
                "mend": _MEND[kind],
                "place": f"EVENT, {kind}",
                "moment_s": min(max(mark.time_s, 0.0), trial.duration_s),
                "shows": shown.marked(trial, mark, kind, seen, limits.get(kind, late_ms / 1000), str(told["method"])),
            }
            for kind, what, mark in found
        ],
    )


def _among_themselves(trial: Trial, air_s: float, twice_s: float) -> Iterator[tuple[str, str, Mark]]:
    """Kind of contradiction, in words, and the first mark that has it."""
    frame_s = 1 / trial.marker_rate_hz if trial.marker_rate_hz > 0 else 0.0
    beyond = [mark for mark in trial.marks if not -frame_s <= mark.time_s <= trial.duration_s + frame_s]
    if beyond:
        yield "beyond", f"{_are(len(beyond))} outside the recording, the first at {beyond[0].time_s:.2f} s", beyond[0]
    doubled, early = [], []
    for side in SIDES:
        own = [mark for mark in trial.marks if mark.side == side]
        for event in EVENTS:
            of_kind = [mark for mark in own if mark.event == event]
            doubled += [b for a, b in pairwise(of_kind) if b.time_s - a.time_s < twice_s]
        off = [(a, b) for a, b in pairwise(own) if (a.event, b.event) == ("toe_off", "contact")]
        early += [b for a, b in off if b.time_s - a.time_s < air_s]
    if doubled:
        yield "doubled", f"{_are(len(doubled))} there twice, first {_named(doubled[0])}", doubled[0]
    if early:
        yield "order", f"{_are(len(early))} a contact right after its own toe-off, first {_named(early[0])}", early[0]


def _shown(work: Workspace) -> _Shown:
    believed = [(side, contact) for side, contact, _ in work.contacts.believed if side is not None]
    return {
        (side, event): np.array([getattr(contact, moment) for own, contact in believed if own == side])
        for side in SIDES
        for event, moment in EVENTS.items()
    }


def _against(marks: Sequence[Mark], shown: _Shown, late_s: float) -> Iterator[tuple[str, str, Mark]]:
    """Marks that answer to what the signals show of the other foot or the other event, or late or early by too much."""
    wrong: dict[str, list[Mark]] = {"side": [], "kind": []}
    off: dict[str, list[tuple[float, Mark]]] = {event: [] for event in EVENTS}
    for mark in marks:
        other_side = SIDES[1 - SIDES.index(mark.side)]
        own = _off(mark, shown[mark.side, mark.event])
        if abs(own) <= NEAREST_WITHIN_S:
            off[mark.event].append((own, mark))
        elif abs(_off(mark, shown[other_side, mark.event])) <= NEAREST_WITHIN_S:
            wrong["side"].append(mark)
        elif abs(_off(mark, shown[mark.side, _KINDS[mark.event]])) <= _OF_THE_OTHER_KIND_S:
            wrong["kind"].append(mark)
    words = {"side": "the other foot's contact or toe-off", "kind": "the other of contact and toe-off"}
    for kind, those in wrong.items():
        if those:
            yield kind, f"{len(those)} lie at {words[kind]}, first {_named(those[0])}", those[0]
    for event, pairs in off.items():
        mean_s = float(np.mean([by for by, _ in pairs])) if len(pairs) > 1 else 0.0
        if abs(mean_s) > late_s:
            way = "late" if mean_s > 0 else "early"
            text = f"those of {event.replace('_', '-')} come {1000 * abs(mean_s):.0f} ms {way} on average"
            yield "late", text, pairs[0][1]


def _off(mark: Mark, moments: np.ndarray) -> float:
    """How much later than the nearest of the moments, s; infinite without one."""
    if not len(moments):
        return float("inf")
    return float(mark.time_s - moments[np.argmin(np.abs(moments - mark.time_s))])


def _are(count: int) -> str:
    return f"{count} {'is' if count == 1 else 'are'}"


def _named(mark: Mark) -> str:
    return f"{mark.event.replace('_', '-')} of the {mark.side} foot at {mark.time_s:.2f} s"
