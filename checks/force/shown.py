"""What the checks of force show beside what they say. Registers no check and judges nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from checks import showing as show
from checks.evidence import Panel, Part, Picture
from pipelines.science.equipment.lag import moved_and_pushed
from pipelines.science.equipment.plates import EDGE_S, PlateReading
from pipelines.science.gait.spells import Foot, Spell, contact_spells, rate_of, without_trend
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Plate, Trial

_WORDS = {UP: "vertical", FORWARD: "fore-aft", RIGHT: "sideways"}
#: Part of a foot's length, heel to toe marker, by which the toes reach beyond the toe marker.
_TOES = 0.4
#: Own choice: what is drawn of a force to see whether small ones are left in it.
_NEAR_ZERO_N = 60.0


def force_line(trial: Trial, plate: Plate, axis: int, around: float | None) -> Part:
    """One component of a plate's force over time."""
    name = f"{_WORDS[axis]}, plate {plate.number}"
    return show.line(name, np.asarray(plate.force[:, axis], float), rate_of(trial), around=around)


def total(trial: Trial, around: float | None = None, name: str = "") -> Part | None:
    """The vertical force of all plates; None where they are not as long as each other."""
    if len({plate.force.shape for plate in trial.plates}) != 1:
        return None
    return show.line(name, trial.force[:, UP], rate_of(trial), around=around)


def contacts(title: str, unit: str, found: ArrayLike, *, low: float | None = None, high: float | None = None) -> Panel:
    """One number for each contact on a plate."""
    return show.one_by_one(title, unit, found, low=low, high=high, across="Contact on this plate")


def unloaded(trial: Trial, plate: Plate, reading: PlateReading, allowed_n: float) -> Picture:
    """What a plate reads with nobody on it, in the direction that is furthest from zero."""
    axis = int(np.argmax(np.abs(reading.force_n)))
    ends = max(abs(reading.start_n), abs(reading.end_n))
    if ends > abs(reading.force_n[axis]):
        axis = UP
    if max(ends, abs(reading.force_n[axis])) <= allowed_n:
        title = f"Moment of plate {plate.number} with nobody on it, as the force at its corner that makes it"
        return show.picture(show.number(title, "N", reading.largest_n, high=allowed_n))
    rest = np.full(len(plate.force), np.nan)
    for a, b in signals.unloaded_spells(signals.vertical(plate), rate_of(trial), EDGE_S):
        rest[a:b] = plate.force[a:b, axis]
    title = f"{_WORDS[axis].capitalize()} force of plate {plate.number} while nobody is on it"
    return show.picture(show.over_time(title, "N", show.line("", rest, rate_of(trial)), low=-allowed_n, high=allowed_n))


def stood_still(title: str, name: str, trial: Trial, values: FloatArray, span: Spell, allowed_s: float) -> Picture:
    """A stretch of a signal that lasts for too long, from 0.1 s before to 0.1 s after it."""
    rate = rate_of(trial)
    start, stop = (at / rate for at in span)
    drawn = show.line("", values, rate, around=(start + stop) / 2, half_s=0.1 + (stop - start) / 2)
    lasts = show.lasting(name, start, stop)
    return show.picture(show.over_time(title, "", drawn, show.span("", start, stop), lasts, high=allowed_s))


def foot_on(plates: Sequence[Plate], foot: Foot, at: int) -> list[Part]:
    """The plates, and the foot from heel to the tip of the toes at one force sample, from above."""
    tip = foot.toe[at] + _TOES * (foot.toe[at] - foot.heel[at])
    drawn = [show.outline(f"plate {plate.number}", plate.corners) for plate in plates]
    return [*drawn, show.path("foot, heel to toes", np.array([foot.heel[at], foot.toe[at], tip]), beside=True)]


def nearest_on_foot(foot: Foot, at: int, point: FloatArray) -> FloatArray:
    """(2,) m: the place on the line from the heel to the tip of the toes that is nearest to a point."""
    line = (1 + _TOES) * (foot.toe[at] - foot.heel[at])
    share = float((point - foot.heel[at]) @ line) / max(float(line @ line), 1e-12)
    place: FloatArray = foot.heel[at] + min(max(share, 0.0), 1.0) * line
    return place


