"""The page docs/reference/recovery.md, from what was measured and from nothing else."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.detection.imperfections import IMPERFECTIONS
from benchmarks.detection.specimens import SITES
from benchmarks.recovery.compared import Compared, Seen
from benchmarks.recovery.groups import DIRECTIONS, REAL, SPEED_M_PER_S, Group, beside, changes
from demo_site_uploads.simulator.runner import RUNNERS
from schemas.catalogue import TABLES
from schemas.model import Kind

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference" / "recovery.md"
#: Of normal errors 68 % lie within one standard uncertainty and 95 % within two. Own rule for what is told as too small.
LEAST_ONE, LEAST_TWO = 0.60, 0.90
_TABLES = ("footfalls", "footfall_joints", "trial_outcomes", "muscle_bursts", "muscle_amplitudes", "energy_bouts")
#: Outcome, or the beginning of its name, -> why no truth stands beside it.
UNKNOWN = {
    "tibial_acceleration_peak_in_g": "no accelerometer is simulated",
    "frontal": "no laboratory of the demonstration has the inner markers that this plane takes, and the simulated knee is a hinge",
    "transverse": "as frontal",
    "footfalls_with_impact_peak_fraction": "told above as impact peaks found and missed",
    "filled_fraction": "gaps are planted after the simulation; no outcome of running",
    "mass_used_kg": "what the tables say, not what is measured",
    "onset_by_threshold_s onset_by_energy_operator_s onset_by_change_point_s onset_spread_s onset_quality": "told by `python -m benchmarks.onsets`",
    "onset_uncertainty_s": "a doubt, not an outcome; held against errors above",
    "amplitude_fraction reference_uv": "a reference of a session is made of recordings; not simulated as one number",
    "window_s": "the length of a window, not an outcome",
    "set_speed_m_per_s": "what the tables say",
    "oxygen_uptake_ml_per_min carbon_dioxide_output_ml_per_min oxygen_cost_ml_per_kg_km": "in proportion to power at a known exchange ratio; told by power",
    "plateau_change_percent samples_left_out_fraction oxygen_drift_percent_per_min oxygen_drift_uncertainty_percent_per_min metabolic_power_uncertainty_w_per_kg": "qualities of a plateau, not outcomes of running",
}  # fmt: skip


@dataclass(frozen=True)
class Line:
    """One outcome over all laboratories. bias_at: laboratory -> bias. one, two: share within 1 and 2 uncertainties."""

    outcome: str
    count: int
    trials: int
    true_mean: float
    bias: float
    sd: float
    bias_at: dict[str, float]
    uncertainty: float
    one: float
    two: float

    @property
    def is_too_sure(self) -> bool:
        """Whether the stated uncertainty holds the truth less often than it should."""
        return math.isfinite(self.one) and (self.one < LEAST_ONE or self.two < LEAST_TWO)


def lines(values: Iterable[Compared]) -> list[Line]:
    """One for each outcome, in the order in which they first came, of those that have a value and a truth."""
    by_outcome: dict[str, list[Compared]] = {}
    for value in values:
        own = by_outcome.setdefault(value.outcome, [])
        if math.isfinite(value.found) and math.isfinite(value.true):
            own.append(value)
    return [_line(outcome, own) for outcome, own in by_outcome.items() if own]


def _line(outcome: str, own: Sequence[Compared]) -> Line:
    error = np.array([x.found - x.true for x in own])
    stated = np.array([x.uncertainty for x in own])
    known = np.isfinite(stated)
    share = [float(np.mean(np.abs(error[known]) <= k * stated[known])) if known.any() else math.nan for k in (1, 2)]
    at = {site: float(np.mean(e)) for site in SITES if (e := [x.found - x.true for x in own if x.site == site])}
    return Line(
        outcome,
        len(own),
        len({x.trial_id for x in own}),
        float(np.mean([x.true for x in own])),
        float(error.mean()),
        float(error.std(ddof=1)) if len(own) > 1 else math.nan,
        at,
        float(np.median(stated[known])) if known.any() else math.nan,
        *share,
    )


def page(seen: Sequence[Seen], gas: Sequence[Compared], group: Group) -> str:
    """The whole page. seen: of each trial; gas: of each bout."""
    values = [value for one in seen for value in one.values]
    listed = lines([*values, *gas])
    text = [*_head(seen), *_table(listed), *_peaks(values), *_too_sure(listed), *_unknown(listed), *_groups(group)]
    return "\n".join([*text, "", "<!-- Made by `make recovery`; changes by hand are lost. -->"]) + "\n"


def _head(seen: Sequence[Seen]) -> list[str]:
    missed, invented = sum(x.missed for x in seen), sum(x.invented for x in seen)
    return [
        "# What comes back of what was simulated",
        "",
        f"{len(seen)} running trials of as many invented runners in the three invented laboratories, written into files, "
        "read, and sent the way of a real trial. Beside each outcome stands its truth: the same definition applied to "
        "the simulated force and motion without noise, filter or sample rate, by formulas of its own "
        "(`demo_site_uploads/simulator/truth.py`; moments by `true_loads.py`). The recordings have what good ones have:",
        "",
        *(f"* {one}" for one in IMPERFECTIONS),
        "",
        f"{missed} footfalls were not found, {invented} were found that were not there. Of breathing gas: every bout of "
        f"{len(RUNNERS)} invented runners.",
        "",
        "This tells what rates, filters, noise and our own formulas do. It does not tell what the simulated runner lacks: "
        "that skin moves with the load, that joints are no hinges, that a centre of rotation is not under a marker, that "
        "segments differ from published proportions. Stated uncertainties allow for some of these, and are larger than the "
        "errors here for that reason. Within a trial many errors are alike, so that the number of trials counts.",
        "",
        "**Bias** is found less true, **SD** that of these errors, *u* the median of the standard uncertainty that "
        "`outcome_uncertainties` (or the table itself) states, and the last two columns the share of errors within 1 and 2 "
        f"*u*: of normal errors 0.68 and 0.95. **Bold** is below {LEAST_ONE:.2f} or {LEAST_TWO:.2f}: stated too small.",
        "",
    ]


def _table(listed: Iterable[Line]) -> list[str]:
    head = f"| Outcome | n (trials) | True mean | Bias | SD | {' | '.join(f'Bias {site}' for site in SITES)} | *u* | 1 *u* | 2 *u* |"
    rows = [head, "|---" * (8 + len(SITES)) + "|"]
    for one in listed:
        at = " | ".join(_number(one.bias_at.get(site, math.nan), one) for site in SITES)
        numbers = " | ".join(_number(x, one) for x in (one.true_mean, one.bias, one.sd))
        shares = " | ".join(_share(x, least) for x, least in ((one.one, LEAST_ONE), (one.two, LEAST_TWO)))
        rows.append(
            f"| `{one.outcome}` | {one.count} ({one.trials}) | {numbers} | {at} | {_number(one.uncertainty, one)} | {shares} |"
        )
    return rows


def _share(share: float, least: float) -> str:
    if math.isnan(share):
        return "-"
    return f"**{share:.2f}**" if share < least else f"{share:.2f}"


def _number(value: float, of: Line) -> str:
    """With as many digits as the errors of this outcome have two significant ones."""
    if math.isnan(value):
        return "-"
    size = of.sd if of.sd > 0 else abs(of.true_mean) or 1.0
    digits = min(6, max(0, 1 - math.floor(math.log10(size))))
    return f"{value:.{digits}f}"


def _peaks(values: Iterable[Compared]) -> list[str]:
    own = [x for x in values if x.outcome == "impact_peak_bw" and x.site != "tarn"]
    there = [x for x in own if math.isfinite(x.true)]
    missed = sum(math.isnan(x.found) for x in there)
    wrong = sum(math.isfinite(x.found) and math.isnan(x.true) for x in own)
    return [
        "",
        f"Impact peaks: of {len(there)} that are there {missed} were not found; in {len(own) - len(there)} footfalls "
        f"without one {wrong} were found.",
    ]


def _too_sure(listed: Iterable[Line]) -> list[str]:
    small = [f"* `{x.outcome}`: {x.one:.2f} and {x.two:.2f}" for x in listed if x.is_too_sure]
    return ["", "## Stated too small", "", *(small or ["None."])]


def outcomes_without_truth(listed: Iterable[Line]) -> list[str]:
    """Real columns of the tables of outcomes that nothing was held against."""
    had = {x.outcome.rpartition("/")[2] for x in listed}
    columns = [f.name for name in _TABLES for f in TABLES[name].fields if f.kind is Kind.REAL]
    return [name for name in dict.fromkeys(columns) if name not in had]


def _unknown(listed: Iterable[Line]) -> list[str]:
    said = {name: why for names, why in UNKNOWN.items() for name in names.split()}
    rows = [f"* `{name}`: {said.get(name, 'no truth')}" for name in outcomes_without_truth(listed)]
    planes = [f"* angles of the {name} plane: {said[name]}" for name in ("frontal", "transverse")]
    return ["", "## What the simulator does not know", "", *rows, *planes]


def _groups(group: Group) -> list[str]:
    text = [
        "",
        "## Simulated against published group values",
        "",
        f"True means of {len(RUNNERS)} invented runners at {SPEED_M_PER_S:g} m/s, week 0, and the SD between them. Credible is "
        "the published mean give or take its SD, or the range that the source gives. Real are two runners, computed by this "
        "pipeline: one at 2.5 m/s on a belt (Fukuchi et al. 2017, PeerJ 5:e3298), one at 3.57 m/s on a runway (data of J Exp "
        "Biol 215:1944, 2012). One runner is no group. The last column tells what is off: the mean outside, or runners "
        "less than half or more than twice as unlike as real ones.",
        "",
        "| Outcome | Condition | Simulated mean (SD) | Credible mean | SD | Real 2.5, 3.57 m/s | Off | Source |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for one in beside(group):
        ours = one.published
        real = "-"
        if ours.condition == "cushioned" and ours.outcome in REAL:
            real = ", ".join("none" if math.isnan(x) else f"{x * ours.scale:.3g}" for x in REAL[ours.outcome])
        off = f"**{one.misses}**" if one.misses else ""
        text.append(
            f"| `{ours.outcome}`, {ours.unit} | {ours.condition} | {one.mean:.3g} ({one.sd:.2g}) | {ours.low:g} to {ours.high:g} | "
            f"{'-' if ours.sd is None else f'{ours.sd:g}'} | {real} | {off} | {ours.source} |"
        )
    text += [
        "",
        "| Change | From, to | Real groups | Simulated mean (SD) | As in real groups | Source |",
        "|---|---|---|---|---|---|",
    ]
    for way in DIRECTIONS:
        apart = changes(group, way)
        same = np.mean(np.sign(apart) == way.sign) if len(apart) else math.nan
        weight = "" if same > 0.5 else "**"
        text.append(
            f"| `{way.outcome}` | {way.first}, {way.second} | {'higher' if way.sign > 0 else 'lower'} | {apart.mean():+.3g} "
            f"({apart.std(ddof=1):.2g}) | {weight}{same:.0%} of runners{weight} | {way.source} |"
        )
    return text
