"""Faults of a whole site, planted in an invented pool: each returns a changed copy and has a size.

The sizes that matter are stated with each: what a site really does, and what would spoil a pooled comparison.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

Pool = Mapping[str, pd.DataFrame]


def shifted(pool: Pool, site: str, column: str, by: float) -> dict[str, pd.DataFrame]:
    """One outcome is off by ``by`` in every runner of the site.

    It matters from about three spreads between runners: a foot strike angle without the standing trial taken off is off
    by 20 degrees and more, contact found at another threshold by 10 to 20 ms (one spread, which stays unseen).
    """
    means = pool["runner_means"].copy()
    means.loc[means["site"] == site, column] += by
    return {**pool, "runner_means": means}


def alike(pool: Pool, table: str, site: str, column: str, factor: float) -> dict[str, pd.DataFrame]:
    """The site's values lie about their mean ``factor`` times as far as they should; 0: all are copies of one."""
    rows = pool[table].copy()
    own = rows["site"] == site
    mean = rows.loc[own, column].mean()
    rows.loc[own, column] = mean + factor * (rows.loc[own, column] - mean)
    return {**pool, table: rows}


def left_out(pool: Pool, table: str, site: str, column: str, share: float) -> dict[str, pd.DataFrame]:
    """The first ``share`` of the site's runners have no value."""
    rows = pool[table].copy()
    runners = sorted(rows.loc[rows["site"] == site, "participant_id"].unique())
    gone = runners[: round(share * len(runners))]
    rows.loc[(rows["site"] == site) & rows["participant_id"].isin(gone), column] = np.nan
    return {**pool, table: rows}


def rounded(pool: Pool, site: str, column: str, step: float) -> dict[str, pd.DataFrame]:
    """The site writes a body measure to ``step`` only. Masses to 0.5 kg cost 0.4 % of force, statures little."""
    changed = dict(pool)
    for table in ("runners", "sessions"):
        if column in pool[table]:
            rows = pool[table].copy()
            own = rows["site"] == site
            rows.loc[own, column] = ((rows.loc[own, column] / step).round() * step).round(3)
            changed[table] = rows
    return changed


def copied_masses(pool: Pool, site: str) -> dict[str, pd.DataFrame]:
    """The mass of a runner's first visit stands at all visits: off by 1 % after ten weeks, as force outcomes then are."""
    sessions = pool["sessions"].copy()
    own = sessions["site"] == site
    sessions.loc[own, "mass_kg"] = sessions[own].groupby("participant_id")["mass_kg"].transform("first")
    return {**pool, "sessions": sessions}


def drifting(pool: Pool, site: str, quantity: str, by: float, after: int) -> dict[str, pd.DataFrame]:
    """A quantity of the site's equipment moves by ``by`` in all, evenly over the sessions after the first ``after``."""
    rows = pool["device_sessions"].copy()
    own = (rows["site"] == site) & (rows["quantity"] == quantity)
    number = rows.loc[own, "point_number"]
    rows.loc[own, "measured_value"] += by * ((number - after).clip(lower=0) / (number.max() - after))
    return {**pool, "device_sessions": rows}
