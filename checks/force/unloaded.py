"""What moves a force plate while nobody is on it: its neighbours, and its own ringing.

The level it rests at is for ``force``, its noise for ``force_noise``.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from checks import showing as show
from checks.force import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.gait.spells import (
    Spell,
    contact_spells,
    lower_foot,
    rate_of,
    resting_spells,
    without_trend,
)
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.study import Study
from schemas.trial import FloatArray, Plate, Trial

#: Own choices: the shortest rest looked at, and for how long its vibration is, if the rest is twice as long.
REST_S, WINDOW_S = 0.06, 0.10
#: Samples a window is filled up to with zeros, to tell the frequency of a vibration finely.
FINE = 1024
_NO_REST = "no plate rests long enough after a contact, with its small forces left in"


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="While the foot is on plate {loaded} alone, plate {number} shows {share_found:+.1f} % of that force, up to "
    "{most_n:.0f} N, with the same shape (correlation {likeness:.2f}).",
    expected="A plate without a foot on it shows less than {share_percent:g} % of its neighbour's force.",
    remedy="Load plate {loaded} by hand and watch plate {number}. If it follows, look for touching covers or frames, a "
    "shared cable or ground, or an amplifier input that is wired to both; correct that and record again. If it does "
    "not, the export mixes the plates: check the channel numbers in FORCE_PLATFORM:CHANNEL and export again.",
    words=("loaded", "number", "share_found", "most_n", "likeness"),
    limits={
        "share_percent": Limit("%", "common practice: 2 % of a running step stays near the 20 N contact threshold"),
        "least_likeness": Limit("1", "own choice: a foot that really overlaps a plate loads it with another shape"),
    },
)
def plates_do_not_talk_across(
    trial: Trial, study: Study, *, share_percent: float = 2.0, least_likeness: float = 0.9
) -> Looked:
    """Force plates have no crosstalk: one without a foot on it shows nothing of its neighbour's force.

    What crosses over is added to the runner's force a second time, makes one footfall look like two plates' and, on a
    split treadmill, makes a contact of a foot that is in the air.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for loaded in trial.plates:
        for other in trial.plates:
            spells = [] if other is loaded else _alone(trial, study, loaded, other)
            examined += sum(b - a for a, b in spells)
            fault = _copy(loaded, other, spells) if spells else None
            if fault and abs(fault["share_found"]) > share_percent and fault["likeness"] > least_likeness:
                most = max(spells, key=lambda ab: float(np.ptp(signals.vertical(other)[slice(*ab)])))
                proof = shown.crosstalk(trial, loaded, other, most, share_percent / 100)
                at_s, peak_n = proof.panels[0].furthest_beyond(None) or (most[0] / rate_of(trial), 0.0)
                place = {"place": f"plate {other.number}", "shows": proof, "moment_s": at_s, "most_n": abs(peak_n)}
                faults.append({**fault, **place})
    return looked(examined, faults) if examined else nothing("no plate is loaded while another one rests")


def _alone(trial: Trial, study: Study, loaded: Plate, other: Plate) -> list[Spell]:
    """Contacts on one plate during which the other carries little and no foot marker is above it."""
    rate = rate_of(trial)
    here, there = signals.vertical(loaded), signals.vertical(other)
    spells = []
    for a, b in contact_spells(loaded, rate, 100.0):
        foot = lower_foot(trial, study.processing, np.arange(a, b) / rate)
        points = np.concatenate([foot.heel, foot.toe]) if foot else np.empty((0, 2))
        over = (signals.distance_outside(other.corners, points) < 0).any()
        known = np.isfinite(there[a:b]).all() and np.isfinite(here[a:b]).all()
        if known and np.ptp(there[a:b]) < 0.2 * np.ptp(here[a:b]) and not over:
            spells.append((a, b))
    return spells


