"""Times the contrasts of 90 outcomes over 3 visits, 60 runners and 5 sites: within runners, at sites, pooled.

``python -m benchmarks.contrasts``. Means are drawn at random and mean nothing; six runners were at every site.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import product

import numpy as np
import pandas as pd

from pipelines.science.statistics.contrasts import runner_contrasts, site_contrasts
from pipelines.science.statistics.pooled import pooled_contrasts
from schemas.processing import Processing

OUTCOMES, VISITS, CONDITIONS = 90, ("first", "middle", "last"), ("cushioned", "thin_soled", "unshod")
RUNNERS, SITES, TRAVELLING = 60, 5, 6


def runners_means() -> pd.DataFrame:
    """As ``runner_contrasts`` takes them."""
    people = [(f"R{n:02}", f"site_{n % SITES}") for n in range(RUNNERS)]
    people += [(f"R{n:02}", f"site_{site}") for n in range(TRAVELLING) for site in range(SITES) if site != n % SITES]
    rows = [(*who, visit, condition) for who, visit, condition in product(people, VISITS, CONDITIONS)]
    each = pd.DataFrame(rows, columns=["participant_id", "site", "visit", "condition"])
    each = each.assign(set_speed_m_per_s=3.0, event_method="force", trial_count=1)
    rng = np.random.default_rng(1)
    named = [each.assign(outcome=f"o{n:02}", mean_value=rng.normal(1, 0.1, len(each))) for n in range(OUTCOMES)]
    return pd.concat(named, ignore_index=True)


def main() -> None:
    """Print how long each step takes, by the clock and of one core: on a busy machine the two differ."""
    processing, means = Processing(), runners_means()
    rows: list[pd.DataFrame] = []
    every: tuple[tuple[str, Callable[[], pd.DataFrame]], ...] = (
        ("within runners", lambda: runner_contrasts(means, processing, VISITS)),
        ("at sites", lambda: site_contrasts(rows[0], processing)),
        ("pooled", lambda: pooled_contrasts(rows[0], rows[1], processing)),
    )
    first = time.perf_counter(), time.process_time()
    for name, make in every:
        since = time.perf_counter(), time.process_time()
        rows.append(make())
        print(f"{name:16}{len(rows[-1]):>8} rows", *_spent(since))
    print(f"{'all':29}", *_spent(first))


def _spent(since: tuple[float, float]) -> tuple[str, str]:
    wall, core = time.perf_counter() - since[0], time.process_time() - since[1]
    return f"{wall:>7.1f} s", f"{core:>7.1f} s of one core"


if __name__ == "__main__":
    main()
