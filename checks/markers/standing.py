"""Whether a standing trial shows a person who stands, of the size the tables say. Stillness is for ``markers``."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import Any

import numpy as np

from checks import showing as show
from checks.evidence import Panel
from checks.markers import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.joints import anatomy as landmarks
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.study import Study
from schemas.trial import FloatArray, Trial

_NOT_STANDING = "not a standing trial"
#: Hips outside this are in a wrong unit or on a wrong axis, which positions_are_in_the_stated_unit tells.
_HIPS_M = (0.35, 1.6)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The {side} knee is bent by {bend_deg:.0f} degrees, from hip over knee to ankle marker.",
    expected="In a standing trial the knees are nearly straight: bent by no more than {bent_deg:g} degrees.",
    remedy="If the runner sat, squatted or was on the way into the posture, cut the trial to the part in which the "
    "runner stands upright, or record it again. If the runner stood, look whether the knee marker sits on the "
    "epicondyle and carries its own label.",
    words=("side", "bend_deg"),
    limits={"bent_deg": Limit("deg", "common practice: markers at the side of a straight leg show 5 to 15 degrees")},
)
def standing_knees_are_straight(trial: Trial, work: Workspace, *, bent_deg: float = 25.0) -> Looked:
    """The runner stands upright on straight legs in a static calibration trial (standing).

    The posture is the zero of knee and hip angles: each degree of bend in it is missing from every angle of the
    session.
    """
    if trial.kind != "standing":
        return nothing(_NOT_STANDING)
    faults, examined = [], 0
    for side in signals.SIDES:
        hip, knee, ankle, _ = (f"{role}_{side}" for role in landmarks.LEG)
        if {*landmarks.LEG[:3]} & work.anatomy.mislabelled(side):
            continue
        thigh, shank = work.anatomy.vector(hip, knee), work.anatomy.vector(knee, ankle)
        if thigh is None or shank is None or not np.linalg.norm(thigh) * np.linalg.norm(shank) > 0:
            continue
        examined += 1
        cosine = thigh @ shank / (np.linalg.norm(thigh) * np.linalg.norm(shank))
        bend = float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))
        if bend > bent_deg:
            faults.append(
                {
                    "side": side,
                    "bend_deg": bend,
                    "place": f"{side} knee",
                    "moment_s": 0.0,
                    "shows": shown.body(
                        show.number(f"Bend of the {side} knee", "deg", bend, high=bent_deg),
                        trial,
                        above=False,
                        title="Both legs from the side",
                    ),
                }
            )
    return looked(examined, faults) if examined else nothing("no leg with hip, knee and ankle markers was seen")


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The {higher} foot stands {above_mm:.0f} mm above the other, the mean of {pairs} pairs of foot markers.",
    expected="Both feet stand on the floor at one height, within {level_mm:g} mm.",
    remedy="Look whether the runner stood on one leg, on an edge, or with one heel raised. Cut the trial to a part in "
    "which both feet are flat on the floor, or record it again.",
    words=("higher", "above_mm", "pairs"),
    limits={"level_mm": Limit("mm", "common practice; 3 mm in one real standing trial (CC BY 4.0)")},
)
def standing_feet_are_level(trial: Trial, work: Workspace, *, level_mm: float = 25.0) -> Looked:
    """Both feet are on the floor in a static calibration trial (standing).

    The strike angle is counted from the standing foot; a heel raised by 3 cm shifts it by 9 degrees, as much as lies
    between a landing on the heel and one on the forefoot.
    """
    if trial.kind != "standing":
        return nothing(_NOT_STANDING)
    heights = {
        role: [work.anatomy.median_height(f"{role}_{side}") for side in signals.SIDES]
        for role in {landmarks.HEEL, *landmarks.FOREFOOT}
    }
    above = [right - left for left, right in heights.values() if left is not None and right is not None]
    if not above:
        return nothing("no foot marker was seen on both sides")
    mean = 1000 * float(np.mean(above))
    if abs(mean) <= level_mm:
        return looked(len(above))
    side = "right" if mean > 0 else "left"
    title = "How much higher the right foot stands than the left, mean of all pairs of markers"
    limit = show.number(title, "m", mean / 1000, low=-level_mm / 1000, high=level_mm / 1000)
    fault = {
        "higher": side,
        "above_mm": abs(mean),
        "pairs": len(above),
        "place": f"{side} foot",
        "moment_s": 0.0,
        "shows": shown.body(limit, trial, above=False, title="Both feet from the side", roles=shown.FOOT),
    }
    return looked(len(above), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The hip markers are at {height_m:.3f} m, which is {ratio:.2f} of the stature of {stature_m:g} m in "
    "participants.csv.",
    expected="The greater trochanter is at {low:g} to {high:g} of the stature when standing, shoes included.",
    remedy="Measure the stature again or look it up, and look whether this is the trial of that runner. If both are "
    "right, compare a known length with the recording: the calibration may be off.",
    words=("height_m", "ratio", "stature_m"),
    limits={
        "low": Limit("1", "from memory: 0.530 after Drillis & Contini 1966, and three times a spread of 0.015"),
        "high": Limit("1", "from memory: as below, and a sole of 4 cm"),
    },
)
def hip_height_fits_the_stature(trial: Trial, work: Workspace, *, low: float = 0.48, high: float = 0.60) -> Looked:
    """The height of the hips and the stature in the tables belong to one person.

    Two runners whose files were exchanged, a stature typed wrongly and a calibration with the wrong wand all show here
    and nowhere else.
    """
    height = _hip_height(work)
    if trial.kind != "standing":
        return nothing(_NOT_STANDING)
    if height is None or not trial.stature_m:
        return nothing("no stature in the tables, or no hip marker at the height of a hip")
    ratio = height / trial.stature_m
    if low <= ratio <= high:
        return looked(1)
    fault = {"height_m": height, "ratio": ratio, "stature_m": trial.stature_m, "place": "height of the hips"}
    limit = show.number("Height of the hips as a part of stature", "1", ratio, low=low, high=high)
    return looked(1, [fault | _legs_drawn(trial, limit)])


def _hip_height(work: Workspace) -> float | None:
    """m: mean median height of both trochanters; None if one is missing, or if no person's hips are at that height."""
    heights = [work.anatomy.median_height(f"{landmarks.LEG[0]}_{side}") for side in signals.SIDES]
    known = [h for h in heights if h is not None]
    mean = float(np.mean(known)) if len(known) == len(heights) else 0.0
    return mean if _HIPS_M[0] < mean < _HIPS_M[1] else None


