"""Whether each label is on its landmark: inside and outside, front and back, above and below, as when standing.

Exchanges that last for the whole trial, which no jump or gap betrays. Those that come and go are for ``markers``.
"""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import Any

import numpy as np

from checks import showing as show
from checks.evidence import Picture
from checks.markers import shown
from checks.markers.against_standing import elsewhere_fault, scale_fault
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.joints import anatomy as landmarks
from pipelines.science.joints.clusters import beyond_its_segment, nearer_the_other_leg
from pipelines.science.signals import measures as signals
from pipelines.science.signals.middle import known_median
from pipelines.science.workspace import Workspace
from schemas.study import Study
from schemas.trial import FORWARD, RIGHT, UP, Posture, Trial


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{outer} lies {beyond_mm:.0f} mm on the inner side of {inner}, in the median of the trial.",
    expected="On each leg the outer marker of a foot or joint lies on the outer side of the inner one, give or take "
    "{crossing_mm:g} mm.",
    remedy="Exchange the labels of {outer} and {inner} in the whole trial and export again. If both sit where their "
    "labels say, one of them was stuck on the wrong side of the leg: leave the trial out.",
    words=("outer", "beyond_mm", "inner"),
    limits={"crossing_mm": Limit("mm", "common practice: at least 40 mm lie between the two, so this is only noise")},
)
def inner_and_outer_markers_are_on_their_sides(
    trial: Trial, work: Workspace, study: Study, *, crossing_mm: float = 5.0
) -> Looked:
    """Markers of the inner and outer side of a foot, an ankle or a knee are not exchanged.

    Exchanged throughout, nothing jumps and every distance is kept, and yet the axis of the joint points the other way:
    turning and sideways angles change their sign.
    """
    way = work.anatomy.facing
    faults, examined = [], 0
    for side in signals.SIDES:
        for pair in landmarks.OUTER_AND_INNER:
            examined += work.anatomy.vector(*(f"{role}_{side}" for role in pair)) is not None
        for outer, inner, beyond_m in work.anatomy.outer_inside(side):
            if 1000 * beyond_m > crossing_mm:
                limit = {"high" if side == "left" else "low": (1 if side == "left" else -1) * crossing_mm / 1000}
                proof = shown.beside(work, inner, outer, axis=RIGHT, **limit)
                faults.append(_pair_fault(trial, study, proof, outer=outer, inner=inner, beyond_mm=1000 * beyond_m))
    if way.right is None or not examined:
        return nothing("no inner and outer marker of one leg, or no marker on both sides of the body")
    return looked(examined, faults)


