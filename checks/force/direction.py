"""Whether the horizontal force points where it should, and is as large as it can be.

Whether the vertical force points up is for ``force``.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from checks import showing as show
from checks.force import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.events.ground import Ground
from pipelines.science.gait.spells import Spell, contact_spells, rate_of
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas import mechanics
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Plate, Trial

#: Common practice: the direction of a smaller force is uncertain.
LOADED_N = 100.0
#: Common practice: the centre of pressure is uncertain by centimetres below it.
SURE_N = 200.0
_NOT_LOADED = "no plate carried a whole contact"


def _whole_contacts(trial: Trial, plate: Plate) -> list[Spell]:
    """Contacts the plate shows from start to end, with force known and pointing up."""
    spells = contact_spells(plate, rate_of(trial), LOADED_N)
    whole = [(a, b) for a, b in spells if a > 0 and b < len(plate.force) and np.isfinite(plate.force[a:b]).all()]
    return [(a, b) for a, b in whole if plate.force[a:b, UP].mean() > 0]


def _loads(trial: Trial) -> Iterator[tuple[Plate, int, FloatArray]]:
    """Each plate with whole contacts, how many samples these have, and (3,) N: their root mean square by component."""
    for plate in trial.plates:
        if spells := _whole_contacts(trial, plate):
            force = np.concatenate([np.asarray(plate.force[a:b], float) for a, b in spells])
            yield plate, len(force), np.asarray(np.sqrt(np.mean(force**2, axis=0)))


def _sizes(trial: Trial, plate: Plate) -> list[FloatArray]:
    """Of each whole contact (3,) N: root mean square by component."""
    squares = np.asarray(plate.force, float) ** 2
    return [np.asarray(np.sqrt(squares[a:b].mean(axis=0))) for a, b in _whole_contacts(trial, plate)]


def _rise(force: FloatArray) -> float:
    """Of one contact (n, 3): fore-aft force of its second half less that of its first, as part of the vertical one."""
    half = len(force) // 2
    return float((force[half:, FORWARD].sum() - force[:half, FORWARD].sum()) / max(force[:, UP].sum(), 1e-9))


def _strongest(trial: Trial, plate: Plate, component: int) -> float:
    """When, in a whole contact, the component is largest, s."""
    spells = _whole_contacts(trial, plate)
    places = [a + int(np.argmax(np.abs(plate.force[a:b, component]))) for a, b in spells]
    return max(places, key=lambda i: abs(plate.force[i, component])) / rate_of(trial)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="On plate {number} the fore-aft force pushes in the first half of contact and brakes in the second: its mean "
    "goes from {early_n:+.0f} N to {late_n:+.0f} N.",
    expected="A foot brakes first and pushes later: in the study's axes fore-aft force goes from negative to positive.",
    remedy="Check in the profile which lab axis points forward, and whether this runner came the other way. If only "
    "one plate is like this, it lies turned: check the order of its corners, and the polarity of its fore-aft channel. "
    "Some programs write the force on the plate instead of the force on the runner. Correct it and export again.",
    words=("number", "early_n", "late_n"),
    limits={"turned_fraction": Limit("1", "own choice: difference of half impulses; running has +0.08 to +0.10")},
)
def foot_brakes_before_it_pushes(trial: Trial, *, turned_fraction: float = 0.02) -> Looked:
    """Fore-aft force brakes in the first half of contact and drives in the second.

    With its sign turned, braking impulse is called propulsion and both are still of a credible size. Halves are
    compared with each other, so that a slope, a gain of speed or an offset does not look like a turned sign.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for plate in trial.plates:
        spells = _whole_contacts(trial, plate)
        examined += sum(b - a for a, b in spells)
        if not spells:
            continue
        early = np.concatenate([plate.force[a : (a + b) // 2] for a, b in spells])
        late = np.concatenate([plate.force[(a + b) // 2 : b] for a, b in spells])
        rise = late[:, FORWARD].sum() - early[:, FORWARD].sum()
        if rise < -turned_fraction * (late[:, UP].sum() + early[:, UP].sum()):
            means = {"early_n": float(early[:, FORWARD].mean()), "late_n": float(late[:, FORWARD].mean())}
            when = _strongest(trial, plate, FORWARD)
            limit = shown.contacts(
                "Fore-aft impulse of the second half of contact less that of the first, as part of the vertical one",
                "1",
                [_rise(plate.force[a:b]) for a, b in spells],
                low=-turned_fraction,
            )
            proof = shown.by_contact(trial, plate, limit, [FORWARD], when)
            place = {"moment_s": when, "place": f"plate {plate.number}", "shows": proof}
            faults.append({"number": plate.number, **means, **place})
    return looked(examined, faults) if examined else nothing(_NOT_LOADED)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="On plate {number} the sideways force is {ratio_found:.1f} times the fore-aft force ({sideways_n:.0f} N and "
    "{fore_aft_n:.0f} N, root mean square under load).",
    expected="A runner's sideways force is smaller than the fore-aft force: at most {ratio:g} times as large.",
    remedy="The two horizontal channels are exchanged, or the plate's corners are a quarter turn off. Compare the "
    "order of FORCE_PLATFORM:CHANNEL and CORNERS with the plate's drawing: x runs from corner 2 to 1, y from corner 4 "
    "to 1. Correct it and export again.",
    words=("number", "ratio_found", "sideways_n", "fore_aft_n"),
    limits={"ratio": Limit("1", "own choice: about 0.2 in the demonstration, 0.13 and 0.35 in one real runner")},
)
def sideways_force_is_the_smallest(trial: Trial, *, ratio: float = 1.0) -> Looked:
    """Sideways force is smaller than fore-aft force.

    Exchanged channels turn sideways force into braking, of a size nobody questions, and bend the centre of pressure
    and every joint moment.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for plate, samples, size in _loads(trial):
        examined += samples
        if size[RIGHT] > ratio * size[FORWARD]:
            found = {"sideways_n": size[RIGHT], "fore_aft_n": size[FORWARD], "number": plate.number}
            found |= {"ratio_found": min(99.0, size[RIGHT] / max(size[FORWARD], 1e-9))}
            when = _strongest(trial, plate, RIGHT)
            limit = shown.contacts(
                "Sideways force as a multiple of fore-aft force, root mean square of each contact",
                "1",
                [min(99.0, size[RIGHT] / max(size[FORWARD], 1e-9)) for size in _sizes(trial, plate)],
                high=ratio,
            )
            proof = shown.by_contact(trial, plate, limit, [RIGHT, FORWARD], when)
            faults.append({**found, "moment_s": when, "place": f"plate {plate.number}", "shows": proof})
    return looked(examined, faults) if examined else nothing(_NOT_LOADED)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The force on plate {number} leans {found_deg:.0f} degrees from the vertical over the contact: {level_n:.0f} "
    "N horizontally to {up_n:.0f} N vertically, root mean square.",
    expected="At steady speed the ground pushes nearly straight up: less than {lean_deg:g} degrees from the vertical.",
    remedy="Compare the sensitivity of each channel of this plate with its calibration sheet, horizontal and vertical: "
    "amplifiers often have one range for Fx and Fy and another for Fz. If the gains are right, check that no "
    "horizontal channel stands in the place of the vertical one. Correct it and export again.",
    words=("number", "found_deg", "level_n", "up_n"),
    limits={"lean_deg": Limit("deg", "own choice: 5 to 7 deg in the demonstration and in one real runner")},
)
def ground_pushes_nearly_straight_up(trial: Trial, *, lean_deg: float = 18.0) -> Looked:
    """The ground's force on a runner at steady speed leans little from the vertical.

    Wrong gains of the horizontal channels scale braking, propulsion and joint moments and leave everything that is
    vertical as it was.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for plate, samples, size in _loads(trial):
        examined += samples
        level = float(np.hypot(size[FORWARD], size[RIGHT]))
        found = float(np.degrees(np.arctan2(level, size[UP])))
        if found > lean_deg:
            fault = {"number": plate.number, "found_deg": found, "level_n": level, "up_n": float(size[UP])}
            wide = FORWARD if size[FORWARD] >= size[RIGHT] else RIGHT
            when = _strongest(trial, plate, wide)
            limit = shown.contacts(
                "Lean of the force from the vertical in each contact",
                "deg",
                [np.degrees(np.arctan2(np.hypot(s[FORWARD], s[RIGHT]), s[UP])) for s in _sizes(trial, plate)],
                high=lean_deg,
            )
            proof = shown.by_contact(trial, plate, limit, [UP, wide], when)
            faults.append({**fault, "moment_s": when, "place": f"plate {plate.number}", "shows": proof})
    return looked(examined, faults) if examined else nothing(_NOT_LOADED)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="In {wrong} of {footfalls} footfalls the foot twists plate {number} by more than {twist_nm:g} N.m; the median "
    "of their largest free moments is {twist_found:.0f} N.m.",
    expected="A running foot twists the ground by less than {twist_nm:g} N.m in most footfalls.",
    remedy="Check the moment about the plate's vertical axis: unit (N.m or N.mm) and sensitivity in the export, and on "
    "a plate with eight channels that no two horizontal channels are exchanged. Correct it and export again.",
    words=("wrong", "footfalls", "number", "twist_found"),
    limits={
        "twist_nm": Limit(
            "N.m",
            "own choice; medians of 7 to 30 N.m in two real runners after a 50 Hz filter, 3 N.m in simulated ones",
        ),
        "share_percent": Limit("%", "own choice: a belt's vibration makes single footfalls look worse than they are"),
    },
)
def free_moment_is_credible(
    trial: Trial, work: Workspace, *, twist_nm: float = 40.0, share_percent: float = 50.0
) -> Looked:
    """The moment about the vertical through the centre of pressure is one that a shoe can hold.

    The centre of pressure does not depend on it, so a wrong gain there stays unseen until somebody looks at the
    rotation of the leg. It is judged as outcomes see it, from filtered force. People twist the ground by 7 to 30 N.m,
    so a gain that is five times too large stays within the limit where feet twist little.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    peaks = _free_moments(work.contacts.ground)
    examined = sum(map(len, peaks.values()))
    faults = []
    for plate in trial.plates:
        own = peaks.get(plate.number, [])
        beyond = [(twist, moment) for twist, moment in own if twist > twist_nm]
        if own and 100 * len(beyond) > share_percent * len(own):
            fault: dict[str, Any] = {"wrong": len(beyond), "footfalls": len(own), "number": plate.number}
            fault |= {"twist_found": float(np.median([twist for twist, _ in own])), "moment_s": max(beyond)[1]}
            twists = [twist for twist, _ in own]
            limit = shown.contacts("Largest free moment of each contact", "N.m", twists, high=twist_nm)
            faults.append({**fault, "place": f"plate {plate.number}", "shows": show.picture(limit)})
    return looked(examined, faults) if examined else nothing(_NOT_LOADED)


def _free_moments(ground: Ground) -> dict[int, list[tuple[float, float]]]:
    """Plate -> of each contact on it alone the largest free moment under load in N.m, and its moment in s."""
    found: dict[int, list[tuple[float, float]]] = {}
    for contact in ground.contacts:
        loaded = ground.loaded(contact.start_s)
        span = slice(contact.first, contact.last + 1)
        force, moment = ground.smooth[span, :3], ground.smooth[span, 3:]
        twist = np.abs(mechanics.free_moment(force, moment, ground.centre_of_pressure[span]))
        twist = np.where(force[:, UP] >= SURE_N, twist, np.nan)
        if len(loaded) == 1 and np.isfinite(twist).any():
            worst = int(np.nanargmax(twist))
            moment_s = (contact.first + worst) / ground.rate_hz
            found.setdefault(ground.plates[loaded[0]].number, []).append((float(twist[worst]), moment_s))
    return found
