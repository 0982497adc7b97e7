"""Contact and toe-off from foot markers alone, for laboratories without force plates. Works on belt and ground alike.

Contact is the peak of vertical acceleration of the heel or the metatarsal marker, whichever comes first (Handsaker et
al. 2016, J Biomech 49:4128, doi 10.1016/j.jbiomech.2016.10.013, abstract), which holds for all ways of landing. Their
toe-off, the peak of vertical jerk of the hallux, is there for feet that lift flat; without a marker on the hallux it
came 20 ms early, SD 23 to 37 ms, on a real belt. A real foot rolls over its toes, and its front has then risen by as
much whatever the speed: toe-off is where it has (the front's vertical position told toe-off best, whatever the way of
landing, in Leitch et al. 2011, Gait Posture 33:130, abstract; the height is our own). How the time windows are looked
for is our own as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.science.events.from_force import SIDES, Contact
from pipelines.science.signals.filters import low_pass_paths
from pipelines.science.signals.middle import percentiles
from schemas.mechanics import runs
from schemas.processing import Processing
from schemas.processing_signals import MarkerEventProcessing
from schemas.trial import FORWARD, UP, FloatArray

#: Own choice: contact is looked for until this part of a stance window, toe-off from this part on.
CONTACT_UNTIL, TOE_OFF_FROM = 0.45, 0.55
#: Own choice: both are also looked for this long outside the window, since its edges are coarse.
MARGIN_S = 0.03
#: Own choice: so long after a stance window the front of the foot has risen for certain.
LIFTED_S = 0.08
#: Own choice: shorter holes in a stance window are closed.
HOLE_S = 0.03
#: Own choice: a foot that rises by less does not run.
LEAST_RISE_M = 0.05


def marker_contacts(
    markers: Mapping[str, FloatArray], rate_hz: float, processing: Processing
) -> list[tuple[str, Contact]]:
    """Complete contacts of both feet as (side, contact), in order of time.

    markers: role with side -> (frames, 3) m, unfiltered. A side without a heel and a metatarsal marker gives none. A
    contact whose two events are not both there, for instance at the ends of the record or behind a gap, is left out.
    """
    found: list[tuple[str, Contact]] = []
    if not rate_hz > 0:
        return found
    for side, foot in _feet(markers, rate_hz, processing).items():
        found += [(side, contact) for contact in _contacts_of(foot, rate_hz, processing)]
    return sorted(found, key=lambda pair: pair[1].start_s)


def marker_touches(markers: Mapping[str, FloatArray], rate_hz: float, processing: Processing) -> dict[str, FloatArray]:
    """Side -> (n,) times in s at which the foot touched the ground, those too whose toe-off the record does not hold.

    markers: as in ``marker_contacts``, which tells complete contacts only.
    """
    if not rate_hz > 0:
        return {}
    found: dict[str, FloatArray] = {}
    for side, foot in _feet(markers, rate_hz, processing).items():
        times = [contact.start_s for contact in _contacts_of(foot, rate_hz, processing)]
        last = _last_touch(foot, rate_hz, processing)
        if last is not None and (not times or last > times[-1] + processing.shortest_contact_s):
            times.append(last)
        if times:
            found[side] = np.array(times)
    return found


def _last_touch(foot: _Foot, rate_hz: float, processing: Processing) -> float | None:
    """When the foot touched the ground in its last stance window, in s, however much of that the record holds."""
    windows = runs(stance_windows(foot.heel, foot.middle, rate_hz, processing.marker_events))
    whole = [stop - start for start, stop in windows if start > 0 and stop < len(foot.heel)]
    if not windows or not whole or windows[-1][0] == 0:
        return None
    start, margin = windows[-1][0], max(1, round(MARGIN_S * rate_hz))
    until = min(len(foot.heel) - 1, start + round(CONTACT_UNTIL * float(np.median(whole))))
    lift = (_rate(_rate(path[:, UP], rate_hz), rate_hz) for path in (foot.heel, foot.middle))
    touches = [at for path in lift if (at := _peak(path, max(1, start - margin), until)) is not None]
    return min(touches) / rate_hz if touches else None


@dataclass(frozen=True)
class _Foot:
    """Filtered paths (frames, 3) m of one foot. middle: mean of its metatarsal markers; front: the front one."""

    heel: FloatArray
    middle: FloatArray
    front: FloatArray


def _feet(markers: Mapping[str, FloatArray], rate_hz: float, processing: Processing) -> dict[str, _Foot]:
    """Side -> the foot's markers, if it has enough. Their mean does not mind two labels that change places."""
    settings = processing.marker_events
    paths: dict[str, FloatArray] = {}
    for side in SIDES:
        heel = markers.get(f"{processing.heel_role}_{side}")
        heads = [markers[name] for role in settings.metatarsal_roles if (name := f"{role}_{side}") in markers]
        if heel is not None and heads and len(heel) >= 4:
            front = markers.get(f"{processing.forefoot_role}_{side}", heads[0])
            paths |= {f"heel {side}": heel, f"middle {side}": np.mean(heads, axis=0), f"front {side}": front}
    smooth = low_pass_paths(paths, rate_hz, settings.cutoff_hz, processing.filter_order)
    parts = ("heel", "middle", "front")
    return {side: _Foot(*(smooth[f"{p} {side}"] for p in parts)) for side in SIDES if f"heel {side}" in smooth}


