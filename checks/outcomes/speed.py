"""Whether the runner goes as fast as the tables say, and gains as much speed as the plates push.

What a footfall is like is in ``running``.
"""

from __future__ import annotations

import numpy as np

from checks import showing as show
from checks.outcomes import shown
from checks.outcomes.places import at_contact
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.gait import spatiotemporal
from pipelines.science.signals import measures as signals
from schemas.mechanics import STANDARD_GRAVITY
from schemas.study import Study
from schemas.trial import Trial

#: m/s, own choice: what is slower, or goes back, was not read of a runner's feet or trunk.
WALKS = 1.0
#: How many of a unit make 1 m/s: 3600 s an hour over 1000 m a kilometre, and 1609.344 m a mile (by definition).
OTHER_UNITS = {"km/h": 3.6, "miles per hour": 3600 / 1609.344}
#: Own choice: so near, the number may be of that unit. It is how near runners keep to a set speed; wider, numbers
#: that are simply wrong are called miles per hour.
_NEAR_A_UNIT = 0.1


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="Fore-aft impulse{less} adds up to {net_percent:+.1f} % of the vertical impulse over {count} {of_what}.",
    expected="Fore-aft impulse is what the runner gains in speed, on a belt nothing, within {allowed_percent:g} % of "
    "the vertical impulse.",
    remedy="Check the fore-aft zero of the plate {empty} and nobody on it, then whether plate, or belt, was level (1 % "
    "of slope shows as 1 % here), whether the fore-aft channels take some of the vertical force, and whether the "
    "runner drifted along the belt.",
    words=("less", "net_percent", "count", "of_what", "allowed_percent", "empty"),
    limits={
        "share_percent": Limit(
            "%", "own choice; equality follows from Newton's second law; 0.1 % in a real run and in simulated ones"
        ),
        "runway_percent": Limit("%", "own choice; 1.7 % in a real pass, 1.2 % at most in clean simulated ones"),
    },
)
def fore_aft_impulse_balances_at_steady_speed(
    trial: Trial, footfalls: Rows, study: Study, *, share_percent: float = 1.5, runway_percent: float = 3.0
) -> Looked:
    """Braking and propulsive impulse cancel on a treadmill, and over strides of a pass but for the speed gained.

    The runner stays in place on a belt, so what brakes must also drive; on a runway what is left is the change of speed
    of the trunk from one contact to the next of the same foot. A remainder is an offset, a slope or crosstalk from the
    vertical channel, and it goes into braking and propulsion in full.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    net_s, vertical_s = (footfalls.numbers(f"{name}_impulse_bw_s") for name in ("net_fore_aft", "vertical"))
    whole = np.isfinite(net_s) & (vertical_s > 0)
    belt = trial.surface == "treadmill"
    if belt:
        over, gained_s = [int(i) for i in np.flatnonzero(whole)], 0.0
    else:
        roles = study.processing.speed_roles
        gains = spatiotemporal.speed_gained(trial.markers, roles, trial.marker_rate_hz, footfalls)
        strides = [i for i in range(len(footfalls) - 1) if np.isfinite(gains[i]) and whole[i : i + 2].all()]
        over, gained_s = [i + k for i in strides for k in (0, 1)], float(gains[strides].sum()) / STANDARD_GRAVITY
    if len(over) < 2:
        return nothing("fewer than two footfalls with both impulses, or a trunk of which the speed is not known")
    net = 100 * float((net_s[over].sum() - gained_s) / vertical_s[over].sum())
    allowed = share_percent if belt else runway_percent
    if abs(net) <= allowed:
        return looked(len(over))
    fault = {
        "less": "" if belt else ", less the speed gained,",
        "net_percent": net,
        "count": len(over) if belt else len(over) // 2,
        "of_what": "footfalls" if belt else "strides",
        "allowed_percent": allowed,
        "empty": "with the belt running" if belt else "before the pass",
        "place": "all plates",
        "moment_s": float(footfalls.numbers("contact_s")[over[0]]),
        "shows": show.picture(
            show.number(
                "Fore-aft impulse that is left, as part of the vertical one", "%", net, low=-allowed, high=allowed
            )
        ),
    }
    return looked(len(over), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The runner went at {speed_found:.2f} m/s, {off_percent:+.0f} % off{unit}.",
    expected="{wanted:.2f} m/s, the {which} that the tables tell, within {allowed_percent:.0f} %.",
    remedy="Check the {which} in trials.csv, or where it says none in sessions.csv (m/s, not km/h), and the speed that "
    "{source} showed. If the speed in the table is wrong, correct it and send the {how} again; if the runner was off, "
    "{if_off}.",
    words=("speed_found", "off_percent", "unit", "wanted", "which", "allowed_percent", "source", "how", "if_off"),
    limits={
        "speed_fraction": Limit(
            "1", "common practice: passes more than 5 % off are run again; at twice that it is another speed"
        ),
        "belt_fraction": Limit("1", "own choice: 0.6 % in a real run, 2.8 % at most in clean simulated ones"),
    },
)
def speed_keeps_to_the_protocol(
    trial: Trial, footfalls: Rows, study: Study, *, speed_fraction: float = 0.10, belt_fraction: float = 0.04
) -> Looked:
    """The runner runs at the speed the protocol sets, and on a treadmill at the one measured of the belt.

    Nearly every outcome changes with speed, and the set speed is part of the key under which outcomes are pooled. On a
    treadmill the speed is that of the foot while it stands on the belt, which is independent of what the tables say;
    lengths of steps are made of what the tables say, so that what is off there by more than ``belt_fraction`` is noted.
    On a runway it is the pelvis's. What is off by more than ``speed_fraction`` goes back: it is another speed's trial,
    or another unit's.
    """
    if reason := signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    belt = trial.surface == "treadmill"
    told = {"set speed": trial.set_speed_m_per_s, "belt speed": trial.belt_speed_m_per_s if belt else None}
    known = {which: speed for which, speed in told.items() if speed and np.isfinite(speed)}
    if not known:
        return nothing("no speed is set")
    if belt:
        speeds = spatiotemporal.belt_speeds(
            trial.markers, study.processing.forefoot_role, trial.marker_rate_hz, footfalls
        )
    else:
        speeds = footfalls.numbers("speed_m_per_s")
        speeds = speeds[np.isfinite(speeds)]
    if not len(speeds):
        return nothing("no speed is known, for want of markers")
    speed, first = float(np.median(speeds)), footfalls.records[0]
    which, wanted = max(known.items(), key=lambda one: abs(speed / one[1] - 1))
    off, noted = abs(speed / wanted - 1), belt_fraction if belt else speed_fraction
    if off <= min(noted, speed_fraction):
        return looked(len(speeds))
    returns = off > speed_fraction and speed > WALKS
    fault = {
        "speed_found": speed,
        "wanted": wanted,
        "which": which,
        "off_percent": 100 * (speed / wanted - 1),
        "unit": _unit(wanted, speed) if speed > WALKS else "",
        "allowed_percent": 100 * (speed_fraction if returns else min(noted, speed_fraction)),
        "source": "the treadmill" if belt else "the timing gates",
        "how": "trial" if returns else "delivery",
        "if_off": "leave it out, or ask the data manager whether it may be kept" if returns else "leave it as it is",
        **({} if returns else {"weight": Weight.NOTES}),
        **at_contact(
            first,
            shown.speeds(
                [float(one) for one in speeds],
                wanted,
                speed_fraction if returns else min(noted, speed_fraction),
                "Contact" if belt else "Footfall",
            ),
        ),
    }
    return looked(len(speeds), [fault])


def _unit(told: float, seen: float) -> str:
    """What a told speed would be in m/s, read in the unit in which it comes nearest to the one seen, if near at all."""
    read = {name: told / per_m_s for name, per_m_s in OTHER_UNITS.items()}
    near = min(read, key=lambda name: abs(read[name] / seen - 1))
    is_near = abs(read[near] / seen - 1) < _NEAR_A_UNIT
    return f"; read as {near} the table's number would be {read[near]:.2f} m/s" if is_near else ""
