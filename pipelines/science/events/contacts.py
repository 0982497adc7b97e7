"""Which contacts a trial has, and from which signal: force, else foot sensors, else markers."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from pipelines.science.events.from_force import SIDES, Contact, find_contacts, plate_count, sides_of
from pipelines.science.events.from_markers import marker_contacts
from pipelines.science.events.from_sensors import sensor_contacts
from pipelines.science.signals.smooth import SmoothMarkers
from schemas.mechanics import centre_of_pressure
from schemas.processing import Processing
from schemas.trial import UP, FloatArray, Plate, Trial

#: The methods of ``codes.EVENT_METHOD`` in the order in which they are believed.
METHODS = ("force", "sensor", "markers")
Sided = list[tuple[str | None, Contact]]


class Contacts:
    """The contacts of one trial by each method, found when first asked for.

    smooth: the filtered markers of the same trial.
    """

    def __init__(self, trial: Trial, processing: Processing, smooth: SmoothMarkers) -> None:
        self._trial, self._processing, self._smooth = trial, processing, smooth

    @cached_property
    def force(self) -> Sided:
        """Every complete contact in the summed vertical force, with its side where that can be told."""
        return force_contacts(self._trial, self._processing, self._smooth)

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
        }
        return {method: found[method] for method in METHODS if found[method]}


def has_force(trial: Trial) -> bool:
    """Whether the trial has force plates with samples at a known rate."""
    return bool(trial.plates) and (trial.analog_rate_hz or 0) > 0


def force_contacts(trial: Trial, processing: Processing, smooth: SmoothMarkers) -> Sided:
    """Every complete contact in the summed vertical force, with its side where that can be told."""
    if not has_force(trial):
        return []
    rate = trial.analog_rate_hz or 0.0
    contacts = find_contacts(
        trial.force[:, UP],
        rate,
        threshold_n=processing.contact_threshold_n,
        shortest_contact_s=processing.shortest_contact_s,
        shortest_flight_s=processing.shortest_flight_s,
    )
    cop = cop_of(trial.plates, contacts, processing)
    feet = feet_of(smooth, processing)
    sides = sides_of(contacts, cop, rate, feet, trial.marker_rate_hz)
    return list(zip(sides, contacts, strict=True))


def feet_of(smooth: SmoothMarkers, processing: Processing) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Side -> filtered paths (frames, 3) m of its heel and forefoot marker; one stands for both if need be."""
    feet = {}
    for side in SIDES:
        names = [f"{role}_{side}" for role in (processing.heel_role, processing.forefoot_role)]
        if there := [smooth.paths[name] for name in names if name in smooth.paths]:
            feet[side] = (there[0], there[-1])
    return feet


def cop_of(plates: Sequence[Plate], contacts: Sequence[Contact], processing: Processing) -> FloatArray:
    """Centre of pressure (n, 3) m during the contacts, NaN between them and below the threshold for it.

    Only the plates that are loaded during a contact count for it: the noise of the others, at the long lever of their
    distance from the foot, would move the point by centimetres. If none is loaded on its own all of them count.
    """
    where = np.full((len(plates[0].force), 3), np.nan) if plates else np.empty((0, 3))
    points: dict[tuple[int, ...], FloatArray] = {}  # plates by number -> their centre of pressure over the trial
    for contact in contacts:
        loaded = loaded_plates(plates, contact, processing.contact_threshold_n) or list(plates)
        key = tuple(plate.number for plate in loaded)
        if key not in points:
            force, moment = (np.sum([getattr(plate, name) for plate in loaded], axis=0) for name in ("force", "moment"))
            height = float(np.mean([plate.corners[:, UP].mean() for plate in loaded]))
            points[key] = centre_of_pressure(force, moment, height, processing.cop_threshold_n)
        span = slice(contact.first, contact.last + 1)
        where[span] = points[key][span]
    return where


def loaded_plates(plates: Sequence[Plate], contact: Contact, threshold_n: float) -> list[Plate]:
    """The plates whose own vertical force reaches the threshold during the contact."""
    return [plate for plate in plates if plate_count((plate,), contact, threshold_n)]
