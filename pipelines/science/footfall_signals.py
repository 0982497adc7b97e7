"""The signals of one trial as its footfalls need them: force as recorded and filtered, markers, contacts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from pipelines.science.events.contacts import Contacts, has_force
from pipelines.science.gait.force import force_outcomes
from pipelines.science.gait.shin import Shin, shins
from pipelines.science.gait.spatiotemporal import Footfall
from pipelines.science.signals.sampling import stretch
from pipelines.science.signals.smooth import SmoothMarkers
from schemas.mechanics import STANDARD_GRAVITY
from schemas.processing import Processing
from schemas.trial import FORWARD, UP, FloatArray, Trial

_IN_PLANE = [FORWARD, UP]
#: A sine reaches from trough to top 2.83 times its standard deviation.
_ABOVE_SHAKING = 3.0


class Signals:
    """The signals of one trial as its footfalls need them.

    both: (n, 4) N, force forward and up, then both once more, filtered as for peaks.
    """

    def __init__(self, trial: Trial, processing: Processing, contacts: Contacts, smooth: SmoothMarkers) -> None:
        self.trial, self.processing, self._markers = trial, processing, smooth.paths
        self.has_force = has_force(trial)
        self.rate = trial.analog_rate_hz or 0.0
        self.ground = contacts.ground
        self.both = np.hstack([self.ground.raw[:, _IN_PLANE], self.ground.smooth[:, _IN_PLANE]])
        found = contacts.believed
        self.footfalls = [Footfall(contact, side) for side, contact, _ in found]
        self.method = found[0][2] if found else None
        mass = trial.mass_kg
        self.weight = mass * STANDARD_GRAVITY if mass is not None and mass > 0 else None

    @property
    def filtered_vertical(self) -> FloatArray:
        """(n,) N: vertical force filtered as for peaks; (0,) without force."""
        return self.both[:, 3]

    @cached_property
    def forces(self) -> list[dict[str, Any]]:
        """The columns of force of each footfall, in order; none of a foot that cannot be told."""
        return [_forces(self, one) if one.side is not None else {} for one in self.footfalls]

    @cached_property
    def shins(self) -> dict[str, Shin]:
        """Side -> the accelerometer on its shin."""
        return shins(self.trial.signals, self.processing.sensors.tibial_cutoff_hz, self.processing.filter_order)

    @cached_property
    def shaken_n(self) -> float:
        """Standard deviation of the filtered vertical force by noise and vibration of the plates alone.

        In flight all of it is that; on the ground, after the impact, what is faster than the cut-off for events, where
        the filter for peaks lets more pass.
        """
        contacts, smooth = [one.contact for one in self.footfalls], self.filtered_vertical
        flights = [smooth[slice(*_middle(a.last, b.first, 0.25, 0.75))] for a, b in pairwise(contacts)]
        shaken = _spread(flights)
        settings = self.processing
        if settings.event_cutoff_hz is not None and settings.force_cutoff_hz > settings.event_cutoff_hz:
            faster = smooth - self.ground.event_vertical
            shaken = math.hypot(shaken, _spread([faster[slice(*_middle(c.first, c.last, 0.2, 0.9))] for c in contacts]))
        return shaken

    def first(self, count: int, contact_late_s: FloatArray, toe_off_late_s: FloatArray) -> Signals:
        """The same with the first footfalls alone, their contacts and toe-offs (count,) later by so many seconds."""
        other = copy(self)
        late = zip(self.footfalls[:count], contact_late_s.tolist(), toe_off_late_s.tolist(), strict=True)
        other.footfalls = [_moved(footfall, *by) for footfall, *by in late]
        vars(other).pop("forces", None)  # those of other contacts
        return other

    def marker(self, role: str, side: str) -> FloatArray | None:
        """Path of one marker (frames, 3) m, or None if the trial lacks it."""
        return self._markers.get(f"{role}_{side}")


def _middle(start: int, stop: int, first: float, last: float) -> tuple[int, int]:
    return round(start + first * (stop - start)), round(start + last * (stop - start))


def _spread(parts: Sequence[FloatArray]) -> float:
    """Root mean square about each part's own mean; 0 where nothing is known."""
    known = [part - part.mean() for part in parts if len(part) > 1 and np.isfinite(part).all()]
    return float(np.sqrt(np.mean(np.concatenate(known) ** 2))) if known else 0.0


def _moved(footfall: Footfall, contact_s: float, toe_off_s: float) -> Footfall:
    contact = footfall.contact
    later = replace(contact, start_s=contact.start_s + contact_s, end_s=contact.end_s + toe_off_s)
    return replace(footfall, contact=later)


def _forces(signals: Signals, footfall: Footfall) -> dict[str, Any]:
    if signals.weight is None or not signals.has_force:
        return {}
    contact, settings = footfall.contact, signals.processing
    times, both = stretch(signals.both, signals.rate, contact.start_s, contact.end_s)
    force, filtered = both[:, :2], both[:, 2:]
    return force_outcomes(
        times,
        force,
        filtered,
        signals.weight,
        impact_window_fraction=settings.impact_window_fraction,
        impact_prominence_bw=max(settings.impact_prominence_bw, _ABOVE_SHAKING * signals.shaken_n / signals.weight),
        loading_fraction=settings.loading_fraction,
        impact_latest_s=settings.impact_latest_s,
    )
