"""How many examples a property test tries: few in ``make test``, many more in ``make explore``."""

from __future__ import annotations

import os

from hypothesis import settings

_MORE = 25


def tries(few: int) -> settings:
    """``few`` examples, for a property of which each costs more than a few milliseconds, or needs more than usual."""
    return settings(max_examples=few * _MORE if os.environ.get("MANYSTRIDES_HYPOTHESIS") == "explore" else few)