def _contacts_of(foot: _Foot, rate_hz: float, processing: Processing) -> list[Contact]:
    settings = processing.marker_events
    lift = {name: _rate(_rate(path[:, UP], rate_hz), rate_hz) for name, path in vars(foot).items()}
    jerk = _rate(lift["front"], rate_hz) if settings.toe_off == "jerk" else lift["front"]
    margin = max(1, round(MARGIN_S * rate_hz))
    contacts: list[Contact] = []
    seen_until = 0
    frames = len(foot.heel)
    for start, stop in runs(stance_windows(foot.heel, foot.middle, rate_hz, settings)):
        if start == 0 or stop == frames:
            continue
        length = stop - start
        early = max(1, start - margin), start + round(CONTACT_UNTIL * length)
        late = start + round(TOE_OFF_FROM * length), min(frames - 1, stop + margin)
        touches = [at for name in ("heel", "middle") if (at := _peak(lift[name], *early)) is not None]
        leaves = (
            _peak(jerk, *late)
            if settings.toe_off == "jerk"
            else _risen(foot.middle[start : stop + round(LIFTED_S * rate_hz), UP], start, settings.toe_off_rise_m)
        )
        if not touches or leaves is None:
            continue
        first, last = min(touches) / rate_hz, leaves / rate_hz
        if last - first >= processing.shortest_contact_s:
            known = np.isfinite(foot.heel[seen_until : start + 1]).all()
            contacts.append(Contact(first, last, int(np.ceil(min(touches))), int(leaves), after_gap=not known))
            seen_until = stop
    return contacts


def _risen(height: FloatArray, start: int, rise_m: float) -> float | None:
    """Where a height (n,) that begins at frame ``start`` has risen over its lowest place; None if it hides or stays."""
    if not len(height) or not np.isfinite(height).all():
        return None
    lowest = int(np.argmin(height))
    above = np.flatnonzero(height[lowest:] >= height[lowest] + rise_m)
    if not len(above):
        return None
    after = lowest + int(above[0])
    before, here = height[after - 1 : after + 1]
    return float(start + after - (here - height[lowest] - rise_m) / (here - before))


def stance_windows(
    heel: FloatArray, middle: FloatArray, rate_hz: float, settings: MarkerEventProcessing
) -> NDArray[np.bool_]:
    """(frames,) whether a marker of the foot is low and moves with the ground: about the time of contact.

    heel, middle: (frames, 3) m. Low: within ``low_fraction`` of the marker's whole rise above its lowest place. With
    the ground: its speed along X differs from the ground's by less than ``slow_fraction`` of the largest difference.
    The ground's speed is the median speed of the metatarsal markers where they are lowest, so that a belt's speed need
    not be known; the second condition keeps a foot out that skims the ground while it swings.
    """
    inside = np.zeros(len(heel), bool)
    speeds = [_rate(path[:, FORWARD], rate_hz) for path in (heel, middle)]
    heights = [path[:, UP] for path in (heel, middle)]
    if not all(np.isfinite(values).any() for values in (*speeds, *heights)):
        return inside
    ends = [percentiles(height[~np.isnan(height)], 2, 98) for height in heights]
    floors, rises = [low for low, _ in ends], [high - low for low, high in ends]
    if min(rises) < LEAST_RISE_M:
        return inside
    with np.errstate(invalid="ignore"):
        on_floor = heights[1] <= floors[1] + 0.05 * rises[1]
        ground = speeds[1][on_floor & np.isfinite(speeds[1])]
        if len(ground) == 0:
            return inside
        for height, floor, rise, speed in zip(heights, floors, rises, speeds, strict=True):
            off = np.abs(speed - np.median(ground))
            inside |= (height <= floor + settings.low_fraction * rise) & (
                off <= settings.slow_fraction * percentiles(off[~np.isnan(off)], 98)[0]
            )
    return _without_holes(inside, rate_hz)


def _without_holes(inside: NDArray[np.bool_], rate_hz: float) -> NDArray[np.bool_]:
    filled = inside.copy()
    for start, stop in runs(~inside):
        if start > 0 and stop < len(inside) and stop - start < HOLE_S * rate_hz:
            filled[start:stop] = True
    return filled


def _rate(values: FloatArray, rate_hz: float) -> FloatArray:
    """Rate of change per s by central differences, which do not shift in time; one-sided at the ends."""
    return np.asarray(np.gradient(values), float) * rate_hz


def _peak(values: FloatArray, start: int, stop: int) -> float | None:
    """Place of the largest value in [start, stop), between samples by the parabola through it and its neighbours.

    The window leaves out the first and the last sample of the record. None where it holds missing values, or where the
    largest value in it is no local peak.
    """
    if stop <= start or not np.isfinite(values[start - 1 : stop + 1]).all():
        return None
    top = start + int(np.argmax(values[start:stop]))
    before, here, after = values[top - 1 : top + 2]
    if not (here > before and here >= after):
        return None
    return float(top + (before - after) / (2 * (before - 2 * here + after)))
