"""Which contacts a trial has, and from which signal: force, else foot sensors, else markers."""

from __future__ import annotations

from functools import cached_property
from itertools import pairwise

from pipelines.science.equipment.plates import plate_readings, without_levels
from pipelines.science.events.from_force import SIDES, Contact, sides_of
from pipelines.science.events.from_markers import marker_contacts
from pipelines.science.events.from_sensors import sensor_contacts
from pipelines.science.events.ground import Ground
from pipelines.science.signals.smooth import SmoothMarkers
from schemas.processing import Processing
from schemas.trial import FloatArray, Trial

#: The methods of ``codes.EVENT_METHOD`` in the order in which they are believed.
METHODS = ("force", "sensor", "markers", "laboratory")
#: Own choice: marks of one foot further apart are not of one contact.
LONGEST_MARKED_S = 1.0
Sided = list[tuple[str | None, Contact]]


class Contacts:
    """The contacts of one trial by each method, found when first asked for.

    trial: with small levels of its plates taken off. smooth: the filtered markers of the same trial.
    """

    def __init__(self, trial: Trial, processing: Processing, smooth: SmoothMarkers) -> None:
        self._trial, self._processing, self._smooth = trial, processing, smooth

    @cached_property
    def ground(self) -> Ground:
        """What the plates carry."""
        plates = self._trial.plates if has_force(self._trial) else ()
        return Ground(plates, self._trial.analog_rate_hz or 0.0, self._processing)

    @cached_property
    def force(self) -> Sided:
        """Every complete contact in vertical force, with its side where that can be told."""
        found, cop = self.ground.contacts, self.ground.centre_of_pressure
        feet = feet_of(self._smooth, self._processing)
        sides = sides_of(found, cop, self.ground.rate_hz, feet, self._trial.marker_rate_hz)
        return list(zip(sides, found, strict=True))

    @cached_property
    def sensor(self) -> list[tuple[str, Contact]]:
        """``sensor_contacts`` that lie within the trial's own recording from contact to toe-off.

        A second file starts earlier and ends later. What its sensors show there was neither filmed nor weighed, so it
        is no footfall of this trial; one that is cut by the recording's start or end is left out, as it is in force.
        """
        found = sensor_contacts(self._trial.signals, self._processing.sensors)
        return [(side, c) for side, c in found if c.start_s >= 0 and c.end_s <= self._trial.duration_s]

    @cached_property
    def markers(self) -> list[tuple[str, Contact]]:
        """Complete contacts by foot markers."""
        return marker_contacts(self._trial.markers, self._trial.marker_rate_hz, self._processing)

    @cached_property
    def laboratory(self) -> list[tuple[str, Contact]]:
        """Contacts that the laboratory marked from contact to the next toe-off of the foot, for comparison alone."""
        found, rate = [], self._trial.marker_rate_hz
        for side in SIDES:
            for one, then in pairwise(mark for mark in self._trial.marks if mark.side == side):
                lasts = then.time_s - one.time_s
                if (one.event, then.event) == ("contact", "toe_off") and 0 < lasts < LONGEST_MARKED_S:
                    frames = (int(one.time_s * rate), int(then.time_s * rate))
                    found.append((side, Contact(one.time_s, then.time_s, *frames)))
        return sorted(found, key=lambda pair: pair[1].start_s)

    @cached_property
    def believed(self) -> list[tuple[str | None, Contact, str]]:
        """Every complete contact as (side, contact, method), in order of time, all by one method.

        From force where the trial has force plates, even if they show nothing: then the recording is at fault and no
        other signal should cover it up. Without plates from foot sensors if they show contacts while the trial was
        recorded, else from foot markers. Side is None only for a contact in force whose foot cannot be told.
        """
        if has_force(self._trial):
            return [(side, contact, "force") for side, contact in self.force]
        if self.sensor:
            return [(side, contact, "sensor") for side, contact in self.sensor]
        return [(side, contact, "markers") for side, contact in self.markers]

    @cached_property
    def by_method(self) -> dict[str, list[tuple[str, Contact]]]:
        """Method -> (side, contact) in order of time, for every method that finds some: for their agreement."""
        found = {
            "force": [(side, contact) for side, contact in self.force if side is not None],
            "sensor": self.sensor,
            "markers": self.markers,
            "laboratory": self.laboratory,
        }
        return {method: found[method] for method in METHODS if found[method]}


def has_force(trial: Trial) -> bool:
    """Whether the trial has force plates with samples at a known rate."""
    return bool(trial.plates) and (trial.analog_rate_hz or 0) > 0


def force_contacts(trial: Trial, processing: Processing, smooth: SmoothMarkers) -> Sided:
    """``Contacts.force`` of a trial as it was recorded; none without force."""
    corrected = without_levels(trial, plate_readings(trial), processing.largest_level_n)
    return Contacts(corrected, processing, smooth).force


def feet_of(smooth: SmoothMarkers, processing: Processing) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Side -> filtered paths (frames, 3) m of its heel and forefoot marker; one stands for both if need be."""
    feet = {}
    for side in SIDES:
        names = [f"{role}_{side}" for role in (processing.heel_role, processing.forefoot_role)]
        if there := [smooth.paths[name] for name in names if name in smooth.paths]:
            feet[side] = (there[0], there[-1])
    return feet
