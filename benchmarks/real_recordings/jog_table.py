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


def onsets() -> Iterator[tuple[str, int, float, float, float]]:
    """Muscle, contact in order, our onset by the energy operator, its spread over methods, and the truth's, in ms."""
    one = jog()
    rows = one.work.muscle_outcomes.bursts.records
    for label, muscle in MUSCLES.items():
        own = [r for r in rows if (r["muscle"], r["onset_method"]) == (muscle, "energy_operator")]
        found = one.truth["muscles"][label]["energy_operator"]
        for place, (row, truth) in enumerate(zip(own, found, strict=False), start=1):
            theirs = truth["onset_before_contact_s"]
            values = (row["onset_before_contact_s"], row["onset_spread_s"], theirs)
            ours, spread, known = (np.nan if v is None else 1000 * float(v) for v in values)
            yield muscle, place, ours, spread, known


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
    yield f"{'onset before contact':24}{'':13}{'contact':>8}{'truth ms':>10}{'ours ms':>10}{'off':>8}{'spread':>9}"
    near: list[bool] = []
    doubt: list[float] = []
    for muscle, place, ours, spread, truth in onsets():
        off = ours - truth
        if np.isnan(ours) and np.isnan(truth):
            yield f"{muscle:24}{'':13}{place:8}{'none':>10}{'none':>10}{'':17}  agrees, and counts for nothing"
            continue
        near.append(bool(abs(off) <= ONSET_MS))
        doubt.append(spread)
        verdict = "agrees" if near[-1] else "differs"
        yield f"{muscle:24}{'':13}{place:8}{truth:10.0f}{ours:10.0f}{off:+8.0f}{spread:9.0f}  {verdict}"
    yield f"within {ONSET_MS:g} ms: {sum(near)} of {len(near)}"
    sure = [a for a, b in zip(near, doubt, strict=True) if b <= ONSET_MS]
    yield f"of those whose methods lie within {ONSET_MS:g} ms of each other: {sum(sure)} of {len(sure)}"


if __name__ == "__main__":
    if not there():
        raise SystemExit("The real recordings are not on this machine (../shared/real_treadmill, real_runway_emg).")
    for line in lines():
        print(line)
