"""The report on what comes back of what was simulated: nothing is left out, and it says when a doubt is too small."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from benchmarks.detection.specimens import CONDITIONS, Case
from benchmarks.recovery.compared import Compared, Seen, bouts, compared
from benchmarks.recovery.groups import PUBLISHED, beside
from benchmarks.recovery.page import UNKNOWN, lines, outcomes_without_truth, page


@cache
def _seen() -> tuple[list[Seen], list[Compared]]:
    cases = (Case(0, "brack", muscles=True), Case(0, "corrie", muscles=True))
    return [compared(case) for case in cases], list(bouts(("brack",), CONDITIONS[:1]))


def _group() -> dict[str, dict[str, np.ndarray]]:
    """Runners as the published ones, whose contact times alone are all alike."""
    chance = np.random.default_rng(0)
    group: dict[str, dict[str, np.ndarray]] = {c: {} for c in CONDITIONS}
    for one in PUBLISHED:
        middle = (one.low + one.high) / 2
        sd = 1e-3 if one.outcome == "contact_time_s" else one.sd or 1.0
        group[one.condition][one.outcome] = (middle + sd * chance.standard_normal(200)) / one.scale
    for condition in CONDITIONS:
        for name in ("impact_peak_bw", "flight_time_s", "knee/sagittal/moment_peak_nm_per_kg", "contact_time_s"):
            group[condition].setdefault(name, np.ones(200))
        group[condition].setdefault("ankle/sagittal/moment_peak_nm_per_kg", np.ones(200))
    return group


def test_every_real_outcome_has_a_truth_or_a_reason_why_not() -> None:
    seen, gas = _seen()
    listed = lines([*(value for one in seen for value in one.values), *gas])
    reasons = {name for names in UNKNOWN for name in names.split()}
    # with ten footfalls alone there is a scatter of step lengths
    few = {"stride_time_sd_s", "step_length_sd_m", "active_peak_sd_bw", "average_loading_rate_sd_bw_per_s"}
    assert set(outcomes_without_truth(listed)) - few <= reasons
    assert not {line.outcome for line in listed} & reasons
    assert all(one.missed == one.invented == 0 for one in seen)


def test_an_uncertainty_that_seldom_holds_the_truth_is_told_as_too_small() -> None:
    chance = np.random.default_rng(1)
    errors = chance.standard_normal(4000)
    values = [Compared("brack", f"t{i}", "honest", 1 + e, 1.0, 1.0) for i, e in enumerate(errors)]
    values += [Compared("brack", f"t{i}", "too_sure", 1 + e, 1.0, 0.4) for i, e in enumerate(errors)]
    honest, too_sure = lines(values)
    assert not honest.is_too_sure
    assert honest.one == pytest.approx(0.68, abs=0.03)
    assert too_sure.is_too_sure
    text = page([Seen(tuple(values))], [], _group())
    assert "* `too_sure`" in text
    assert "* `honest`" not in text


def test_runners_that_are_all_alike_are_told() -> None:
    stood = beside(_group())
    assert {one.published.outcome for one in stood if one.misses} == {"contact_time_s"}
    assert all(one.misses == "runners too alike" for one in stood if one.misses)
