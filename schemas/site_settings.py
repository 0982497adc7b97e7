"""What one laboratory has otherwise than the study: thresholds of checks, and how events are found in its force.

Each with the reason for it and the day it was agreed on.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from pydantic import ConfigDict, Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from schemas.settings import Settings


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
    reason: str = Field(min_length=1, description="Why the laboratory needs it; do not name anybody.")
    since: date = Field(description="Day it was agreed on; it counts for earlier deliveries, too.")

    @field_validator("since", mode="before")
    @classmethod
    def _a_day(cls, value: Any) -> Any:
        return a_day(value)

    @model_validator(mode="after")
    def _says_something(self) -> SiteEvents:
        if not self.changes:
            raise ValueError("contact_threshold_n, event_cutoff_hz, or both")
        return self

    @property
    def changes(self) -> dict[str, float]:
        """The settings of ``processing`` that are others here."""
        own = {"contact_threshold_n": self.contact_threshold_n, "event_cutoff_hz": self.event_cutoff_hz}
        return {name: value for name, value in own.items() if value is not None}
