"""The page docs/reference/coverage.md, from what was measured and from nothing else."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from benchmarks.coverage.adjusted import ALLOWED, NOT_ALLOWED, Adjusted
from benchmarks.coverage.curve import BAND, OF_THESE, OVER_SITES, Curved
from benchmarks.coverage.dose import Dosed, weeks_as_runners
from benchmarks.coverage.measure import IGNORING_SITES
from benchmarks.coverage.rates import Measured
from benchmarks.coverage.studies import UNEQUALLY, Cell

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference" / "coverage.md"
_WORDS = {
    "one_stage_mixed_model": "mixed model",
    "random_effects_restricted_likelihood": "random effects, REML",
    "random_effects_dersimonian_laird": "random effects, DL",
    IGNORING_SITES: "*t* that ignores sites",
}
#: Shown for comparison: what they leave out is in the studies.
_WRONG = (IGNORING_SITES, NOT_ALLOWED, weeks_as_runners.__name__, BAND)
_ADJUSTED_WORDS = {ALLOWED: "mixed model with them", NOT_ALLOWED: "mixed model without them"}
_ADJUSTED = """
## With the covariates of a plan

Order, speed and body mass change what is measured in these studies, and the plan allows for what stands behind the
semicolon; beside it stands what the same model says without that. They go the way of a plan, from trials to
`planned_contrasts`. {count} comparisons of each kind, twenty in each study: these share runners, order and speeds. 80 %
ran the reference first where that is in it, and running second adds 0.5; the condition is run faster by 0.1 m/s in the
mean, and 1 m/s adds 2.
"""
_DOSE_WORDS = {"slope": "slope over runners", weeks_as_runners.__name__: "weeks counted as runners"}
_DOSED = """
## Dose and response

A response goes with the hours in the new footwear by a known slope, or not at all, in {count} studies of each kind
(`benchmarks/coverage/dose.py`): an outcome whose spread is the same in everybody, or grows with the hours, and weekly
symptoms, which most runners do not have in most weeks. Below the slope of `planned_dose_responses` stands what would
come of counting each of ten weeks as a runner of its own. Per 10 hours; the true slope is 1, of symptoms 4 points.
Hours are what runners tell: an error in them pulls the slope towards zero, which no interval covers. The last two kinds
of study show by how much.
"""
_CURVE_WORDS = {
    OF_THESE: "band for runners of these sites",
    OVER_SITES: "band over sites",
    BAND: "the first, read as if over sites",
}
_CURVED = """
## Curves

Mean difference curves, {count} studies of each kind (`benchmarks/coverage/curve.py`). Coverage is how often a band of
`planned_curve_points` holds the true curve at all of its points at once; bias and width are means over the curve. The
band for runners of these sites is asked for the mean curve of the very sites that were in the study. The band over
sites (`sites_`) is asked for that of all sites there could be, and is given from four sites on: with three it would be
some 60 standard errors to either side. Below them stands what would come of reading the first as the second. Patterns
in which whole sites change their sign are no way out: they reach no p below 2 in 2^sites, which is 0.25 with three
sites, 0.063 with five and 0.031 with six. The 5 unequal sites have 3 to 24 runners.
"""
_BY_INTERVAL = """
## By what the interval is made of

The same intervals of the mixed model, apart by the word in `interval`: whoever reads a row knows which it is. A share
of few studies is told badly: (n) is how many.

| Studies | Interval | Share | Coverage (n) |
|---|---|---|---|
"""
_TOLD = """
## What is told where runners vary unequally

Runners of one site vary more or less than those of the others in these studies, or the sites are so unequal that nobody
could see it if they did. Where it is seen, the mean of the sites' means stands in for the mixed model
(`reason_simpler`); where it is not, the model's own interval is wide enough. Random effects keep their model: `caution`
tells it there, also where the design could hardly show it. The last column is the coverage of the rows that say
nothing; a dash where there are none.

| Studies | Method | Stands in | Caution alone | Neither | Coverage of these |
|---|---|---|---|---|---|
"""
_HEAD = """# How often the intervals hold the truth

Studies with a known answer are simulated (`benchmarks/coverage/studies.py`), {count} of each kind, half of them with no
difference at all, and go the way of a real study: `runner_contrasts`, `site_contrasts`, `pooled_contrasts`. Of each
method of the pool this page tells how often its 95 % interval holds the true difference (coverage), how often p < 0.05
where there is none (type I), how often where there is one of {effect} (power), its mean error (bias), and how wide the
interval is. Unit: one runner's difference at one site has a standard deviation of 1. Sites differ by a standard
deviation of 0, 0.35 (small), 0.7 (moderate) or 1.7 (large). `3 x 5` is three sites with five runners each. What the
mixed model does where sites are very unequal or vary unequally is told by `interval`, `fitted_components` and `caution`
of [pooled_contrasts](tables/pooled_contrasts.md). The model's own intervals are never narrower than Kenward & Roger's
with no fewer degrees of freedom than the sites have, and where the mean of the sites' means stands in, the larger of
two errors counts with the degrees of freedom of the sites, so that studies whose sites agree by luck are no surer for
it; the price is that over all studies intervals hold the truth too often where sites differ little, most with three.

