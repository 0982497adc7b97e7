"""Whether force and markers tell the same story: where the foot is, which way the load moves, and when it lands."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from checks import showing as show
from checks.force import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.gait.spells import FLAT, Foot, Spell, contact_spells, foot_at, path_at, rate_of
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.study import Study
from schemas.trial import FloatArray, Plate, Trial

#: Common practice: the centre of pressure is uncertain by centimetres below it.
SURE_N = 200.0
#: Own choice: where more of the points lie outside the plate, centre_of_pressure_lies_on_the_plate says so.
OFF_THE_PLATE = 0.05
NOTHING = "no plate and foot to compare: no whole contact, no foot markers, or a centre of pressure off the plate"


def compared(work: Workspace, plate: Plate) -> tuple[FloatArray, Foot, list[Spell]] | None:
    """Centre of pressure (n, 2) m, the carrying foot at the force samples, and the contacts; None if not to be had."""
    spells = contact_spells(plate, rate_of(work.trial), SURE_N)
    foot = work.carrying_foot if spells else None
    if foot is None:
        return None
    point = signals.centre_of_pressure(plate)
    loaded = np.concatenate([np.arange(a, b) for a, b in spells])
    outside = signals.distance_outside(plate.corners, point[loaded])
    if not np.isfinite(outside).any() or np.mean(outside > 0.02) > OFF_THE_PLATE:
        return None
    return point, foot, spells


def along_and_aside(point: FloatArray, foot: Foot) -> tuple[FloatArray, FloatArray]:
    """(n,) m each: place of a point from the toe marker, along the foot (forward positive) and to its right."""
    from_toe, axis = point - foot.toe, foot.axis
    along = np.einsum("ij,ij->i", from_toe, axis)
    return along, from_toe[:, 1] * axis[:, 0] - from_toe[:, 0] * axis[:, 1]


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="On plate {number} the centre of pressure lies {found_m:.2f} m away from the foot that stands there (median "
    "under load): {along_m:+.2f} m along the foot and {aside_m:+.2f} m to its right, seen from the toe marker.",
    expected="The centre of pressure lies under the foot: within {beyond_m:g} m of the line from heel to toes.",
    remedy="Compare the plate's corners and origin with markers laid on them. An offset that is alike in all "
    "trials is a moved plate or a wrong origin; one that changes its sign with the side means exchanged corners or a "
    "moment channel with the wrong polarity; one of a plate's length means exchanged plates. Correct it and "
    "export again.",
    words=("number", "found_m", "along_m", "aside_m"),
    limits={
        "beyond_m": Limit("m", "own choice: half a foot's width; 0.032 m at most on seven plates of three real runners")
    },
)
def centre_of_pressure_lies_under_the_foot(trial: Trial, work: Workspace, *, beyond_m: float = 0.045) -> Looked:
    """The centre of pressure of each plate lies under the foot that stands on it.

    It can lie well within the plate and yet be mirrored, shifted or another plate's; then strike index and joint
    moments are wrong though force and markers are each right. The carrying foot is recognised by its height alone.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for plate in trial.plates:
        if (both := compared(work, plate)) is None:
            continue
        point, foot, spells = both
        loaded = np.concatenate([np.arange(a, b) for a, b in spells])
        along, aside = along_and_aside(point, foot)
        length = np.linalg.norm(foot.heel - foot.toe, axis=1)
        away = np.hypot(np.maximum(0, np.maximum(along - 0.4 * length, -along - length)), aside)[loaded]
        known = loaded[np.isfinite(away)]
        examined += len(known)
        found = float(np.median(away[np.isfinite(away)])) if len(known) else 0.0
        if found > beyond_m:
            medians = {"along_m": float(np.median(along[known])), "aside_m": float(np.median(aside[known]))}
            fault = {"number": plate.number, "found_m": found, **medians, "place": f"plate {plate.number}"}
            typical = known[int(np.argmin(np.abs(away[np.isfinite(away)] - found)))]
            title = "Centre of pressure and foot from above, at a typical moment"
            proof = shown.centre_and_foot([plate], plate, foot, int(typical), beyond_m, title)
            faults.append({**fault, "moment_s": typical / rate_of(trial), "shows": show.picture(proof)})
    return looked(examined, faults) if examined else nothing(NOTHING)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="On plate {number} the centre of pressure moves {found_m:+.3f} m along the foot from 30 to 80 % of contact "
    "(median of {contacts} contacts), so towards the heel.",
    expected="From mid-stance to push-off the load moves towards the toes: by more than {back_m:+g} m along the foot.",
    remedy="The plate is mirrored fore and aft: check the order of its corners, the polarity of the moment "
    "channel about its sideways axis, and the forward axis in the profile. On a treadmill check also that markers and "
    "plate use one forward direction. Correct it and export again.",
    words=("number", "found_m", "contacts"),
    limits={"back_m": Limit("m", "own choice: +0.04 in the demonstration, +0.005 and +0.05 in one real runner")},
)
def load_moves_towards_the_toes(trial: Trial, work: Workspace, *, back_m: float = -0.01) -> Looked:
    """While the foot rolls over, the centre of pressure travels forward under it.

    It is measured from the foot's own toe marker, so that a moving belt does not count. A plate mirrored about the
    place where the foot happens to land shows nowhere else, and turns rearfoot into forefoot strikes.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for plate in trial.plates:
        if (both := compared(work, plate)) is None:
            continue
        point, foot, spells = both
        along, _ = along_and_aside(point, foot)
        whole = [(a, b) for a, b in spells if a > 0 and b < len(along)]
        travels = np.array([mean_near(along, ab, 0.8) - mean_near(along, ab, 0.3) for ab in whole])
        travels = travels[np.isfinite(travels)]
        examined += len(travels)
        if len(travels) and (found := float(np.median(travels))) < back_m:
            fault = {"number": plate.number, "found_m": found, "contacts": len(travels)}
            a, b = whole[0]
            proof = shown.along_the_foot(trial, plate, along, travels, back_m)
            where = {"place": f"plate {plate.number}", "shows": proof}
            faults.append({**fault, "moment_s": (a + b) / 2 / rate_of(trial), **where})
    return looked(examined, faults) if examined else nothing(NOTHING)


def mean_near(values: FloatArray, spell: Spell, share: float) -> float:
    """Mean over a tenth of the spell around ``share`` of it; NaN where nothing is known."""
    a, b = spell
    middle, half = a + share * (b - a), 0.05 * (b - a)
    part = values[int(middle - half) : int(middle + half) + 1]
    part = part[np.isfinite(part)]
    return float(part.mean()) if len(part) else float("nan")


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="In {place} the {marker} is {found_m:.3f} m beyond the edge of the plates at mid-stance; {wrong} of {count} "
    "footfalls are like that.",
    expected="The whole foot stands on the plates: no point of it is more than {beyond_m:g} m beyond their edges.",
    remedy="What the floor beside the plate carried is lost, so this pass cannot be used: send another one in place of "
    "it. If many passes are like that, move the start mark, or check the plate's corners if the runner was surely on "
    "it.",
    words=("marker", "found_m", "wrong", "count"),
    limits={
        "beyond_m": Limit("m", "own choice: the accuracy with which corners are known in a lab, and a sole's edge")
    },
)
def whole_foot_is_on_the_plates(trial: Trial, footfalls: Rows, study: Study, *, beyond_m: float = 0.01) -> Looked:
    """On a runway the whole foot stands on the force plates.

    A foot that is partly on the floor gives a footfall of credible shape with too little force; half of the loss hides
    in the differences between the legs.
    """
    if reason := signals.without_force(trial) or signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    if trial.surface != "runway":
        return nothing("not a runway: on a belt there is no floor beside the plate within reach")
    found = [(row, *_furthest(trial, study, row)) for row in footfalls.records]
    found = [(row, away, marker) for row, away, marker in found if np.isfinite(away)]
    wrong = [(row, away, marker) for row, away, marker in found if away > beyond_m]
    if not wrong:
        return looked(len(found)) if found else nothing("the foot's markers, or the plates' corners, are not known")
    row, away, marker = max(wrong, key=lambda one: one[1])
    fault = {
        "marker": marker.replace("_", " "),
        "found_m": away,
        "wrong": len(wrong),
        "count": len(found),
        "place": signals.footfall_place(row),
        "moment_s": float(row["contact_s"] + row["toe_off_s"]) / 2,
        "shows": shown.beside_the_plates(trial.plates, _at_middle(trial, study, row), marker, beyond_m),
    }
    return looked(len(found), [fault])


def _furthest(trial: Trial, study: Study, footfall: Any) -> tuple[float, str]:
    """The point of the foot that lies furthest beyond all plates at mid-stance, in m, and its name; NaN if unknown."""
    points = _at_middle(trial, study, footfall)
    beyond = {
        name: float(np.min([signals.distance_outside(plate.corners, point)[0] for plate in trial.plates]))
        for name, point in points.items()
    }
    known = {name: away for name, away in beyond.items() if np.isfinite(away)}
    name = max(known, key=lambda n: known[n], default="")
    return known.get(name, float("nan")), name


def _at_middle(trial: Trial, study: Study, footfall: Any) -> dict[str, FloatArray]:
    middle = np.array([(footfall["contact_s"] + footfall["toe_off_s"]) / 2])
    return _outline(trial, study, footfall["side"], middle)


def _outline(trial: Trial, study: Study, side: str, when: FloatArray) -> dict[str, FloatArray]:
    """Name -> (1, 2) m: heel marker, tip of the toes and the metatarsal heads, as far as they are known."""
    foot = foot_at(trial, study.processing, side, when)
    if foot is None:
        return {}
    tip = foot.heel + study.processing.strike_index_toe_fraction * (foot.toe - foot.heel)
    paths = {role: trial.markers.get(f"{role}_{side}") for role in study.processing.marker_events.metatarsal_roles}
    heads = {
        role: path_at(path, trial.marker_rate_hz, when)[:, FLAT] for role, path in paths.items() if path is not None
    }
    return {"heel marker": foot.heel, "tip of the toes": tip, **heads}


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Force tells of the runner's movement {found_ms:.0f} ms {order} than the markers do, by {method}.",
    expected="Force and markers run on one clock: within {allowed_ms:.0f} ms by this method.",
    remedy="Check the trigger between cameras and converter and the delay entered in the recording program; a "
    "frame or a packet lost at the start does the same. Tap a marker on the plate and compare the moment in both. "
    "Correct the delay and export the trial again.",
    words=("found_ms", "order", "method", "allowed_ms"),
    limits={
        "frames": Limit(
            "1",
            "common practice: one marker frame, beside what the method leaves; without that 3 % of clean runs "
            "are reported",
        ),
        "times_uncertainty": Limit("1", "common practice: twice the standard uncertainty that the method states"),
        "delay_ms": Limit(
            "ms",
            "own choice, without pelvis markers; marker events lie -12 to +18 ms from force (Handsaker et al. 2016)",
        ),
    },
)
def force_and_markers_share_one_clock(
    trial: Trial, work: Workspace, *, frames: float = 1.0, times_uncertainty: float = 2.0, delay_ms: float = 30.0
) -> Looked:
    """Markers and force tell of the same movement at the same time.

    A delay between them moves the strike angle up or down its steepest slope and makes joint moments from a force and a
    posture that never were together. The pelvis tells it best, since force accelerates it; without its markers both
    contact and toe-off count, because a delay moves both the same way and a habit of either method does not.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    told = [row for row in work.equipment_readings.records if np.isfinite(row["lag_s"])]
    if told and trial.marker_rate_hz > 0:
        found_ms, examined, method = 1000 * told[0]["lag_s"], len(work.footfalls), "the acceleration of the pelvis"
        allowed_ms = 1000 * (frames / trial.marker_rate_hz + times_uncertainty * told[0]["lag_uncertainty_s"])
    else:
        both = _events_ms(work)
        if both is None:
            return nothing("no pelvis marker, and contact or toe-off was not found by both force and markers")
        (contact_ms, toe_off_ms), examined = both
        found_ms, allowed_ms = -(contact_ms + toe_off_ms) / 2, delay_ms
        method = f"contact ({-contact_ms:+.0f} ms) and toe-off ({-toe_off_ms:+.0f} ms)"
    if abs(found_ms) <= allowed_ms:
        return looked(examined)
    fault = {
        "found_ms": abs(found_ms),
        "order": "later" if found_ms > 0 else "earlier",
        "method": method,
        "allowed_ms": allowed_ms,
        "place": "markers against force",
        **shown.lateness(trial, work, found_ms / 1000, allowed_ms / 1000, SURE_N),
    }
    return looked(examined, [fault])


def _events_ms(work: Workspace) -> tuple[tuple[float, float], int] | None:
    """Mean of contact and of toe-off by markers less by force in ms, and how many pairs; None if either is unknown."""
    rows = work.event_agreement.records
    both = [row for row in rows if row["event_method"] == "markers" and row["reference_method"] == "force"]
    contact, toe_off = (
        _mean_bias_ms([row for row in both if row["event"] == event]) for event in ("contact", "toe_off")
    )
    if not (np.isfinite(contact) and np.isfinite(toe_off)):
        return None
    return (contact, toe_off), sum(row["pair_count"] for row in both)


def _mean_bias_ms(rows: list[Mapping[str, Any]]) -> float:
    """Mean difference of one event over both sides, each side counting as often as it has pairs; NaN without a pair."""
    known = [(row["bias_s"], row["pair_count"]) for row in rows if np.isfinite(row["bias_s"]) and row["pair_count"] > 0]
    if not known:
        return float("nan")
    biases, counts = zip(*known, strict=True)
    return 1000 * float(np.average(biases, weights=counts))
