"""The simulated runners as a group beside published groups and two real runners: means, and how runners differ."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from benchmarks.detection.specimens import CONDITIONS, STUDY
from demo_site_uploads.simulator.breathing import true_cost
from demo_site_uploads.simulator.measure import SPEED_M_PER_S, Asked, simulate_trial
from demo_site_uploads.simulator.runner import RUNNERS
from demo_site_uploads.simulator.truth import truth_of

#: Condition -> outcome -> one true mean of each runner, (runners,).
Group = Mapping[str, Mapping[str, np.ndarray]]
ANKLE_WORK, KNEE_WORK = (f"{joint}/sagittal/positive_work_j_per_kg" for joint in ("ankle", "knee"))
_KNEE, _ANKLE = "knee/sagittal/", "ankle/sagittal/"
_LIEBERMAN = "Lieberman et al. 2010, Nature 463:531, 3.5 m/s; from memory"
_STRIKES = "J Sports Sci Med 24:747, Table 1, speed not told"


@dataclass(frozen=True)
class Published:
    """What is known of real groups. low, high: range of credible means; sd: between runners, None where not known."""

    outcome: str
    condition: str
    low: float
    high: float
    sd: float | None
    source: str
    scale: float = 1.0  # of ours, to the source's unit
    unit: str = ""


#: Means as ranges: the published mean give or take its standard deviation, or the range the source gives.
PUBLISHED = (
    Published("contact_time_s", "cushioned", 230, 270, 20, f"rearfoot 250 (20) ms; {_STRIKES}", 1000, "ms"),
    Published("contact_time_s", "thin_soled", 217, 257, 20, f"midfoot 237 (20) ms; {_STRIKES}", 1000, "ms"),
    Published("contact_time_s", "unshod", 214, 268, 27, f"forefoot 241 (27) ms; {_STRIKES}", 1000, "ms"),
    Published("foot_strike_angle_deg", "cushioned", 13.3, 22.1, 4.4, f"rearfoot 17.7 (4.4); {_STRIKES}", unit="deg"),
    Published("foot_strike_angle_deg", "thin_soled", 1.1, 4.1, 1.47, f"midfoot 2.6 (1.5); {_STRIKES}", unit="deg"),
    Published("foot_strike_angle_deg", "unshod", -10.7, -5.2, 2.75, f"forefoot -7.9 (2.8); {_STRIKES}", unit="deg"),
    Published(
        "duty_factor_fraction", "cushioned", 0.299, 0.338, 0.023,
        "0.338 at 2.5 m/s, 0.299 at 3.5 m/s: Fukuchi et al. 2017 data, worked out second-hand; SD of another group",
        unit="1",
    ),
    Published(
        "active_peak_bw", "cushioned", 2.31, 2.69, 0.19,
        "2.50 (0.19) along the leg at 3.06 m/s: Front Physiol 2022;13:1044363, Table 5", unit="BW",
    ),
    Published("impact_peak_bw", "cushioned", 1.29, 2.19, 0.45, f"shod rearfoot 1.74 (0.45); {_LIEBERMAN}", unit="BW"),
    Published(
        "average_loading_rate_bw_per_s", "cushioned", 46.8, 85.8, 19.5,
        "66.3 (19.5) at 3.7 m/s, by the time to the impact peak: Milner et al. 2006, MSSE 38:323; from memory", unit="BW/s",
    ),
    Published(
        "average_loading_rate_bw_per_s", "unshod", 30, 135, 70,
        f"unshod forefoot 64.6 (70.1), habitual runners, another definition; {_LIEBERMAN}", unit="BW/s",
    ),
    Published(
        "braking_peak_bw", "cushioned", -0.45, -0.25, 0.05,
        "0.25 to 0.45 body weights, about 0.05 between runners; from memory, no source opened", unit="BW",
    ),
    Published(f"{_KNEE}angle_at_contact_deg", "cushioned", 12, 18, 5, "about 3 m/s, standing as zero; from memory", unit="deg"),
    Published(f"{_KNEE}angle_peak_deg", "cushioned", 40, 48, 5, "about 3 m/s, standing as zero; from memory", unit="deg"),
    Published(f"{_KNEE}moment_peak_nm_per_kg", "cushioned", 2.5, 3.5, 0.5, "about 3 m/s; from memory", unit="N.m/kg"),
    Published(f"{_ANKLE}moment_peak_nm_per_kg", "cushioned", 2.1, 3.2, 0.35, "about 3 m/s; from memory", unit="N.m/kg"),
    Published(ANKLE_WORK, "cushioned", 0.55, 0.85, 0.12, "about 3 m/s; from memory", unit="J/kg"),
    Published(KNEE_WORK, "cushioned", 0.30, 0.55, 0.1, "about 3 m/s; from memory", unit="J/kg"),
    Published(
        "energy_cost_j_per_kg_m", "cushioned", 3.15, 5.15, 1.0,
        "14.54 (3.52) W/kg at 3.50 m/s: Looney et al. 2023, JSCR 37:2496 (SD of people of many kinds)", unit="J/(kg.m)",
    ),
)  # fmt: skip

#: Outcome -> the mean of one real runner at 2.5 m/s on a belt, and of one at 3.57 m/s on a runway, by this pipeline.
REAL = {
    "contact_time_s": (0.333, 0.243),
    "foot_strike_angle_deg": (15.6, -0.5),
    "duty_factor_fraction": (0.417, 0.323),
    "active_peak_bw": (2.11, 2.70),
    "impact_peak_bw": (1.29, math.nan),
    "average_loading_rate_bw_per_s": (39.3, 41.3),
    "braking_peak_bw": (-0.278, -0.381),
    f"{_KNEE}angle_at_contact_deg": (19.5, 13.9),
    f"{_KNEE}angle_peak_deg": (47.5, 41.4),
    f"{_KNEE}moment_peak_nm_per_kg": (2.65, 3.22),
    f"{_ANKLE}moment_peak_nm_per_kg": (2.11, 3.14),
    ANKLE_WORK: (0.66, 0.84),
    KNEE_WORK: (0.37, 0.43),
}


@dataclass(frozen=True)
class Direction:
    """What differs between two conditions in real groups. sign: of second less first."""

    outcome: str
    first: str
    second: str
    sign: int
    source: str


_MOMENTS = "Bonacci et al. 2013, BJSM 47:387; Kerrigan et al. 2009, PM&R 1:1058; from memory"
DIRECTIONS = (
    Direction("impact_peak_bw", "cushioned", "thin_soled", -1, "Divert et al. 2005, IJSM 26:593 (unshod 1.48, shod 1.70)"),
    Direction("contact_time_s", "cushioned", "unshod", -1, "Divert et al. 2005, IJSM 26:593"),
    Direction("flight_time_s", "cushioned", "unshod", -1, "Divert et al. 2005, IJSM 26:593"),
    Direction("foot_strike_angle_deg", "cushioned", "unshod", -1, "De Wit et al. 2000, J Biomech 33:269"),
    Direction(f"{_KNEE}moment_peak_nm_per_kg", "cushioned", "unshod", -1, _MOMENTS),
    Direction(f"{_ANKLE}moment_peak_nm_per_kg", "cushioned", "unshod", 1, _MOMENTS),
)  # fmt: skip


def simulated() -> Group:
    """The true means of every invented runner at week 0, at the demonstration's speed, on the belt with force."""
    found: dict[str, dict[str, list[float]]] = {}
    settings = STUDY.processing_at("brack")
    for condition in CONDITIONS:
        own = found.setdefault(condition, {})
        for name, runner in RUNNERS.items():
            trial = simulate_trial(f"G-{name}-{condition}", "brack", runner, condition, "week_0")
            asked = Asked("standing")
            still = simulate_trial(f"G-{name}-{condition}-still", "brack", runner, condition, "week_0", asked)
            truths = truth_of(trial, still, settings)
            for outcome in truths[0].values:
                values = [x.values[outcome] for x in truths if math.isfinite(x.values[outcome])]
                own.setdefault(outcome, []).append(float(np.mean(values)) if values else math.nan)
            own.setdefault("energy_cost_j_per_kg_m", []).append(true_cost(runner, condition, "week_0"))
    return {c: {outcome: np.array(v) for outcome, v in own.items()} for c, own in found.items()}


@dataclass(frozen=True)
class Stood:
    """A published group and ours beside it, in the source's unit."""

    published: Published
    mean: float
    sd: float

    @property
    def misses(self) -> str:
        """In words what is off; empty if nothing is. Own rule: a spread of less than half, or more than twice."""
        said = []
        if not self.published.low <= self.mean <= self.published.high:
            said.append("mean")
        if self.published.sd is not None and not 0.5 <= self.sd / self.published.sd <= 2:
            said.append("runners too alike" if self.sd < self.published.sd else "runners too unlike")
        return ", ".join(said)


def beside(group: Group) -> list[Stood]:
    """Every published value with ours."""
    found = []
    for one in PUBLISHED:
        own = group[one.condition][one.outcome] * one.scale
        own = own[np.isfinite(own)]
        found.append(Stood(one, float(own.mean()), float(own.std(ddof=1))))
    return found


def changes(group: Group, one: Direction) -> np.ndarray:
    """(k,) second less first condition in each runner who has both."""
    apart = group[one.second][one.outcome] - group[one.first][one.outcome]
    return np.asarray(apart[np.isfinite(apart)])


__all__ = ["DIRECTIONS", "PUBLISHED", "REAL", "SPEED_M_PER_S", "beside", "changes", "simulated"]
