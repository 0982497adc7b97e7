"""The ground's force on the runner: which plates carry each contact, and their force alone, raw and smoothed alike.

Each plate is looked at for itself, so that neither noise nor a small level of plates nobody stands on adds up. What a
contact is, is in ``from_force``; levels are taken off in ``pipelines.science.equipment.plates``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pipelines.science.events.from_force import Contact, find_contacts
from pipelines.science.signals.filters import low_pass_paths
from schemas.mechanics import centre_of_pressure, runs
from schemas.processing import Processing
from schemas.trial import UP, FloatArray, Plate


@dataclass(frozen=True)
class Stand:
    """One foot on the ground, or two that overlap. first, stop: samples from the middle of the flight before to that of
    the flight after. loaded: places of the plates that carry it, in the trial's list. on, off: where they do."""

    first: int
    stop: int
    on: int
    off: int
    loaded: tuple[int, ...]


class Ground:
    """Force and moment under the feet of one trial.

    plates: with small levels taken off, all as long as each other, or none. rate_hz: their samples per second.
    """

    def __init__(self, plates: Sequence[Plate], rate_hz: float, processing: Processing) -> None:
        self.plates, self.rate_hz, self._processing = tuple(plates), rate_hz, processing
        self._below: dict[float | None, dict[int, FloatArray]] = {}

    @cached_property
    def contacts(self) -> tuple[Contact, ...]:
        """Complete contacts in the vertical force of the plates that carry them, smoothed as for events."""
        settings = self._processing
        vertical = self.event_vertical
        found = find_contacts(
            vertical,
            self.rate_hz,
            threshold_n=settings.contact_threshold_n,
            shortest_contact_s=settings.shortest_contact_s,
            shortest_flight_s=settings.shortest_flight_s,
        )
        return tuple(one for one in found if np.nanmax(vertical[one.first : one.last + 1]) >= self._sure_n)

    @cached_property
    def event_vertical(self) -> FloatArray:
        """(n,) N: vertical force of the plates that carry each contact, filtered as for events."""
        return self._carried(self._processing.event_cutoff_hz)[:, UP]

    @cached_property
    def raw(self) -> FloatArray:
        """(n, 6) force in N and moment about the study's origin in N.m, as recorded; 0 where no plate carries."""
        return self._carried(None)

    @cached_property
    def smooth(self) -> FloatArray:
        """The same, filtered as for peaks."""
        return self._carried(self._processing.force_cutoff_hz)

    def below(self, cutoff_hz: float, loaded: tuple[int, ...]) -> FloatArray:
        """(n, 6) the same of some plates over the whole trial, filtered at another cut-off."""
        smoothed = self._smoothed(cutoff_hz)
        total: FloatArray = np.sum([smoothed[place] for place in loaded], axis=0)
        return total

    @cached_property
    def centre_of_pressure(self) -> FloatArray:
        """(n, 3) m during the contacts, from the smoothed wrench; NaN between them and below the threshold for it."""
        where = np.full((len(self.smooth), 3), np.nan)
        for contact in self.contacts:
            surfaces = [self.plates[place].corners[:, UP].mean() for place in self.loaded(contact.start_s)]
            span = slice(contact.first, contact.last + 1)
            force, moment = self.smooth[span, :3], self.smooth[span, 3:]
            height = float(np.mean(surfaces)) if surfaces else 0.0
            where[span] = centre_of_pressure(force, moment, height, self._processing.cop_threshold_n)
        return where

    def loaded(self, moment_s: float) -> tuple[int, ...]:
        """Places of the plates that carry the contact of that moment; none where nobody stands."""
        sample = moment_s * self.rate_hz
        return next((one.loaded for one in self._stands if one.first <= sample < one.stop), ())

    @cached_property
    def _stands(self) -> tuple[Stand, ...]:
        """In order of time; together they cover the trial, if there are any."""
        settings = self._processing
        pause = settings.shortest_flight_s * self.rate_hz
        with np.errstate(invalid="ignore"):
            spells = sorted(
                (a, b, place)
                for place, wrench in self._smoothed(settings.event_cutoff_hz).items()
                for a, b in runs(wrench[:, UP] >= self._sure_n)
            )
        grouped: list[tuple[int, int, set[int]]] = []
        for a, b, place in spells:
            if grouped and a - grouped[-1][1] < pause:
                on, off, loaded = grouped[-1]
                grouped[-1] = on, max(off, b), loaded | {place}
            else:
                grouped.append((a, b, {place}))
        if not grouped:
            return ()
        edges = [0, *((one[1] + next_[0]) // 2 for one, next_ in pairwise(grouped)), self._length]
        return tuple(
            Stand(edges[i], edges[i + 1], on, off, tuple(sorted(loaded))) for i, (on, off, loaded) in enumerate(grouped)
        )

    def _carried(self, cutoff_hz: float | None) -> FloatArray:
        """(n, 6) the sum over the plates that carry each contact.

        Between the contacts it is not known where any plate is not, since a step may have been missed there.
        """
        smoothed = self._smoothed(cutoff_hz)
        carried = np.zeros((self._length, 6))
        for one in self._stands:
            for place in one.loaded:
                carried[one.first : one.stop] += smoothed[place][one.first : one.stop]
            if self._unknown.any():
                for span in (slice(one.first, one.on), slice(one.off, one.stop)):
                    carried[span][self._unknown[span]] = np.nan
        return carried

    @cached_property
    def _unknown(self) -> NDArray[np.bool_]:
        """(n,) whether the vertical force of some plate is not known."""
        if not self.plates:
            return np.zeros(self._length, bool)
        return np.asarray(np.any([~np.isfinite(plate.force[:, UP]) for plate in self.plates], axis=0))

    @property
    def _length(self) -> int:
        return len(self.plates[0].force) if self.plates else 0

    def _smoothed(self, cutoff_hz: float | None) -> dict[int, FloatArray]:
        """Place -> (n, 6) wrench of each plate that is ever stood on."""
        if cutoff_hz not in self._below:
            order = self._processing.filter_order
            stood_on = [i for i, plate in enumerate(self.plates) if (plate.force[:, UP] >= self._sure_n).any()]
            parts = {f"{i} force": self.plates[i].force for i in stood_on}
            parts |= {f"{i} moment": self.plates[i].moment for i in stood_on}  # apart, since one may be unknown
            done = low_pass_paths(parts, self.rate_hz, cutoff_hz, order) if cutoff_hz is not None else parts
            self._below[cutoff_hz] = {i: np.hstack([done[f"{i} force"], done[f"{i} moment"]]) for i in stood_on}
        return self._below[cutoff_hz]

    @property
    def _sure_n(self) -> float:
        return max(self._processing.contact_sure_n, self._processing.contact_threshold_n)
