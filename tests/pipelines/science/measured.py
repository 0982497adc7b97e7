"""Long-form measurements for tests of contrasts."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd


def measured(rows: Iterable[tuple[str, str, str, float]], outcome: str = "contact_time_s") -> pd.DataFrame:
    """(runner, site, condition, value), each row a trial of its own at the first visit."""
    return pd.DataFrame(
        [
            {
                "trial_id": f"T{i}",
                "participant_id": runner,
                "site": site,
                "visit": "week_0",
                "condition": condition,
                "outcome": outcome,
                "value": value,
            }
            for i, (runner, site, condition, value) in enumerate(rows)
        ]
    )
