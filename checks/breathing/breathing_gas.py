"""Whether breathing gas can be that of steady running: length, plateau, exchange ratio, unit, cost, heart rate.

Looks at the means over a bout. Whether its rows are whole and its own is in ``breath_samples``.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from checks.breathing.bouts import NO_BOUTS, Bout, bouts_of, needed_s
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from schemas.processing import EnergyProcessing
from schemas.received import Received
from schemas.study import Study

#: kJ for each litre of oxygen: 20.3 to 21.7 from fat alone to a ratio of 1.0 (Peronnet & Massicotte 1991), so the
#: middle is at most 4 % off, whatever the carbon dioxide sensor read.
_KJ_PER_LITRE = 21.0


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="By its last row, {bout} lasts {lasted_s:.0f} s.",
    expected="At least {wanted_s:.0f} s: {warm_up_s:.0f} s of warm-up and {minutes} minutes of plateau, as the study "
    "file says.",
    remedy="If the export was cut, export the whole bout and send breaths.csv again; if the runner stopped, leave it. "
    "A bout without a plateau gives no energy cost.",
    words=("bout", "lasted_s", "wanted_s", "warm_up_s", "minutes"),
)
def bouts_are_long_enough_for_a_plateau(delivery: Received, study: Study) -> Looked:
    """A metabolic bout lasts as long as warm-up and plateau take.

    Oxygen uptake needs some minutes to reach what the running costs; before that it tells less than the cost.
    """
    settings, bouts = study.processing.energy, bouts_of(delivery)
    faults = [
        {
            **bout.at,
            "lasted_s": float(np.max(bout.end_s)),
            "wanted_s": needed_s(settings),
            "warm_up_s": settings.warm_up_s,
            "minutes": settings.plateau_minutes,
        }
        for bout in bouts
        if not bout.is_long_enough(settings)
    ]
    return looked(len(bouts), faults) if bouts else nothing(NO_BOUTS)


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="At the end of {bout} oxygen uptake changes by {change_percent:.1f} % from one minute to the next.",
    expected="No more than {allowed_percent:g} % in the last {minutes} minutes, as the study file says.",
    remedy="Check that the belt kept its speed and the mask sat tight to the end, and that the bout was not cut. If "
    "the runner was not yet steady, leave the rows as they are: no energy cost is computed from them.",
    words=("bout", "change_percent", "allowed_percent", "minutes"),
)
def oxygen_uptake_is_steady_at_the_end_of_a_bout(delivery: Received, study: Study) -> Looked:
    """Oxygen uptake has stopped rising when a bout ends.

    Only then is the energy taken from the air the energy the running costs.
    """
    settings = study.processing.energy
    faults, examined = [], 0
    for bout in bouts_of(delivery):
        minutes = bout.minutes(settings)
        if not bout.is_long_enough(settings) or not np.isfinite(minutes).all() or minutes.mean() <= 0:
            continue
        examined += 1
        change = float(np.abs(np.diff(minutes)).max() / minutes.mean())
        if change > settings.plateau_change_limit_fraction + 1e-9:
            allowed = 100 * settings.plateau_change_limit_fraction
            values = {"change_percent": 100 * change, "allowed_percent": allowed, "minutes": settings.plateau_minutes}
            faults.append({**bout.at, **values})
    return looked(examined, faults) if examined else nothing("no bout has a plateau to look at")


def _ratios(bouts: Iterable[Bout], settings: EnergyProcessing) -> list[tuple[Bout, float]]:
    """Exchange ratio at the end of each bout where both sensors read something."""
    found = []
    for bout in bouts:
        end = bout.in_plateau(settings)
        oxygen, carbon = bout.mean(bout.oxygen, end), bout.mean(bout.carbon_dioxide, end)
        if oxygen > 0 and carbon > 0:  # not if NaN
            found.append((bout, carbon / oxygen))
    return found


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="At the end of {bout} the exchange ratio of carbon dioxide to oxygen is {ratio:.3f}; with the two columns "
    "exchanged it would be {other:.2f}.",
    expected="{lowest:g} to {highest_ratio:g}, what fuels and hard breathing can give.",
    remedy="Check that both gas columns are what their names say and in mL/min, then the calibration of that day. If "
    "an analyser was wrong, take the bout out of breaths.csv and send the table again.",
    words=("bout", "ratio", "other", "lowest"),
    limits={"highest_ratio": Limit("1", "from memory: about 1.1 to 1.2 at the hardest effort; the rest is margin")},
)
def exchange_ratio_is_one_that_a_body_can_have(
    delivery: Received, study: Study, *, highest_ratio: float = 1.30
) -> Looked:
    """The respiratory exchange ratio lies where fuels and hard breathing can put it.

    Fat alone gives 0.70 (Peronnet & Massicotte 1991). A ratio beyond that means a fault of an analyser or of the
    export, and both gases go into the energy cost.
    """
    ratios = _ratios(bouts_of(delivery), study.processing.energy)
    lowest = study.processing.energy.lowest_respiratory_exchange_ratio
    faults = [
        {**bout.at, "ratio": ratio, "other": 1 / ratio, "lowest": lowest}
        for bout, ratio in ratios
        if not lowest - 1e-9 <= ratio <= highest_ratio + 1e-9
    ]
    return looked(len(ratios), faults) if ratios else nothing("no bout with both gases")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="At the end of {bout} the exchange ratio is {ratio:.3f}; with the two gas columns exchanged it would be "
    "{other:.2f}.",
    expected="At most {most:g}, as the study file says: above it part of the power does not come from oxygen.",
    remedy="If the other bouts of the runner are below, check that the columns are not exchanged. If the speed was "
    "hard for the runner, leave the rows: no energy cost is computed. Whether the runner should go on at this speed "
    "is for the study's own protocol to say.",
    words=("bout", "ratio", "other", "most"),
    limits={"credible_ratio": Limit("1", "from memory, as in exchange_ratio_is_one_that_a_body_can_have")},
)
def effort_stays_where_oxygen_tells_the_cost(
    delivery: Received, study: Study, *, credible_ratio: float = 1.30
) -> Looked:
    """A bout is easy enough that oxygen uptake tells what it costs.

    Above the limit energy comes without oxygen too, so that a hard pace would look cheap.
    """
    ratios = _ratios(bouts_of(delivery), study.processing.energy)
    most = study.processing.energy.highest_respiratory_exchange_ratio
    faults = [
        {**bout.at, "ratio": ratio, "other": 1 / ratio, "most": most}
        for bout, ratio in ratios
        if most + 1e-9 < ratio <= credible_ratio + 1e-9
    ]
    return looked(len(ratios), faults) if ratios else nothing("no bout with both gases")


def _per_kilogram(bouts: Iterable[Bout], settings: EnergyProcessing) -> list[tuple[Bout, float, float]]:
    """Bout, oxygen uptake at its end in mL/min, and the same in mL/(kg.min), where mass and oxygen are known."""
    found = []
    for bout in bouts:
        oxygen = bout.mean(bout.oxygen, bout.in_plateau(settings))
        if bout.mass_kg and oxygen > 0:
            found.append((bout, oxygen, oxygen / bout.mass_kg))
    return found


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="At the end of {bout} oxygen uptake is {oxygen:.4g} mL/min, which is {uptake:.3g} mL/(kg.min) for a body of "
    "{mass:.1f} kg{hint}.",
    expected="{lowest_ml:g} to {highest_ml:g} mL/(kg.min) while running.",
    remedy="Export both gases in mL/min, not in L/min and not divided by body mass, check mass_kg in sessions.csv, and "
    "send both tables again.",
    words=("bout", "oxygen", "uptake", "mass", "hint"),
    limits={
        "lowest_ml": Limit("mL/(kg.min)", "common practice: rest is about 3.5, an easy walk about 10"),
        "highest_ml": Limit("mL/(kg.min)", "from memory: the highest ever reported are a little above 90"),
    },
)
def oxygen_uptake_is_in_the_stated_unit(
    delivery: Received, study: Study, *, lowest_ml: float = 10.0, highest_ml: float = 95.0
) -> Looked:
    """Oxygen uptake is in mL/min, which shows by what it is for each kilogram.

    Analysers export litres, millilitres and millilitres per kilogram, and a wrong one is a thousand or seventy times
    off.
    """
    found = _per_kilogram(bouts_of(delivery), study.processing.energy)
    faults = [
        {**bout.at, "oxygen": oxygen, "uptake": uptake, "mass": bout.mass_kg, "hint": _unit_hint(oxygen, lowest_ml)}
        for bout, oxygen, uptake in found
        if not lowest_ml <= uptake <= highest_ml
    ]
    return looked(len(found), faults) if found else nothing("no bout with oxygen uptake and body mass")


def _unit_hint(oxygen: float, lowest_ml: float) -> str:
    """What the number itself looks like."""
    if oxygen < lowest_ml:
        return "; the number looks like litres per minute"
    return "; the number looks like mL/(kg.min)" if oxygen < 100 else ""


def _costs(bouts: Iterable[Bout], study: Study) -> list[tuple[Bout, float]]:
    """Bouts with a plateau, mass and speed, and what a metre costs in J/(kg.m)."""
    settings = study.processing.energy
    return [
        (bout, uptake / 60 * _KJ_PER_LITRE / bout.speed_m_per_s)
        for bout, _, uptake in _per_kilogram(bouts, settings)
        if bout.speed_m_per_s and bout.is_long_enough(settings) and 10 <= uptake <= 95  # else a unit is wrong
    ]


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="By its oxygen uptake, {bout} costs {cost:.2f} J/(kg.m) at {speed:.2f} m/s and {mass:.1f} kg.",
    expected="{lowest_j:g} to {highest_j:g} J/(kg.m) for level running; about 4 is usual.",
    remedy="Compare speed and mass of the session with the paper record, and the speed with that of the bout: it may "
    "have been run at another than the trials. Was the belt level, and did the runner run, not walk? If all is right, "
    "leave it.",
    words=("bout", "cost", "speed", "mass"),
    limits={
        "lowest_j": Limit("J/(kg.m)", "a quarter less than 14.5 W/kg at 3.5 m/s (Looney et al. 2023): own limit"),
        "highest_j": Limit("J/(kg.m)", "nearly half more than that, for unskilled runners: own limit"),
    },
)
def running_cost_is_that_of_level_running(
    delivery: Received, study: Study, *, lowest_j: float = 3.0, highest_j: float = 6.0
) -> Looked:
    """What a metre costs, by oxygen uptake, mass and speed, is what level running costs.

    The cost of a metre hardly depends on speed, so that a wrong mass or speed shows in it.
    """
    costs = _costs(bouts_of(delivery), study)
    faults = [
        {**bout.at, "cost": cost, "speed": bout.speed_m_per_s, "mass": bout.mass_kg}
        for bout, cost in costs
        if not lowest_j <= cost <= highest_j
    ]
    return looked(len(costs), faults) if costs else nothing("no bout with a plateau, mass and speed")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="The median of the {sessions} sessions with breathing gas is {middle:.2f} J/(kg.m), {off_percent:+.1f} % off "
    "the usual {usual_j:g}.",
    expected="A median within {off_by_percent:g} % of {usual_j:g} J/(kg.m). Gas at body temperature and saturated "
    "instead of standard and dry gives about 21 % more, the other way round 17 % less.",
    remedy="This is only a suspicion. Look in the analyser's settings whether oxygen and carbon dioxide are given at "
    "standard temperature and pressure, dry; then at its flow calibration. If both are right, leave the table.",
    words=("sessions", "middle", "off_percent"),
    limits={
        "usual_j": Limit("J/(kg.m)", "14.5 W/kg at 3.5 m/s, Looney et al. 2023"),
        "off_by_percent": Limit("%", "own limit, between the spread of groups and the 17 or 21 % of the mistake"),
        "from_sessions": Limit("1", "own limit: a single runner may be that good or that poor"),
    },
)
def gas_volumes_are_dry_and_at_standard_temperature(
    delivery: Received, study: Study, *, usual_j: float = 4.15, off_by_percent: float = 14.0, from_sessions: float = 3
) -> Looked:
    """The running cost of a whole delivery does not suggest gas volumes at body temperature.

    The ratio of the two volumes follows from the gas law at 37 Cel and sea level: 310/273 x 760/(760 - 47), 1.21. It
    shifts every runner alike, which no single bout would show.
    """
    by_session: dict[str, list[float]] = {}
    for bout, cost in _costs(bouts_of(delivery), study):
        by_session.setdefault(bout.session_id, []).append(cost)
    if len(by_session) < from_sessions:
        return nothing(f"fewer than {from_sessions:g} sessions with a bout to look at")
    middle = float(np.median([np.mean(costs) for costs in by_session.values()]))
    off = 100 * (middle / usual_j - 1)
    if abs(off) <= off_by_percent:
        return looked(len(by_session))
    fault = {"sessions": len(by_session), "middle": middle, "off_percent": off}
    return looked(len(by_session), [{**fault, "file": "breaths.csv", "place": "all bouts"}])