Aim: coverage 0.93 to 0.97 and type I at most 0.06 in every kind of study that holds nothing a model cannot know of;
from {count} studies a share is told to about {slack:.3f} (two standard errors), and that much is allowed. **Bold**
misses it. The *t* that ignores sites is not in the warehouse: it stands here to show what an analysis that pools all
runners would claim.
"""


def page(
    measured: Mapping[str, Mapping[str, Measured]], cells: Iterable[Cell | Adjusted | Dosed | Curved], count: int
) -> str:
    """The whole page. measured: cell -> method -> what it did."""
    every = list(cells)
    listed = [cell for cell in every if isinstance(cell, Cell)]
    adjusted = [cell.name for cell in every if isinstance(cell, Adjusted)]
    dosed = [cell.name for cell in every if isinstance(cell, Dosed)]
    lines = [_HEAD.format(count=count, effect=listed[0].effect, slack=2 * (0.95 * 0.05 / count) ** 0.5)]
    lines += _table([cell.name for cell in listed if cell.is_fair], measured, _WORDS, judged=True)
    lines += _by_interval([cell.name for cell in listed if cell.is_fair], measured)
    lines += _told([cell.name for cell in listed if cell.is_fair and cell.sizes in UNEQUALLY], measured)
    if adjusted:
        lines += [_ADJUSTED.format(count=count // 2), *_table(adjusted, measured, _ADJUSTED_WORDS, judged=True)]
    if dosed:
        lines += [_DOSED.format(count=count), *_table(dosed, measured, _DOSE_WORDS, judged=True)]
    lines += curves_section([cell for cell in every if isinstance(cell, Curved)], measured, count)
    lines += ["", "## Studies that hold what no model can know of", ""]
    lines += [
        "What makes these wrong is not in the table of differences, and no interval covers it. Here is by how much.",
        "",
    ]
    lines += _table([cell.name for cell in listed if not cell.is_fair], measured, _WORDS, judged=False)
    fair = [cell.name for cell in listed if cell.is_fair]
    missed = [*_missed(fair, measured, _WORDS), *_missed(adjusted, measured, _ADJUSTED_WORDS)]
    missed += _missed(dosed, measured, _DOSE_WORDS)
    missed += _missed([cell.name for cell in every if isinstance(cell, Curved)], measured, _CURVE_WORDS)
    lines += ["", "## Where the aim is missed", "", *(missed or ["Nowhere."])]
    made = "<!-- Made by `make coverage`; changes by hand are lost. -->"
    return "\n".join([*lines, "", made]) + "\n"


def _by_interval(cells: Sequence[str], measured: Mapping[str, Mapping[str, Measured]]) -> list[str]:
    """The lines about each kind of interval; none if no study was measured."""
    lines = [*_BY_INTERVAL.rstrip("\n").split("\n")] if cells else []
    for cell in cells:
        one = measured[cell]["one_stage_mixed_model"]
        for word, (share, coverage) in sorted(one.by_interval.items()):
            lines.append(f"| {cell} | {word} | {share:.3f} | {coverage:.3f} ({round(share * one.studies)}) |")
    return lines


def _told(cells: Sequence[str], measured: Mapping[str, Mapping[str, Measured]]) -> list[str]:
    """The lines about what rows tell of unequal noise; none if no such study was measured."""
    lines = [*_TOLD.rstrip("\n").split("\n")] if cells else []
    for cell in cells:
        for method, words in list(_WORDS.items())[:2]:
            one = measured[cell][method]
            if one.studies:
                shares = " | ".join(f"{share:.3f}" for share in (one.stood_in, one.cautioned, one.untold))
                within = "-" if math.isnan(one.untold_coverage) else f"{one.untold_coverage:.3f}"
                lines.append(f"| {cell} | {words} | {shares} | {within} |")
    return lines


def curves_section(curved: Sequence[Curved], measured: Mapping[str, Mapping[str, Measured]], count: int) -> list[str]:
    """The lines about curves; none if none was measured."""
    if not curved:
        return []
    names = [cell.name for cell in curved]
    return [_CURVED.format(count=count), *_table(names, measured, _CURVE_WORDS, judged=True)]


def _table(
    cells: Iterable[str],
    measured: Mapping[str, Mapping[str, Measured]],
    methods: Mapping[str, str],
    *,
    judged: bool,
) -> list[str]:
    lines = ["| Studies | Method | Coverage | Type I | Power | Bias | Width |", "|---|---|---|---|---|---|---|"]
    for cell in cells:
        for method, words in methods.items():
            if method not in measured[cell]:
                continue
            one = measured[cell][method]
            if not one.studies:
                lines.append(f"| {cell} | {words} | no answer | - | - | - | - |")
                continue
            weight = "**" if judged and method not in _WRONG and not one.is_in_aim else ""
            type_1, power = (
                "-" if math.isnan(rate) else f"{rate:.{n}f}" for rate, n in ((one.type_1, 3), (one.power, 2))
            )
            numbers = f"{weight}{one.coverage:.3f}{weight} | {type_1} | {power} | {one.bias:+.3f}"
            lines.append(f"| {cell} | {words} | {numbers} | {one.width:.2f} |")
    return lines


def _missed(
    cells: Iterable[str], measured: Mapping[str, Mapping[str, Measured]], methods: Mapping[str, str]
) -> list[str]:
    lines = []
    for cell in cells:
        for method, words in methods.items():
            if method not in measured[cell]:
                continue
            one = measured[cell][method]
            if method not in _WRONG and not one.is_in_aim:
                side = "too wide" if one.coverage > 0.97 else "too narrow"
                lines.append(f"- {cell}, {words}: intervals are {side}, coverage {one.coverage:.3f}.")
            if one.without_answer:
                lines.append(f"- {cell}, {words}: {one.without_answer} studies without an answer.")
    return lines
