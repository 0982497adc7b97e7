"""What one laboratory has otherwise than the study: thresholds of checks, and how force becomes events there.

Each with the reason for it and the day it was agreed on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Any

from pydantic import ConfigDict, Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from schemas.processing import LEAST_EVENT_CUTOFF_HZ, MOST_LEVEL_N, MOST_THRESHOLD_N, Processing
from schemas.settings import Settings


def a_day(value: Any) -> Any:
    """Refuses what is no day, before it is read; a bare number would be taken for seconds."""
    if not isinstance(value, str | date) or isinstance(value, datetime):
        raise PydanticCustomError("date_type", "a date")
    return value


class SiteLimit(Settings):
    """A threshold of one site that differs from the study's; shown with its reason on the site's page."""

    model_config = ConfigDict(str_strip_whitespace=True)

    value: float = Field(description="The threshold, in the unit of the check's page.")
    reason: str = Field(min_length=1, description="Why the site needs it; do not name anybody.")
    since: date = Field(
        description="Day it was agreed on, for example 2026-03-02; it counts for earlier deliveries, too."
    )

    @field_validator("since", mode="before")
    @classmethod
    def _a_day(cls, value: Any) -> Any:
        return a_day(value)


class SiteEvents(Settings):
    """How events are found in the force of one site, where its plates need it; shown with its reason on its page."""

    model_config = ConfigDict(str_strip_whitespace=True)

    contact_threshold_n: float | None = Field(
        default=None,
        gt=0,
        le=MOST_THRESHOLD_N,
        description="Instead of the study's processing.contact_threshold_n; not above processing.contact_sure_n.",
    )
    event_cutoff_hz: float | None = Field(
        default=None,
        ge=LEAST_EVENT_CUTOFF_HZ,
        description="Instead of the study's processing.event_cutoff_hz; below half of the site's force rate.",
    )
    largest_level_n: float | None = Field(
        default=None, ge=0, le=MOST_LEVEL_N, description="Instead of the study's processing.largest_level_n."
    )
    reason: str = Field(min_length=1, description="Why the site needs it; do not name anybody.")
    since: date = Field(description="Day it was agreed on; it counts for earlier deliveries, too.")

    @field_validator("since", mode="before")
    @classmethod
    def _a_day(cls, value: Any) -> Any:
        return a_day(value)

    @model_validator(mode="after")
    def _says_something(self) -> SiteEvents:
        if not self.changes:
            raise ValueError("contact_threshold_n, event_cutoff_hz or largest_level_n, one of them or more")
        return self

    @property
    def changes(self) -> dict[str, float]:
        """The settings of ``processing`` that are others here."""
        own = {
            "contact_threshold_n": self.contact_threshold_n,
            "event_cutoff_hz": self.event_cutoff_hz,
            "largest_level_n": self.largest_level_n,
        }
        return {name: value for name, value in own.items() if value is not None}


def contradictions(
    site: str, processing: Processing, limits: Mapping[str, float], rates_hz: tuple[float, float | None]
) -> Iterator[str]:
    """What a laboratory's settings would have to be to work together, as clauses that say where and why.

    processing: as it is there. limits: its own or the study's of ``plates_read_zero_unloaded``. rates_hz: of markers and
    of force.
    """
    offset = limits.get("offset_n")
    if offset is not None and offset > processing.largest_level_n:
        yield (
            f"sites.{site}.events.largest_level_n of {offset:g} or more, as plates_read_zero_unloaded.offset_n is "
            f"{offset:g} N there; a level above {processing.largest_level_n:g} N would neither be taken off nor go back"
        )
    if processing.contact_threshold_n > processing.contact_sure_n:
        yield (
            f"sites.{site}.events.contact_threshold_n of processing.contact_sure_n, {processing.contact_sure_n:g} N, or "
            f"less; it is {processing.contact_threshold_n:g}"
        )
    yield from _filters_of_nothing(site, processing, *rates_hz)


def _filters_of_nothing(site: str, p: Processing, marker_hz: float, force_hz: float | None) -> Iterator[str]:
    cutoffs: dict[str, tuple[float | None, float | None]] = {
        "marker_cutoff_hz": (p.marker_cutoff_hz, marker_hz),
        "marker_events.cutoff_hz": (p.marker_events.cutoff_hz, marker_hz),
        "joints.moment_cutoff_hz": (p.joints.moment_cutoff_hz, marker_hz),
        "force_cutoff_hz": (p.force_cutoff_hz, force_hz),
        "event_cutoff_hz": (p.event_cutoff_hz, force_hz),
    }
    for name, (cutoff, rate) in cutoffs.items():
        if cutoff is not None and rate is not None and cutoff >= rate / 2:
            yield (
                f"processing.{name} below half the {rate:g} Hz of site {site}; a filter of {cutoff:g} Hz has nothing "
                "to filter there"
            )
