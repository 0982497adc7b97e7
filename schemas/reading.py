"""How the reading of one trial file ended, before any judgement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Problem = Literal["missing", "malformed", "crashed", "too_slow", "too_large", "unsupported"]


@dataclass(frozen=True)
class Reading:
    """``problem`` is None for a file that was read; ``detail`` is a plain sentence without full stop."""

    trial_id: str
    file: str
    problem: Problem | None = None
    detail: str = ""
