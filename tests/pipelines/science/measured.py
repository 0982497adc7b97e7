"""Runners' means for tests of contrasts."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd


def measured(rows: Iterable[tuple[str, str, str, float]], outcome: str = "contact_time_s") -> pd.DataFrame:
    """(runner, site, condition, mean), each of one trial at the first visit, as ``runner_contrasts`` takes them."""
    frame = pd.DataFrame(list(rows), columns=["participant_id", "site", "condition", "mean_value"])
    return frame.assign(visit="week_0", set_speed_m_per_s=3.0, event_method="force", outcome=outcome, trial_count=1)
