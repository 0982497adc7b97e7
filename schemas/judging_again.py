"""How much judging again may move before a person is asked, as the study file sets it."""

from __future__ import annotations

from pydantic import Field

from schemas.settings import Settings


class JudgingAgain(Settings):
    """How many trials a change of code or settings may move into or out of the pool before somebody must say yes."""

    most_trials: int = Field(
        default=5, ge=0, description="Up to this many are published without asking, whatever their part. Own limit."
    )
    most_fraction: float = Field(
        default=0.02, ge=0, le=1, description="Up to this part of all accepted trials, too. Own limit."
    )
