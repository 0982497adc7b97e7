"""How far the outcomes of a trial's footfalls can be trusted: each input off by its own standard uncertainty in turn.

What an input may be off by is in ``doubt``. What that is worth is found here, for plates, by computing the first
footfalls again (propagation by perturbation, as in JCGM 100:2008, 5.1.3, note 2, from memory), and in closed form for
markers and events (``off``) and for joints (``pipelines.science.joints.doubt``). Parts that are independent add as
squares. What a method itself does (another definition of contact, another filter) is no part of it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace

import numpy as np

from pipelines.science.equipment.doubt import Doubt
from pipelines.science.equipment.moved import EVENTS, JUDGED, Moves, moves, root_mean_square, together
from pipelines.science.equipment.off import Worth
from pipelines.science.frames import Rows, computed_fields
from pipelines.science.gait.shin import ROLE
from schemas.equipment import OUTCOME_UNCERTAINTIES
from schemas.outcomes_of_trials import TOGETHER
from schemas.outcomes_signals import FOOTFALL_JOINTS
from schemas.trial import UP, FloatArray, Plate, Trial

#: How many footfalls are computed again, and how much of the recording is kept on both sides of them (own choices).
FOOTFALLS_AGAIN, MARGIN_S = 6, 0.4
#: Own choice: noise is drawn again until so many footfalls had it; the spread of fewer is too unsure (a root mean
#: square of three is off by 40 %, of twelve by 20 %).
DRAWS = 12
#: Own choice: less than that is the noise of the reading, and not worth computing for.
SMALLEST_DRIFT_N = 0.5
#: More than that on a plate is a foot (own choice).
_LOADED_N = 100.0
#: Parts of an uncertainty, in the order of the table.
PARTS = ("level", "noise", "scale", "lag", "events", "markers", "scatter")
#: Columns that are in proportion to body mass, whatever force says.
_BY_MASS = ("vertical_stiffness_kn_per_m", "leg_stiffness_kn_per_m")
#: Moments that are those of a sample: off by up to half the time between two (JCGM 100:2008, F.2.2.1, from memory).
_AT_SAMPLES = ("impact_peak_time_s", "active_peak_time_s")
#: What may be missing in force untold: half of what the check of force against markers does not see, in long trials and
#: (over the root of their number) in those of few footfalls.
_LOST_S, _LOST_OF_FEW_S = 0.002, 0.006
#: Outcome -> the time it is, or is in proportion to, or to one over.
_TIMES = {
    "contact_time_s": "contact_time_s",
    "flight_time_s": "flight_time_s",
    "step_time_s": "step_time_s",
    "stride_time_s": "stride_time_s",
    "cadence_step_per_min": "step_time_s",
    "duty_factor_fraction": "stride_time_s",
}
_NET = "net_fore_aft_impulse_bw_s"
#: Ending of an outcome's name -> its unit.
_UNITS = {column.name: column.unit for column in (*computed_fields(FOOTFALL_JOINTS), *JUDGED, *TOGETHER)}


def uncertainty_rows(
    trial_id: str, footfall_count: int, parts: Mapping[str, Moves], counts: Mapping[str, int] | None = None
) -> Rows:
    """Rows of ``outcome_uncertainties`` less provenance, of the outcomes that anything moves.

    parts: name of a part -> outcome -> what it is worth there. footfall_count: how many footfalls they were found on;
    counts: the same of outcomes that were found on others.
    """
    of_outcome = counts or {}
    rows = []
    for outcome in dict.fromkeys(name for part in PARTS for name in parts.get(part, {})):
        unit = _UNITS.get(outcome.rpartition("/")[2])
        own = {f"from_{part}_value": parts.get(part, {}).get(outcome, np.nan) for part in PARTS}
        if outcome in EVENTS or not any(value > 1e-12 for value in own.values() if np.isfinite(value)):
            continue  # nothing that is read of the equipment moves it
        footfalls = of_outcome.get(outcome, footfall_count)
        row = {"trial_id": trial_id, "outcome": outcome, "outcome_unit": unit, "footfall_count": footfalls}
        rows.append({**row, "standard_uncertainty_value": together(own.values()), **own})
    return Rows.of(OUTCOME_UNCERTAINTIES, rows)


def joined(*several: Mapping[str, Moves]) -> dict[str, Moves]:
    """The parts of different outcomes put together."""
    return {part: {k: v for one in several for k, v in one.get(part, {}).items()} for part in PARTS}


def with_mass(worth: Worth, footfalls: Rows, doubt: Doubt) -> Worth:
    """The same with what a wrong body mass is worth where an outcome is in proportion to it."""
    numbers = np.stack([footfalls.numbers(name) for name in _BY_MASS])
    moved = dict(zip(_BY_MASS, (doubt.scale * root_mean_square(numbers)).tolist(), strict=True))
    scale = dict(worth.parts.get("scale", {}))
    scale |= {name: together([scale.get(name, np.nan), by]) for name, by in moved.items()}
    return replace(worth, parts={**worth.parts, "scale": scale})


def with_lost_time(worth: Worth, footfalls: Rows) -> Worth:
    """The same with what samples of force are worth that went missing untold, too few for the markers to show it.

    footfalls: all of the trial; the loss lies in one of them. It is part of what force and markers may lie apart.
    """
    lost_s = max(_LOST_S, _LOST_OF_FEW_S / max(1, len(footfalls)) ** 0.5)
    lag = dict(worth.parts.get("lag", {}))
    for name, lasts in _TIMES.items():
        times, values = footfalls.numbers(lasts), footfalls.numbers(name)
        known = np.isfinite(times) & np.isfinite(values) & (times > 0)
        if known.any():
            part = lost_s * float(np.median(values[known] / times[known])) / known.sum() ** 0.5
            lag[name] = together([lag.get(name, np.nan), part])
    return replace(worth, parts={**worth.parts, "lag": lag})


def with_filter(worth: Worth, plain: Rows, sharper: Rows) -> Worth:
    """The same with what the filter for events is worth, which makes force begin early and end late.

    sharper: the same footfalls with twice its cut-off. Force that begins as a ramp is, at its foot, off by a time in
    proportion to one over the cut-off (the filter's only unit of time), so that as much again is left.
    """
    moved = {name: 2 * value for name, value in moves(plain, sharper).items()}
    events = worth.events | {"events": (moved["contact_s"], moved["toe_off_s"])}
    return Worth(worth.parts | {"events": moved}, events)


def by_force(part: Trial, plain: Rows, doubt: Doubt, again: Callable[[Trial], Rows]) -> Worth:
    """What force plates are worth in the outcomes of footfalls ``plain``.

    part: what ``first_footfalls`` left of the trial. again: computes the footfalls of the part with changed plates, as
    they are, that is, without taking a level off once more.
    """
    chance = np.random.default_rng(1)
    found = {name: moves(plain, again(changed)) for name, changed in _perturbed(part, doubt).items()}
    draws = [moves(plain, again(_noisy(part, doubt, chance))) for _ in range(-(-DRAWS // max(1, len(plain))))]
    found["noise"] = {
        name: float(root_mean_square(np.array([[one[name] for one in draws]]))[0]) for name in found["level"]
    }
    rounded = 12**-0.5 / (part.analog_rate_hz or 1.0)
    found["noise"] |= {name: float(np.hypot(found["noise"][name], rounded)) for name in _AT_SAMPLES}
    found["level"] = _both(found["level"], found.pop("drift", {}))
    found["scale"] = _both(found["scale"], _horizontal(plain, doubt))
    for one in _gains_apart(part, doubt):
        found["scale"] = _both(found["scale"], moves(plain, again(one)))
    return Worth(dict(found), {name: (one["contact_s"], one["toe_off_s"]) for name, one in found.items()})


def _both(one: Moves, other: Moves) -> dict[str, float]:
    return {name: together([value, other.get(name, np.nan)]) for name, value in one.items()}


def _horizontal(plain: Rows, doubt: Doubt) -> dict[str, float]:
    """What the gain of the horizontal channels by themselves is worth, and what they take of vertical force.

    Braking and propulsion each take up 0.4 to 0.6 of the vertical impulse of a contact; vertical force is the active
    peak at most.
    """
    vertical, peak = plain.numbers("vertical_impulse_bw_s"), plain.numbers("active_peak_bw")
    under = {"impulse_bw_s": 0.6 * vertical, "peak_bw": peak}
    found = {
        f"{part}_{what}": np.hypot(doubt.horizontal_gain * plain.numbers(f"{part}_{what}"), doubt.crosstalk * load)
        for part in ("braking", "propulsive")
        for what, load in under.items()
    }
    net = doubt.horizontal_gain * plain.numbers(_NET)
    found[_NET] = np.hypot(net, doubt.crosstalk * vertical)
    return {name: float(root_mean_square(values[None])[0]) for name, values in found.items()}


def first_footfalls(trial: Trial, footfalls: Rows, roles: Collection[str]) -> Trial:
    """The recording cut to its first footfalls, and to markers of these roles; times count from where it then begins.

    trial: as outcomes see it. footfalls: its own, at least one. roles: without their sides.
    """
    last = min(FOOTFALLS_AGAIN, len(footfalls)) - 1
    start = max(0.0, footfalls.numbers("contact_s")[0] - MARGIN_S)
    stop = footfalls.numbers("toe_off_s")[last] + MARGIN_S
    rate, force_rate = trial.marker_rate_hz, trial.analog_rate_hz or 0.0
    first = int(start * rate)
    frames = slice(first, int(stop * rate) + 1)
    begin = round(first / rate * force_rate) if rate > 0 else int(start * force_rate)
    samples = slice(begin, int(stop * force_rate) + 1)
    begins_s = first / rate if rate > 0 else begin / force_rate
    names = {f"{role}{side}" for role in roles for side in ("", "_left", "_right")}
    return replace(
        trial,
        markers={name: path[frames] for name, path in trial.markers.items() if name in names},
        filled={name: flags[frames] for name, flags in trial.filled.items()},
        plates=tuple(replace(p, force=p.force[samples], moment=p.moment[samples]) for p in trial.plates),
        signals=tuple(replace(s, start_s=s.start_s - begins_s) for s in trial.signals if s.role == ROLE),
    )


def _perturbed(trial: Trial, doubt: Doubt) -> dict[str, Trial]:
    """Part of the uncertainty -> the trial with that input off by its standard uncertainty."""
    length = len(trial.plates[0].force)

    def level(plate: Plate) -> Plate:
        return _with_force(plate, np.full((length, 3), doubt.level_n.get(plate.number, 0.0)))

    def drift(plate: Plate) -> Plate:
        return _with_force(
            plate, np.outer(np.linspace(-0.5, 0.5, length), [0.0, doubt.drift_n.get(plate.number, 0.0), 0.0])
        )

    def gain(plate: Plate) -> Plate:
        return replace(plate, force=plate.force * (1 + doubt.scale), moment=plate.moment * (1 + doubt.scale))

    def late(plate: Plate) -> Plate:
        samples = max(1, round(doubt.lag_s * (trial.analog_rate_hz or 1.0)))
        return replace(plate, force=_later(plate.force, samples), moment=_later(plate.moment, samples))

    changed = {
        name: replace(trial, plates=tuple(map(change, trial.plates)))
        for name, change in (("level", level), ("scale", gain), ("lag", late))
    }
    if max(map(abs, doubt.drift_n.values()), default=0.0) > SMALLEST_DRIFT_N:
        changed["drift"] = replace(trial, plates=tuple(map(drift, trial.plates)))
    return changed


def _gains_apart(trial: Trial, doubt: Doubt) -> Iterator[Trial]:
    """The trial with the gain of one loaded plate off against the others, in turn; none if only one is loaded."""
    loaded = [i for i, plate in enumerate(trial.plates) if np.nanmax(plate.force[:, UP], initial=0.0) > _LOADED_N]
    for i in loaded if len(loaded) > 1 else []:
        plates, more = list(trial.plates), 1 + doubt.gain_apart
        plates[i] = replace(plates[i], force=plates[i].force * more, moment=plates[i].moment * more)
        yield replace(trial, plates=tuple(plates))


def _noisy(trial: Trial, doubt: Doubt, chance: np.random.Generator) -> Trial:
    """The trial with the noise of each plate on it once more."""

    def noise(plate: Plate) -> Plate:
        size = doubt.noise_n.get(plate.number, 0.0)
        return _with_force(plate, chance.normal(0, size, (len(plate.force), 3)) * [0.5, 1.0, 0.5])

    return replace(trial, plates=tuple(map(noise, trial.plates)))


def _with_force(plate: Plate, extra: FloatArray) -> Plate:
    """A force more, at the middle of the plate."""
    return replace(plate, force=plate.force + extra, moment=plate.moment + np.cross(plate.corners.mean(axis=0), extra))


def _later(samples: FloatArray, count: int) -> FloatArray:
    return np.concatenate([np.repeat(samples[:1], count, axis=0), samples[:-count]])