def _legs_drawn(trial: Trial, limit: Panel) -> dict[str, Any]:
    return {"moment_s": 0.0, "shows": shown.body(limit, trial, above=False, title="Both legs from the side")}


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="The hip markers are at {height_m:.3f} m and participants.csv gives a leg length of {leg_m:g} m: "
    "{differ_mm:+.0f} mm.",
    expected="The greater trochanter stands at the leg length, at most {below_mm:g} mm lower and "
    "{above_mm:g} mm higher.",
    remedy="Measure the leg again from the greater trochanter to the ground, unshod, and look whether this is the "
    "trial of that runner. Leg stiffness divides by this length.",
    words=("height_m", "leg_m", "differ_mm"),
    limits={
        "below_mm": Limit("mm", "common practice: a tape and a marker find the trochanter within 3 cm of each other"),
        "above_mm": Limit("mm", "common practice: the same, and a sole of 4 cm"),
    },
)
def leg_length_is_that_of_the_markers(
    trial: Trial, work: Workspace, *, below_mm: float = 45.0, above_mm: float = 80.0
) -> Looked:
    """The leg length in the tables is that of the legs in the recording.

    A leg of 0.9 m written as 0.99 m changes leg stiffness by a tenth for every footfall of the runner, and no single
    trial shows why.
    """
    height = _hip_height(work)
    if trial.kind != "standing":
        return nothing(_NOT_STANDING)
    if height is None or not trial.leg_length_m:
        return nothing("no leg length in the tables, or no hip marker at the height of a hip")
    differ = 1000 * (height - trial.leg_length_m)
    if -below_mm <= differ <= above_mm:
        return looked(1)
    fault = {"height_m": height, "leg_m": trial.leg_length_m, "differ_mm": differ, "place": "leg length"}
    limit = show.number("Height of the hips, more than the leg length", "mm", differ, low=-below_mm, high=above_mm)
    return looked(1, [fault | _legs_drawn(trial, limit)])


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="From {first} to {second} it is {left_mm:.0f} mm on the left and {right_mm:.0f} mm on the right leg; lengths "
    "like that: {count}.",
    expected="Lengths of left and right leg differ by no more than {foot_mm:g} mm on the foot and {leg_mm:g} mm "
    "above it.",
    remedy="Look at both legs which of the markers sits beside its landmark, and whether two labels of one leg are "
    "exchanged. A runner may differ this much; then keep the trial and say so in the comment column.",
    words=("first", "second", "left_mm", "right_mm", "count"),
    limits={
        "foot_mm": Limit("mm", "common practice; at most 7 mm in one real standing trial (CC BY 4.0)"),
        "leg_mm": Limit("mm", "common practice: palpation finds knee and hip landmarks within 1 to 2 cm"),
    },
)
def left_and_right_leg_are_alike(
    trial: Trial, work: Workspace, *, foot_mm: float = 20.0, leg_mm: float = 35.0
) -> Looked:
    """Both legs of a person have nearly the same lengths in a static calibration trial (standing).

    A marker a few centimetres beside its landmark shows on one side only, since nobody errs the same way twice.
    """
    if trial.kind != "standing":
        return nothing(_NOT_STANDING)
    pairs = [(*pair, foot_mm) for pair in combinations(signals.FOOT, 2)]
    pairs += [(first, second, leg_mm) for first, second in pairwise(landmarks.LEG[:3])]
    unlike: list[tuple[float, dict[str, Any]]] = []
    examined = 0
    mislabelled: set[str] = set().union(*(work.anatomy.mislabelled(side) for side in signals.SIDES))
    for first, second, allowed_mm in pairs:
        if {first, second} & mislabelled:
            continue
        lines = [work.anatomy.vector(f"{first}_{side}", f"{second}_{side}") for side in signals.SIDES]
        lengths = [1000 * float(np.linalg.norm(line)) for line in lines if line is not None]
        if len(lengths) < 2:
            continue
        examined += 1
        if abs(lengths[0] - lengths[1]) > allowed_mm:
            told = {"first": first, "second": second, "left_mm": lengths[0], "right_mm": lengths[1]}
            unlike.append((abs(lengths[0] - lengths[1]) / allowed_mm, told))
    if not unlike:
        return looked(examined) if examined else nothing("no segment was seen on both sides")
    _, worst = max(unlike, key=lambda found: found[0])
    first, second = worst["first"], worst["second"]
    off, allowed = worst["left_mm"] - worst["right_mm"], next(mm for *pair, mm in pairs if pair == [first, second])
    limit = show.number("Length on the left leg, more than on the right", "mm", off, low=-allowed, high=allowed)
    drawn = _legs_drawn(trial, limit)
    return looked(examined, [worst | drawn | {"count": len(unlike), "place": f"{first} to {second}"}])


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="Marker {marker} trembles by {noise_found_mm:.1f} mm from frame to frame, and {count} of {markers} markers "
    "tremble too much.",
    expected="On a runner who stands still every marker is known within {noise_mm:g} mm from frame to frame (standard "
    "deviation).",
    remedy="Calibrate the cameras anew and look for sunlight, reflections, a camera that was touched, and markers seen "
    "by two cameras only. The trial is kept; its running trials are noisier too.",
    words=("marker", "noise_found_mm", "count", "markers"),
    limits={"noise_mm": Limit("mm", "common practice; at most 0.25 mm in one real standing trial (CC BY 4.0, 150 Hz)")},
)
def standing_markers_are_quiet(trial: Trial, study: Study, *, noise_mm: float = 1.0) -> Looked:
    """The cameras know where a resting marker is.

    Noise is best seen where nothing moves. In running it is multiplied by the square of the rate on its way to
    accelerations and joint moments.
    """
    if trial.kind != "standing":
        return nothing(_NOT_STANDING)
    noise = {role: 1000 * value for role, path in trial.markers.items() if (value := _noise(path)) is not None}
    if not noise:
        return nothing("no marker is seen in four frames in a row")
    loud = [role for role in noise if noise[role] > noise_mm]
    if not loud:
        return looked(len(noise))
    role = max(loud, key=lambda r: noise[r])
    fault = {
        "marker": signals.named(trial, study, role),
        "noise_found_mm": noise[role],
        "count": len(loud),
        "markers": len(noise),
        "place": signals.few(loud, "markers"),
        "moment_s": 0.0,
        "shows": shown.noise(noise, noise_mm),
    }
    return looked(len(noise), [fault])


def _noise(path: FloatArray) -> float | None:
    """m: standard deviation of a position between neighbouring frames, root mean square of the three directions.

    The third difference of noise of SD s has SD s times the square root of 20 (1 + 9 + 9 + 1); sway is gone from it.
    The median absolute value times 1.4826 is the SD of normal noise that single jumps do not change.
    """
    third = np.diff(path, 3, axis=0)
    third = third[np.isfinite(third).all(axis=1)]
    if not len(third):
        return None
    return float(np.sqrt(np.mean(np.square(1.4826 * np.median(np.abs(third), axis=0) / np.sqrt(20.0)))))
