"""How the foot meets the ground: foot strike angle, strike index, their classes and whether these agree."""

from __future__ import annotations

from typing import Literal

import numpy as np

from schemas.trial import FORWARD, RIGHT, UP, FloatArray

StrikeClass = Literal["rearfoot", "midfoot", "forefoot", "uncertain"]

#: Common practice: a centre of pressure first known later than this part of contact is not "at contact".
LATEST_FRACTION = 0.10


def foot_angle(heel: FloatArray, forefoot: FloatArray) -> FloatArray:
    """Angle in deg of the line from heel to forefoot marker, (...) of (..., 3) m, to the ground; toes up is positive.

    atan2(rise, horizontal distance), so that turning the foot out does not change it. NaN where a marker is missing.
    """
    line = forefoot - heel
    return np.asarray(np.degrees(np.arctan2(line[..., UP], np.hypot(line[..., FORWARD], line[..., RIGHT]))))


def foot_strike_angle(
    heel: FloatArray, forefoot: FloatArray, heel_standing: FloatArray, forefoot_standing: FloatArray
) -> FloatArray:
    """Foot angle at contact less the same angle standing, in deg; toes up is positive (Altman & Davis 2012).

    heel, forefoot: (..., 3) m at one contact or at many; standing: (3,) m. Subtracting the standing angle takes away
    where on the shoe the markers sit. NaN where any is missing.
    """
    return np.asarray(foot_angle(heel, forefoot) - foot_angle(heel_standing, forefoot_standing))


def angle_uncertainty(length_m: float, place_m: float) -> float:
    """Standard uncertainty in deg of a line of this length whose two ends are each off by ``place_m`` across it."""
    return float(np.degrees(np.sqrt(2) * place_m / length_m))


def class_by_angle(
    angle_deg: float | None, off_deg: float, rearfoot_above_deg: float = 8.0, forefoot_below_deg: float = -1.6
) -> StrikeClass | None:
    """Rearfoot above the first cut-off, forefoot below the second, midfoot from one to the other, both included.

    The defaults are those of Altman & Davis 2012. off_deg: standard uncertainty of the angle, NaN if it is not known;
    where a cut-off is nearer than that the class is uncertain. Null without an angle.
    """
    if angle_deg is None:
        return None
    if _unsure(angle_deg, off_deg, rearfoot_above_deg, forefoot_below_deg):
        return "uncertain"
    if angle_deg > rearfoot_above_deg:
        return "rearfoot"
    return "forefoot" if angle_deg < forefoot_below_deg else "midfoot"


def loaded_at(vertical: FloatArray, rate_hz: float, first: int, last: int, force_n: float) -> float | None:
    """When vertical force first reaches ``force_n`` in a contact, in s, linear between two samples; None if late.

    vertical: (n,) N, smoothed. first, last: samples of the contact. Late is after the first tenth of it.
    """
    reached = np.flatnonzero(vertical[first : first + int(LATEST_FRACTION * (last - first)) + 1] >= force_n)
    if len(reached) == 0:
        return None
    sample = first + int(reached[0])
    if sample == 0 or not vertical[sample - 1] < force_n:
        return sample / rate_hz
    below, above = vertical[sample - 1], vertical[sample]
    return float((sample - 1 + (force_n - below) / (above - below)) / rate_hz)


def strike_index(cop: FloatArray, heel: FloatArray, toe: FloatArray, toe_fraction: float = 1.0) -> FloatArray:
    """Where the centre of pressure is along the foot, in % of foot length from the heel (Cavanagh & Lafortune 1980).

    cop, heel, toe: (..., 3) m at one moment or at many. The centre of pressure is dropped on the line from heel to toe
    marker as seen from above. Foot length is the distance between the two markers in space, so that lifting the toes
    does not shorten the foot, times ``toe_fraction``. Below 0 or above 100 where pressure lies outside the markers. NaN
    where a point is missing or the two markers lie above one another.
    """
    line, place = toe - heel, cop - heel
    across = np.hypot(line[..., FORWARD], line[..., RIGHT])
    along = place[..., FORWARD] * line[..., FORWARD] + place[..., RIGHT] * line[..., RIGHT]
    size = across * np.sqrt((line * line).sum(axis=-1)) * toe_fraction
    return np.asarray(np.divide(100 * along, size, out=np.full(np.shape(size), np.nan), where=across > 0))


def index_uncertainty(
    index_percent: FloatArray, length_m: float, place_m: float, toe_fraction: float = 1.0, cop_m: float = 0.0
) -> FloatArray:
    """Standard uncertainty in % of indices (n,), heel and toe marker ``length_m`` apart and each off by ``place_m``.

    cop_m: by what the centre of pressure is off, along the foot. A part x of the way from heel to toe moves by 1 - x of
    what the heel is off and by x of what the toe is, over the length (the index differentiated, first principles); what
    moves the line sideways is left out.
    """
    way = np.asarray(index_percent, float) / 100 * toe_fraction
    off_m = np.hypot(place_m * np.hypot(1 - way, way), cop_m)
    return np.asarray(100 * off_m / (length_m * toe_fraction))


def _unsure(value: float, off: float, *cutoffs: float) -> bool:
    return not all(abs(value - cutoff) >= off for cutoff in cutoffs)  # so that NaN is not sure


def class_by_index(index_percent: float | None, off_percent: float) -> StrikeClass | None:
    """Class by thirds of the foot: heel third rearfoot, middle midfoot, front forefoot. Null without an index.

    off_percent: as ``off_deg`` of ``class_by_angle``.
    """
    if index_percent is None:
        return None
    if _unsure(index_percent, off_percent, 100 / 3, 200 / 3):
        return "uncertain"
    if index_percent < 100 / 3:
        return "rearfoot"
    return "forefoot" if index_percent > 200 / 3 else "midfoot"


def classes_agree(by_angle: str | None, by_index: str | None) -> bool | None:
    """Whether the two classes are the same. Null unless both are known for sure."""
    return None if {by_angle, by_index} & {None, "uncertain"} else by_angle == by_index