def _pair_fault(trial: Trial, study: Study, shows: Picture, *, beyond_mm: float, **roles: str) -> dict[str, Any]:
    """Two markers the wrong way round: their names for the message, the place, and what is to be drawn."""
    first, second = roles.values()
    return {
        **{name: signals.named(trial, study, role) for name, role in roles.items()},
        "beyond_mm": beyond_mm,
        "place": f"{first} and {second}",
        "moment_s": 0.0,
        "shows": shows,
    }


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{heel} lies {beyond_mm:.0f} mm ahead of {toes}, in the median of the trial.",
    expected="The heel of each foot lies behind its toes, seen the way the pelvis faces.",
    remedy="Exchange the labels of {heel} and {toes} in the whole trial and export again. If the heel is right, look "
    "whether front and back of the pelvis are exchanged.",
    words=("heel", "beyond_mm", "toes"),
    limits={"crossing_mm": Limit("mm", "common practice: a foot is 150 mm from heel to ball, so this is only noise")},
)
def toes_are_ahead_of_heels(trial: Trial, work: Workspace, study: Study, *, crossing_mm: float = 10.0) -> Looked:
    """On each foot the markers of the forefoot lie ahead of the heel's.

    Front and back exchanged for the whole trial turn the foot's angle by half a turn or, with a marker at the side of
    the foot, by a few degrees that look like another way of landing.
    """
    way = work.anatomy.facing
    if way.pelvis is None and len(way.feet) < 2:
        return nothing("neither the pelvis nor two feet show which way the runner faces")
    faults = []
    for side in way.feet:
        found = work.anatomy.heel_ahead_of_toes(side)
        if found and 1000 * found[2] > crossing_mm:
            proof = shown.beside(work, found[1], found[0], axis=FORWARD, high=crossing_mm / 1000)
            faults.append(_pair_fault(trial, study, proof, heel=found[0], toes=found[1], beyond_mm=1000 * found[2]))
    return looked(len(way.feet), faults) if way.feet else nothing("no foot with heel and forefoot markers was seen")


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{upper} lies {beyond_mm:.0f} mm below {lower}, in the median of the trial.",
    expected="From the hip down every marker of a leg lies below the one before, give or take {crossing_mm:g} mm.",
    remedy="Exchange the labels of {upper} and {lower} in the whole trial and export again. If many markers are named "
    "here, the vertical axis in the profile is not the one of this recording.",
    words=("upper", "beyond_mm", "lower"),
    limits={"crossing_mm": Limit("mm", "common practice: the least distance, ankle to foot, is 20 mm when standing")},
)
def leg_markers_are_in_order_of_height(
    trial: Trial, work: Workspace, study: Study, *, crossing_mm: float = 10.0
) -> Looked:
    """Hip above knee, knee above ankle, ankle above the foot, while standing and in the middle of running.

    Two labels of one leg exchanged throughout give segments of another length and angles that are not angles.
    """
    faults, examined = [], 0
    for side in signals.SIDES:
        heights = [work.anatomy.median_height(f"{role}_{side}") for role in landmarks.LEG]
        examined += sum(None not in pair for pair in pairwise(heights))
        for upper, lower, beyond_m in work.anatomy.upper_below(side):
            if 1000 * beyond_m > crossing_mm:
                proof = shown.beside(work, lower, upper, axis=UP, low=-crossing_mm / 1000)
                faults.append(_pair_fault(trial, study, proof, upper=upper, lower=lower, beyond_mm=1000 * beyond_m))
    return looked(examined, faults) if examined else nothing("no two markers of one leg were seen")


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Markers {first} and {second} are no further than {nearest_mm:.1f} mm apart in {frames} of {seen_frames} "
    "frames, from frame {frame} on.",
    expected="The centres of two markers are at least {apart_mm:g} mm apart.",
    remedy="Go to frame {frame} in the labelling step: one of the two carries the other's label, or one ball was "
    "reconstructed twice. Delete the wrong one, give the label to the right ball and export again.",
    words=("first", "second", "nearest_mm", "frames", "seen_frames", "frame"),
    limits={
        "apart_mm": Limit("mm", "common practice: markers are balls of 9 mm or more, which cannot lie in each other"),
        "longest_s": Limit("s", "common practice: two balls that touch in passing are seen as one for an instant"),
    },
)
def no_two_markers_are_at_one_place(
    trial: Trial, study: Study, *, apart_mm: float = 4.0, longest_s: float = 0.02
) -> Looked:
    """Two labels are never at the same place for longer than an instant.

    One ball with two labels stands in for a landmark that nobody saw, and the segment between them has no length.
    """
    faults, examined = [], 0
    for first, second in combinations(trial.markers, 2):
        apart = signals.distance(trial.markers, first, second)
        if apart is None:
            continue
        known, near = np.isfinite(apart), 1000 * apart < apart_mm
        examined += int(known.sum())
        if near.sum() > longest_s * (trial.marker_rate_hz or 1.0):
            frame = int(np.flatnonzero(near)[0])
            proof = shown.apart(trial, first, second, frame / (trial.marker_rate_hz or 1.0), within=apart_mm / 1000)
            faults.append(
                _pair_fault(trial, study, proof, first=first, second=second, beyond_mm=0.0)
                | {"nearest_mm": 1000 * float(apart[near].max()), "frames": int(near.sum())}
                | {"seen_frames": int(known.sum()), "frame": frame + 1}
                | {"moment_s": frame / (trial.marker_rate_hz or 1.0)}
            )
    return looked(examined, faults) if examined else nothing("no two markers were seen together")