def centre_and_foot(plates: Sequence[Plate], plate: Plate, foot: Foot, at: int, beyond_m: float, title: str) -> Panel:
    """How far the centre of pressure of a plate is from the foot that stands there, at one force sample."""
    point = signals.centre_of_pressure(plate)
    around = point[max(0, at - 150) : at + 150]
    far = signals.vertical(plate)[max(0, at - 150) : at + 150] < 50
    near = nearest_on_foot(foot, at, point[at])
    apart = show.measure("", show.pair(near), show.pair(point[at]))
    path = show.path("centre of pressure", np.where(far[:, None], np.nan, around))
    return show.from_above(title, *foot_on(plates, foot, at), path, apart, low=-beyond_m, high=beyond_m)


def beyond_edge(plate: Plate, point: FloatArray) -> float:
    """How far, in m, a point (2,) outside of a plate lies from its nearest edge."""
    return float(np.hypot(*(point - show.nearest_on(plate.corners, point))))


def off_the_plate(plate: Plate, point: FloatArray, at: int, beyond_m: float) -> Picture:
    """How far the centre of pressure lies beyond a plate's edge, at one force sample."""
    edge = show.nearest_on(plate.corners, point[at])
    near = point[max(0, at - 150) : at + 150]
    loaded = np.abs(signals.vertical(plate)[max(0, at - 150) : at + 150]) > 50
    path = show.path("centre of pressure", np.where(loaded[:, None], near, np.nan))
    plate_drawn = show.outline(f"plate {plate.number}", plate.corners)
    apart = show.measure("", show.pair(edge), show.pair(point[at]))
    title = "Centre of pressure and plate from above"
    return show.picture(show.from_above(title, plate_drawn, path, apart, low=-beyond_m, high=beyond_m))


def beside_the_plates(
    plates: Sequence[Plate], points: dict[str, FloatArray], furthest: str, beyond_m: float
) -> Picture:
    """A foot at mid-stance and the plates, from above; points: name -> (1, 2) m."""
    drawn = [show.outline(f"plate {plate.number}", plate.corners) for plate in plates]
    foot = show.path("foot: heel, tip of the toes, forefoot", np.concatenate(list(points.values())), beside=True)
    point = points[furthest][0]
    plate = min(plates, key=lambda p: float(signals.distance_outside(p.corners, points[furthest])[0]))
    apart = show.measure(furthest.replace("_", " "), show.pair(show.nearest_on(plate.corners, point)), show.pair(point))
    title = "Foot and plates from above at mid-stance"
    return show.picture(show.from_above(title, *drawn, foot, apart, low=-beyond_m, high=beyond_m))


def along_the_foot(trial: Trial, plate: Plate, along: FloatArray, travels: FloatArray, back_m: float) -> Picture:
    """Centre of pressure along the foot: how far it travels in each contact, and its way in the first ones."""
    title = f"Travel of the centre of pressure along the foot on plate {plate.number}, 30 to 80 % of contact"
    loaded = np.abs(signals.vertical(plate)) > 200
    way = show.line("", np.where(loaded, along, np.nan), rate_of(trial), around=0.6)
    return show.picture(
        contacts(title, "m", travels, low=back_m),
        show.over_time("Centre of pressure, forward of the toe marker", "m", way),
    )


def of_body_weight(off_percent: float, allowed_percent: float, trial: Trial) -> Picture:
    """How far the mean vertical force over whole steps is off the runner's weight."""
    title = "Mean vertical force over whole steps, more than the runner's weight"
    limit = show.number(title, "%", off_percent, low=-allowed_percent, high=allowed_percent)
    return show.picture(limit, show.over_time("Vertical force of all plates", "N", total(trial, 0.6)))


def by_contact(
    trial: Trial, plate: Plate, limit: Panel, axes: Sequence[int], around: float, title: str = "Force over time"
) -> Picture:
    """A number for each contact, and the force it was made of."""
    lines = [force_line(trial, plate, axis, around) for axis in axes]
    return show.picture(limit, show.over_time(title, "N", *lines))