def _copy(loaded: Plate, other: Plate, spells: list[Spell]) -> dict[str, Any]:
    """Slope and correlation of the other plate's force over the loaded one's; each contact about its own mean."""
    x, y = (
        np.concatenate([force[a:b] - force[a:b].mean() for a, b in spells])
        for force in (signals.vertical(loaded), signals.vertical(other))
    )
    size = float(np.linalg.norm(x) * np.linalg.norm(y))
    return {
        "loaded": loaded.number,
        "number": other.number,
        "share_found": 100 * float(x @ y) / max(float(x @ x), 1e-12),
        "likeness": abs(float(x @ y)) / size if size > 0 else 0.0,
    }


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="After {wrong} of {toe_offs} toe-offs plate {number} swings and dies away: by up to {swing_n:.0f} N at about "
    "{found_hz:.0f} Hz, {later_n:.0f} N being left {after_s:.2f} s later.",
    expected="An empty plate is still: it swings by less than {ringing_n:g} N once the foot has gone.",
    remedy="Nothing to correct in this trial: it is kept, and its toe-off and first impact peak are less sure. "
    "Before the next session tighten the plate on its base, take out what stands between plate and floor, and tap "
    "it: a plate well mounted rings at some hundred hertz, not at some tens.",
    words=("wrong", "toe_offs", "number", "swing_n", "found_hz", "later_n", "after_s"),
    limits={
        "ringing_n": Limit("N", "own choice: twice the 6 N of a real runway, and well below the 20 N of a contact"),
        "dies_away": Limit("1", "own choice: noise and belt vibration stay as large, ringing falls at least to half"),
        "share_percent": Limit("%", "own choice: a loose plate rings each time"),
    },
)
def plates_are_still_after_toe_off(
    trial: Trial, work: Workspace, *, ringing_n: float = 12.0, dies_away: float = 2.0, share_percent: float = 50.0
) -> Looked:
    """A plate does not ring when the foot has left it.

    A plate that rings after toe-off rang at landing too, on top of the impact peak and the loading rate, where it
    cannot be distinguished from the runner's own. It rings after most toe-offs; noise looks like it after a few. Where
    small forces were set to zero, what is left of a slow toe-off looks like it too, and nothing can be told. It is
    looked for from 15 ms after toe-off, without what changes slowly: of 30 N at 32 Hz some 12 N are left there, which
    is the limit, and a flight shorter than a tenth of a second hardly shows whether it dies away.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    rate, faults, examined = rate_of(trial), [], 0
    cut = {reading.number for reading in work.plate_readings if reading.dead_band_n is not None}
    for plate in trial.plates:
        rests = resting_spells(plate, rate, 0.015, REST_S) if plate.number not in cut else []
        rests = [(a, b) for a, b in rests if a > 0.02 * rate]  # a rest at the start of the record follows no toe-off
        examined += sum(b - a for a, b in rests)
        rings = [_ring(signals.vertical(plate)[a:b], rate, a, dies_away) for a, b in rests]
        strong = [ring for ring in rings if ring and ring["swing_n"] > ringing_n]
        if strong and 100 * len(strong) > share_percent * len(rests):
            worst = max(strong, key=lambda ring: ring["swing_n"])
            fault = {**worst, "wrong": len(strong), "toe_offs": len(rests), "number": plate.number}
            proof = shown.ringing(trial, plate, worst["moment_s"], worst["after_s"], ringing_n)
            moment = {"moment_s": show.worst_at(proof, worst["moment_s"])}
            faults.append({**fault, **moment, "place": f"plate {plate.number}", "shows": proof})
    return looked(examined, faults) if examined else nothing(_NO_REST)


def _ring(rest: FloatArray, rate: float, start: int, dies_away: float) -> dict[str, float] | None:
    """How a rest swings at first and once it has died away; None if it does not go to and fro, or stays as it is."""
    length = min(round(WINDOW_S * rate), len(rest) // 2)
    if length < 10:
        return None  # sampled too slowly to follow a vibration
    first, *later = (without_trend(rest[i : i + length], 3) for i in range(0, len(rest) - length + 1, length))
    still = [i for i, window in enumerate(later) if dies_away * window.std() < first.std()]
    crossings = int((np.diff(np.signbit(first)) != 0).sum())
    if crossings < 3 or not still:
        return None
    return {
        "swing_n": float(np.abs(first).max()),
        "later_n": float(np.abs(later[still[0]]).max()),
        "found_hz": float(np.argmax(np.abs(np.fft.rfft(first * np.hanning(length), FINE))) * rate / FINE),
        "after_s": (still[0] + 1) * length / rate,
        "moment_s": start / rate,
    }
