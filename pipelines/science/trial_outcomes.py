"""What one running trial says as a whole, from its footfalls and signals: the ``trial_outcomes`` table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipelines.science.frames import Rows
from pipelines.science.gait.force import impulse
from pipelines.science.signals.sampling import stretch
from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import UP, Posture, Trial


def trial_outcomes(
    trial: Trial, footfalls: Rows, speed_m_per_s: float | None, posture: Posture | None
) -> dict[str, Any]:
    """The row of ``trial_outcomes`` less provenance and what ``whole_trial`` gives; null values are None.

    footfalls, speed_m_per_s: of the same trial. Forces are divided by the mass weighed in the session; the mass
    estimated from force stands beside it for comparison and is not used in its place.
    """
    weighed = trial.mass_kg is not None and trial.mass_kg > 0
    return {
        "trial_id": trial.trial_id,
        "footfall_count": len(footfalls),
        "footfalls_with_impact_peak_fraction": with_impact_peak(footfalls),
        "speed_m_per_s": speed_m_per_s,
        "mass_used_kg": trial.mass_kg if weighed else None,
        "mass_source": "session" if weighed else None,
        "mass_from_force_kg": trial_mass_from_force(trial, footfalls),
        "has_standing_posture": posture is not None,
        "filled_fraction": filled_fraction(trial),
    }


def with_impact_peak(footfalls: Rows) -> float | None:
    """Share of the footfalls whose force is known that have an impact peak; null if none is."""
    known = np.isfinite(footfalls.numbers("active_peak_bw"))
    return float(np.isfinite(footfalls.numbers("impact_peak_bw"))[known].mean()) if known.any() else None


def mass_from_force(
    contact_s: Sequence[float], impulse_n_s: Sequence[float], gravity_m_per_s2: float = STANDARD_GRAVITY
) -> float | None:
    """Body mass in kg that the vertical impulses of consecutive contacts carry; null with fewer than two.

    contact_s: start of each contact in s. impulse_n_s: its vertical impulse in N.s. Over whole steps the mean vertical
    force is body weight (first principles), so m = (J1 / 2 + J2 + ... + Jk / 2) / (g (tk - t1)). With three or more
    contacts an odd number of them is taken, that is whole strides, so that both feet weigh the same.
    """
    count = len(contact_s)
    if count < 2:
        return None
    if count > 2 and count % 2 == 0:
        count -= 1
    carried = np.asarray(impulse_n_s[:count], float)
    total = carried.sum() - (carried[0] + carried[-1]) / 2
    mass = float(total / (gravity_m_per_s2 * (contact_s[count - 1] - contact_s[0])))
    return mass if np.isfinite(mass) and mass > 0 else None


def trial_mass_from_force(trial: Trial, footfalls: Rows) -> float | None:
    """``mass_from_force`` over the longest run of steps without a missing contact; null where there is no step."""
    if whole_steps(footfalls) < 1 or not trial.analog_rate_hz:
        return None
    start, stop = longest_run(footfalls)
    vertical = trial.force[:, UP]
    begins, ends = (footfalls.numbers(name)[start:stop].tolist() for name in ("contact_s", "toe_off_s"))
    impulses = [
        impulse(*stretch(vertical, trial.analog_rate_hz, begin, end)) for begin, end in zip(begins, ends, strict=True)
    ]
    return mass_from_force(begins, impulses)


def whole_steps(footfalls: Rows) -> int:
    """Steps over which ``trial_mass_from_force`` goes: an even number of them, or one where there is no more."""
    start, stop = longest_run(footfalls)
    steps = stop - start - 1
    return steps if steps < 2 else steps - steps % 2


def longest_run(footfalls: Rows) -> tuple[int, int]:
    """First footfall of the longest run in which each but the last leads on to the next, and the one after its last."""
    best, start = (0, 0), 0
    for i, leads in enumerate(np.isfinite(footfalls.numbers("step_time_s"))):
        if i + 1 - start > best[1] - best[0]:
            best = (start, i + 1)
        if not leads:
            start = i + 1
    return best


def filled_fraction(trial: Trial) -> float | None:
    """Share of all marker samples, missing ones counted, that were filled across short gaps. Null without markers."""
    total = sum(len(flags) for flags in trial.filled.values())
    return sum(int(np.sum(flags)) for flags in trial.filled.values()) / total if total else None