def spike(trial: Trial, plate: Plate, off: FloatArray, axis: int, at: int, spike_n: float) -> Picture:
    """A sample out of the line of its neighbours, and by how much every sample is."""
    rate = rate_of(trial)
    torn = show.line("", off[:, axis], rate, around=at / rate, half_s=0.05)
    force = show.line("", np.asarray(plate.force[:, axis], float), rate, around=at / rate, half_s=0.05)
    return show.picture(
        show.over_time("How far each sample stands out of its neighbours", "N", torn, high=spike_n),
        show.over_time(f"{_WORDS[axis].capitalize()} force, plate {plate.number}", "N", force),
    )


def crosstalk(trial: Trial, loaded: Plate, other: Plate, span: Spell, share: float) -> Picture:
    """The force of an empty plate beside the part of its loaded neighbour's that is allowed, in one contact.

    The empty plate's is counted from its level where the neighbour carries least.
    """
    (a, b), rate = span, rate_of(trial)
    own, empty = (signals.vertical(plate)[a:b] for plate in (loaded, other))
    most = share * float(own.max())
    lightest = np.argsort(own)[: max(len(own) // 20, 1)]
    quiet = show.line(f"plate {other.number}, empty", empty - np.median(empty[lightest]), rate, a / rate)
    copy = show.line(f"{100 * share:g} % of plate {loaded.number}", share * own, rate, a / rate, beside=True)
    return show.picture(show.over_time("Vertical force during one contact", "N", quiet, copy, low=-most, high=most))


def lateness(trial: Trial, work: Workspace, lag_s: float, allowed_s: float, loaded_n: float) -> dict[str, Any]:
    """By how much force is later than the pelvis at the first contact: the moment, and both over each other."""
    rate = rate_of(trial)
    starts = [a for plate in trial.plates for a, _ in contact_spells(plate, rate, loaded_n)]
    at, ground = min(starts, default=0) / rate, work.contacts.ground
    both = moved_and_pushed(trial, ground, work.processing.joints)
    if both is None:
        limit = show.number("How much later force is than markers", "s", lag_s, low=-allowed_s, high=allowed_s)
        return {"moment_s": at, "shows": show.picture(limit)}
    rates, parts = (trial.marker_rate_hz, ground.rate_hz), []
    for name, values, own_rate in zip(
        ("upward acceleration of the pelvis", "vertical force"), both, rates, strict=True
    ):
        seen = values - np.nanmean(values)
        size = float(np.nanstd(seen)) or 1.0
        parts.append(show.line(name, seen / size, own_rate, around=at, beside=name.startswith("upward")))
    later = show.lasting(f"force {'later' if lag_s > 0 else 'earlier'} by", at, at + lag_s)
    title = "One movement in markers and force, both smoothed, each by its own spread"
    drawn = show.over_time(title, "1", *parts, later, low=-allowed_s, high=allowed_s)
    return {"moment_s": at, "shows": show.picture(drawn)}


def places_of_channels(likeness: dict[int, float], carried: float, weight_fraction: float) -> Picture:
    """How much of the weight the vertical channels carry, and how alike the channels beside them are to the pelvis."""
    title = "Part of the runner's weight that the vertical channels carry"
    limit = show.number(title, "1", carried, low=1 - weight_fraction, high=1 + weight_fraction)
    first, found = min(likeness), [likeness[place] for place in sorted(likeness)]
    across = "Channels so many places behind the vertical ones"
    alike = show.one_by_one("Likeness to the movement of the pelvis", "1", found, across=across, first=first)
    return show.picture(limit, alike)


def points_down(trial: Trial, plate: Plate, at: int) -> Picture:
    """The vertical force of a plate that should push the runner up."""
    line = show.line("", signals.vertical(plate), rate_of(trial), around=at / rate_of(trial))
    return show.picture(show.over_time(f"Vertical force, plate {plate.number}", "N", line, low=0.0))


def cut_off(trial: Trial, plate: Plate, column: int, span: Spell, equal_samples: float) -> Picture:
    """A channel that stands still at the end of its range."""
    allowed = equal_samples if span[1] - span[0] >= equal_samples else 0.0
    values, title = np.asarray(plate.raw[:, column], float), f"Channel of plate {plate.number} in file units"
    return stood_still(title, "stands still for", trial, values, span, allowed / rate_of(trial) - 1e-9)


def copied(trial: Trial, plate: Plate, span: Spell, back: int, samples: float) -> Picture:
    """A stretch of force that is a copy, with what it is a copy of."""
    (a, b), rate = span, rate_of(trial)
    force = signals.vertical(plate)
    start, stop = max(0, a - back), min(len(force), b)
    drawn = show.line("", force, rate, around=(start + stop) / 2 / rate, half_s=(stop - start) / 2 / rate + 0.02)
    first = show.span("first", start / rate, min(b - back, a) / rate) if back > 1 else None
    copy = show.span("copy", a / rate, b / rate)
    lasts = show.lasting("copied for", a / rate, b / rate)
    high = (samples - 0.5) / rate
    title = f"Vertical force, plate {plate.number}"
    return show.picture(show.over_time(title, "N", drawn, first, copy, lasts, high=high))


def amplitudes(windows: Sequence[FloatArray], rate: float) -> Part:
    """Typical size of an empty plate's noise at each frequency, N; windows: stretches of equal length."""
    length = len(windows[0])
    size = np.abs(np.fft.rfft(np.stack(windows) * np.hanning(length), axis=1)) * 2 * np.sqrt(2) / length
    return show.curve("", np.fft.rfftfreq(length, 1 / rate), np.median(size, axis=0))


def silent(trial: Trial, plate: Plate, same_percent: float, most_percent: float, at_s: float) -> Picture:
    """How many samples of the empty plate repeat the one before, and its force where it is near zero."""
    force = np.asarray(signals.vertical(plate), float)
    near_zero = np.where(np.abs(force) < _NEAR_ZERO_N, force, np.nan)
    line = show.line("", near_zero, rate_of(trial), around=at_s)
    return show.picture(
        show.number("Samples of the empty plate that repeat the one before", "%", same_percent, high=most_percent),
        show.over_time(f"Vertical force of plate {plate.number} near zero", "N", line),
    )


def pushed_off(trial: Trial, plate: Plate, foot: Foot, at: int, part: float, limits: tuple[float, float]) -> Picture:
    """How far before the toe marker the centre of pressure lies late in contact, and both from above at that moment."""
    title = "Centre of pressure before the toe marker at 80 % of contact, as a part of heel to toe marker"
    point = signals.centre_of_pressure(plate)
    near = slice(max(0, at - 150), at + 150)
    under_load = np.where((signals.vertical(plate)[near] > 50)[:, None], point[near], np.nan)
    ways = [
        show.path("centre of pressure", under_load),
        show.measure("from the toe marker", show.pair(foot.toe[at]), show.pair(point[at])),
    ]
    return show.picture(
        show.number(title, "1", part, low=limits[0], high=limits[1]),
        show.from_above("Centre of pressure and foot from above", *foot_on([plate], foot, at), *ways),
    )


def falling(frequencies: FloatArray, power: FloatArray, edge_hz: float, fall_times: float) -> Picture:
    """The power of noise at each frequency, against that below the edge where it falls off."""
    usual = float(np.median(power[1:][frequencies[1:] <= edge_hz]))
    level = 10 * np.log10(np.maximum(power[1:] / max(usual, 1e-30), 1e-12))
    title = f"Noise of the empty plate, against that below {edge_hz:.0f} Hz"
    drawn = show.curve("", frequencies[1:], level)
    return show.picture(show.spectrum(title, "dB", drawn, low=-10 * np.log10(fall_times)))


def shared(trial: Trial, count: int, at_s: float) -> Picture:
    """How many plates a foot touched, and the force on each plate that carried something."""
    lines = [force_line(trial, plate, UP, at_s) for plate in trial.plates[:4]]
    return show.picture(
        show.number("Plates that the foot touched", "1", count, high=1),
        show.over_time("Vertical force on each plate", "N", *lines),
    )


def ringing(trial: Trial, plate: Plate, start_s: float, lasts_s: float, ringing_n: float) -> Picture:
    """The force of a plate after the foot has left it."""
    rate = rate_of(trial)
    first, stop = round(start_s * rate), round((start_s + 2 * lasts_s) * rate)
    rest = signals.vertical(plate)[first:stop]
    line = show.line("", without_trend(rest, 3), rate, first / rate)
    title = f"Vertical force of plate {plate.number} after toe-off, without its slow part"
    return show.picture(show.over_time(title, "N", line, low=-ringing_n, high=ringing_n))
