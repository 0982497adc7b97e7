"""The common form of everything a study file or a profile sets: typed, frozen, nothing unknown taken."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Settings(BaseModel):
    """Base of all settings."""

    model_config = ConfigDict(extra="forbid", frozen=True)