_LENGTHS = (  # markers of one leg that a rigid segment holds together, and which limit they have
    (*combinations(signals.FOOT, 2),),
    (signals.SHANK,),
    ((landmarks.LEG[0], landmarks.LEG[1]),),
)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{what}.",
    expected="Markers of one segment lie to each other as in the standing trial, within {allowed_mm:g} mm.",
    remedy="{what_to_do}.",
    words=("what", "allowed_mm", "what_to_do"),
    limits={
        "foot_mm": Limit(
            "mm", "common practice; measured in one real run (CC BY 4.0, 150 Hz): at most 9 mm on either foot"
        ),
        "shank_mm": Limit("mm", "common practice: skin over the knee slides; 5 mm in the same run"),
        "thigh_mm": Limit(
            "mm", "common practice: skin over the trochanter slides by 20 mm and more when the hip bends"
        ),
        "cluster_mm": Limit(
            "mm", "common practice; the clusters of one real run (CC BY 4.0) leave their shape by 0.4 to 2.5 mm"
        ),
        "whole_percent": Limit(
            "%",
            "own choice; all lengths are 1.2 and 1.4 % shorter than standing in two real runs, 0.2 % off in simulated",
        ),
        "segment_mm": Limit("mm", "own choice; the clusters of the same run lie between the ends of their segments"),
    },
)
def segment_lengths_are_those_of_the_standing_trial(
    trial: Trial,
    work: Workspace,
    posture: Posture | None,
    study: Study,
    *,
    foot_mm: float = 15.0,
    shank_mm: float = 35.0,
    thigh_mm: float = 60.0,
    cluster_mm: float = 8.0,
    segment_mm: float = 40.0,
    whole_percent: float = 3.5,
) -> Looked:
    """Segments are as long, and clusters of the shape, as in the static calibration trial of the same footwear.

    The standing posture is the zero of every angle. A heel marker stuck on again 1 cm higher shifts the strike angle by
    3 degrees, and nothing in either trial shows it; a length shows it where the marker also moved along the foot.
    """
    if posture is None or trial.kind != "running":
        return nothing("not a running trial with a standing trial")
    faults, examined = [], 0
    lengths: list[tuple[float, float]] = []
    for side in signals.SIDES:
        told = work.anatomy.mislabelled(side)
        for pairs, allowed_mm in zip(_LENGTHS, (foot_mm, shank_mm, thigh_mm), strict=True):
            named = [(f"{a}_{side}", f"{b}_{side}") for a, b in pairs if not {a, b} & told]
            changes = {pair: change for pair in named if (change := _change(trial, posture, *pair)) is not None}
            examined += len(changes)
            lengths += [change for pair, change in changes.items() if not set(pair) & set(trial.carried)]
            wrong = {pair: change for pair, change in changes.items() if 1000 * abs(change[0] - change[1]) > allowed_mm}
            if wrong:
                faults.append(_length_fault(trial, study, posture, wrong, changes, allowed_mm))
    if not faults and (fault := scale_fault(posture, lengths, whole_percent)):
        faults.append(fault)
    for cluster, misfit in trial.misfits_m.items():
        known = 1000 * misfit[np.isfinite(misfit)]
        examined += len(known)
        if len(known) and np.median(known) > cluster_mm:
            faults.append(_cluster_fault(trial, posture, cluster, float(np.median(known)), cluster_mm))
        elif (beyond := beyond_its_segment(trial, posture, cluster)) > segment_mm:
            place = f"{beyond:.0f} mm beyond both ends of the segment whose landmarks they carry"
            faults.append(elsewhere_fault(trial, posture, cluster, place, segment_mm, beyond))
        elif nearer_the_other_leg(trial, posture, cluster):
            place = "nearer to the same landmarks of the other leg than to those that they carry"
            faults.append(elsewhere_fault(trial, posture, cluster, place, segment_mm))
    return looked(examined, faults) if examined else nothing("no two markers of one segment are in both trials")


def _cluster_fault(trial: Trial, posture: Posture, cluster: str, found_mm: float, allowed_mm: float) -> dict[str, Any]:
    carried = ", ".join(role for role, by in trial.carried.items() if by == cluster)
    return {
        "what": f"The markers of cluster {cluster} lie {found_mm:.0f} mm off the shape that they have in the "
        f"standing trial {posture.trial_id} (root mean square, median of this trial); it carries {carried}",
        "allowed_mm": allowed_mm,
        "what_to_do": "If one of them was stuck on again or two labels are exchanged, correct the labels and export "
        "again, or send a standing trial recorded after the change; else leave the trial out",
        "place": f"cluster {cluster}",
        "shows": shown.misfit(trial, cluster, allowed_mm),
    }


def _change(trial: Trial, posture: Posture, first: str, second: str) -> tuple[float, float] | None:
    """Length in the trial and in the standing trial, m; None where one of them is not known."""
    apart = signals.distance(trial.markers, first, second)
    a, b = posture.markers.get(first), posture.markers.get(second)
    if apart is None or a is None or b is None or not np.isfinite([a, b]).all():
        return None
    return known_median(apart), float(np.linalg.norm(a - b))


def _length_fault(
    trial: Trial,
    study: Study,
    posture: Posture,
    wrong: dict[tuple[str, str], tuple[float, float]],
    lengths: dict[tuple[str, str], tuple[float, float]],
    allowed_mm: float,
) -> dict[str, Any]:
    first, second = max(wrong, key=lambda pair: abs(wrong[pair][0] - wrong[pair][1]))
    common = set.intersection(*(set(pair) for pair in wrong)) if len(wrong) > 1 else set()
    moved = signals.named(trial, study, common.pop()) if len(common) == 1 else None
    blame = f"{moved} was stuck on again" if moved else "one of the two was stuck on again"
    found, stood = (1000 * length for length in wrong[first, second])
    all_to = f", all of them to {moved}" if moved else ""
    proof = shown.apart(trial, first, second, None, usual=stood / 1000, within=allowed_mm / 1000)
    return {
        "what": f"From {signals.named(trial, study, first)} to {signals.named(trial, study, second)} it is "
        f"{found:.0f} mm in the median of this trial and {stood:.0f} mm in the standing trial {posture.trial_id}; "
        f"{len(wrong)} of {len(lengths)} lengths of the segment differ{all_to}",
        "allowed_mm": allowed_mm,
        "what_to_do": f"If {blame} between the two trials, this trial needs a standing trial of its own: send one "
        "recorded after the change, or leave the trial out. If a label is wrong in one of the two, correct it there "
        "and export again",
        "place": f"{first} to {second}",
        "moment_s": show.worst_at(proof, 0.0),
        "shows": proof,
    }
