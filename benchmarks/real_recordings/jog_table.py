"""``python -m benchmarks.real_recordings.jog_table``: muscles of the real jog beside the truth, with a verdict each.

The truth was worked out from the source without this program; its filters are others (20 to 450 Hz all the same) and so
are its thresholds of onsets. Nobody knows when a real muscle truly began: an onset is compared with another onset.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from benchmarks.real_recordings.jog_muscles import GAIN, MUSCLES, SIDE, jog
from benchmarks.real_recordings.recordings import there

#: our window -> what it is called in the truth; swing ends elsewhere there
WINDOWS = {"pre_contact": "pre_contact_0.1_s", "loading": "loading", "push_off": "push_off"}
#: Own choices: as far as filters and thresholds of two careful people may differ.
AMPLITUDE_PERCENT, ONSET_MS = 5.0, 20.0


def amplitudes() -> Iterator[tuple[str, str, int, float, float]]:
    """Muscle, window, contact in order, ours and the truth in uV at a gain of 1000."""
    one = jog()
    rows = one.work.muscle_outcomes.amplitudes.records
    for label, muscle in MUSCLES.items():
        contacts = one.truth["muscles"][label]["rms_v_by_contact"]
        for window, theirs in WINDOWS.items():
            own = [r["amplitude_uv"] for r in rows if (r["muscle"], r["analysis_window"]) == (muscle, window)]
            for place, (ours, contact) in enumerate(zip(own, contacts, strict=False), start=1):
                yield muscle, window, place, ours, 1e6 / GAIN * contact[theirs]


def onsets() -> Iterator[tuple[str, str, int, float, float, float, float]]:
    """Muscle, burst, contact in order; in ms our onset, its uncertainty, ours by the energy operator, the truth's.

    The truth tells of one burst for each contact; of ours that one whose onset by the same operator lies nearest.
    """
    one = jog()
    rows = one.work.muscle_outcomes.bursts.records
    contacts = sorted({row["footfall_number"] for row in rows})
    for label, muscle in MUSCLES.items():
        found = one.truth["muscles"][label]["energy_operator"]
        for place, (footfall, truth) in enumerate(zip(contacts, found, strict=False), start=1):
            known = 1000 * float("nan" if truth["onset_before_contact_s"] is None else truth["onset_before_contact_s"])
            own = [row for row in rows if (row["muscle"], row["footfall_number"]) == (muscle, footfall)]
            row = min(own, key=lambda r: np.nan_to_num(abs(1000 * r["onset_by_energy_operator_s"] - known), nan=np.inf))
            names = ("onset_before_contact_s", "onset_uncertainty_s", "onset_by_energy_operator_s")
            given, uncertainty, operator = (1000 * float(row[name]) for name in names)
            yield muscle, row["burst"], place, given, uncertainty, operator, known


def lines() -> Iterator[str]:
    """Both tables, and how many agree."""
    work, side = jog().work, [row["side"] for row in jog().work.footfalls.records]
    yield f"{len(MUSCLES)} muscles of the {SIDE} leg, {side.count(SIDE)} contacts of its foot, {work.trial.trial_id}"
    yield f"{'amplitude':24}{'window':13}{'contact':>8}{'truth uV':>10}{'ours uV':>10}{'off':>8}"
    good: list[bool] = []
    for muscle, window, place, ours, truth in amplitudes():
        off = 100 * (ours / truth - 1)
        good.append(abs(off) <= AMPLITUDE_PERCENT)
        verdict = "agrees" if good[-1] else "differs"
        yield f"{muscle:24}{window:13}{place:8}{truth:10.1f}{ours:10.1f}{off:+7.1f}% {verdict}"
    yield f"within {AMPLITUDE_PERCENT:g} %: {sum(good)} of {len(good)}"
    heads = "".join(f"{word:>10}" for word in ("truth ms", "operator", "off", "given", "sure to"))
    yield f"{'onset before contact':24}{'burst':13}{'contact':>8}{heads}"
    near: list[bool] = []
    sure: list[bool] = []
    for muscle, burst, place, given, uncertainty, operator, truth in onsets():
        if np.isnan(operator) and np.isnan(truth):
            yield f"{muscle:24}{'':13}{place:8}{'none':>10}{'none':>10}{'':30}  agrees, and counts for nothing"
            continue
        near.append(bool(abs(operator - truth) <= ONSET_MS))
        verdict = "agrees" if near[-1] else "differs"
        ours = f"{'none':>10}{'':10}"
        if np.isfinite(given):
            sure.append(bool(abs(given - truth) <= 2 * uncertainty))
            ours = f"{given:10.0f}{uncertainty:10.0f}"
            verdict += (
                ", within two of its uncertainties" if sure[-1] else ", further off than two of its uncertainties"
            )
        yield f"{muscle:24}{burst:13}{place:8}{truth:10.0f}{operator:10.0f}{operator - truth:+10.0f}{ours}  {verdict}"
    yield f"by the same operator within {ONSET_MS:g} ms: {sum(near)} of {len(near)}"
    yield f"given, and the truth's within two of its uncertainties: {sum(sure)} of {len(sure)}"


if __name__ == "__main__":
    if not there():
        raise SystemExit("The real recordings are not on this machine (../shared/real_treadmill, real_runway_emg).")
    for line in lines():
        print(line)
