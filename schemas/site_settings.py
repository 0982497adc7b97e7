"""What one laboratory has otherwise than the study: thresholds of checks, and how force becomes events there.

Each with the reason for it and the day it was agreed on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from pydantic import ConfigDict, Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from schemas.settings import Settings

if TYPE_CHECKING:
    from schemas.processing import Processing


def a_day(value: Any) -> Any:
    """Refuses what is no day, before it is read; a bare number would be taken for seconds."""
    if not isinstance(value, str | date) or isinstance(value, datetime):
        raise PydanticCustomError("date_type", "a date")
    return value


class SiteLimit(Settings):
    """A threshold of one laboratory that differs from the study's; shown with its reason on the laboratory's page."""

    model_config = ConfigDict(str_strip_whitespace=True)

    value: float = Field(description="The threshold, in the unit of the check's page.")
    reason: str = Field(min_length=1, description="Why the laboratory needs it; do not name anybody.")
    since: date = Field(
        description="Day it was agreed on, for example 2026-03-02; it counts for earlier deliveries, too."
    )

    @field_validator("since", mode="before")
    @classmethod
    def _a_day(cls, value: Any) -> Any:
        return a_day(value)


class SiteEvents(Settings):
    """How events are found in the force of one laboratory, where its plates need it; shown with its reason on its page."""

    model_config = ConfigDict(str_strip_whitespace=True)

    contact_threshold_n: float | None = Field(
        default=None, gt=0, description="Instead of the study's processing.contact_threshold_n."
    )
    event_cutoff_hz: float | None = Field(
        default=None, gt=0, description="Instead of the study's processing.event_cutoff_hz."
    )
    largest_level_n: float | None = Field(
        default=None, ge=0, description="Instead of the study's processing.largest_level_n."
    )
    reason: str = Field(min_length=1, description="Why the laboratory needs it; do not name anybody.")
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
    by_rate = {"marker_cutoff_hz": rates_hz[0], "force_cutoff_hz": rates_hz[1], "event_cutoff_hz": rates_hz[1]}
    for name, rate in by_rate.items():
        cutoff = getattr(processing, name)
        if cutoff is not None and rate is not None and cutoff >= rate / 2:
            yield (
                f"processing.{name} below half the {rate:g} Hz of site {site}, or null for no filter; "
                f"{cutoff:g} Hz filters nothing there"
            )
