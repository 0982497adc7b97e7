"""Our numbers beside the truth of each real recording, and what the checks say of it, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from benchmarks.real_recordings.recordings import Recorded, runway, treadmill
from checks.findings import Finding
from pipelines.judging.judge import judge_trial
from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import FloatArray

_SIDES = ("left", "right")
#: A single number in a list, as the treadmill's truth has it: what it is called there, and our column.
_PEAKS = {"peak_vertical": "active_peak_bw", "braking_peak": "braking_peak_bw", "propulsive_peak": "propulsive_peak_bw"}
_IMPULSES = {
    "vertical_impulse_ns": "vertical_impulse_bw_s",
    "braking_impulse_ns": "braking_impulse_bw_s",
    "propulsive_impulse_ns": "propulsive_impulse_bw_s",
}
#: Columns without a published value: their mean and spread per side.
_WITHOUT_TRUTH = (
    "strike_index_percent",
    "foot_strike_angle_deg",
    "average_loading_rate_bw_per_s",
    "instantaneous_loading_rate_bw_per_s",
)


@dataclass(frozen=True)
class Compared:
    """One number beside its truth; NaN where there is none."""

    what: str
    ours: float
    truth: float
    unit: str


def lines() -> Iterator[str]:
    """Both recordings, one after the other."""
    for recorded in (treadmill(), runway()):
        yield f"{recorded.name}: {recorded.job.path.name}"
        yield f"  {'':46}{'ours':>10}{'truth':>10}{'difference':>12}"
        for row in compared(recorded):
            known = np.isfinite(row.truth)
            beside = f"{row.truth:10.4g}{row.ours - row.truth:+12.3g}" if known else f"{'':22}"
            yield f"  {row.what:46}{row.ours:10.4g}{beside} {row.unit}"
        yield "  findings:"
        yield from (f"    {line}" for line in told(judge_trial(recorded.job).findings))


def told(findings: list[Finding]) -> Iterator[str]:
    """Each check that spoke: weight, how often, and its first sentence."""
    by_check: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        by_check.setdefault((str(finding.weight), finding.check_name), []).append(finding)
    if not by_check:
        yield "none"
    for (weight, name), own in by_check.items():
        yield f"{weight} {name} ({len(own)}): {own[0].seen}"


def compared(recorded: Recorded) -> Iterator[Compared]:
    """Every number of the recording that has a truth, then those that have none."""
    footfalls = recorded.work.footfalls
    columns = {name: footfalls.numbers(name) for name in (*_PEAKS.values(), *_IMPULSES.values(), *_WITHOUT_TRUTH)}
    columns |= {name: footfalls.numbers(name) for name in ("contact_s", "toe_off_s", "contact_time_s")}
    sides = np.array(footfalls.columns["side"])
    weight = float(recorded.job.row.mass_kg or np.nan) * STANDARD_GRAVITY
    contacts = [one for one in recorded.truth["contacts"] if one.get("complete", True)]
    yield Compared("footfalls", len(footfalls), len(contacts), "")
    if len(footfalls) == len(contacts):
        yield from _events(columns, contacts)
        yield from _impulses(columns, contacts, weight)
    mass = recorded.work.trial_outcomes.numbers("mass_from_force_kg")[0]
    yield Compared("mass by mean force over whole strides", mass, _true_mass(recorded.truth), "kg")
    for side in _SIDES:
        own = sides == side
        yield from _by_side(recorded.truth, columns, own, side, weight)
    yield Compared("share of footfalls with an impact peak", _share_with_peak(recorded), np.nan, "")
    if "published_mean_curves" in recorded.truth:
        for side in _SIDES:
            yield from _knee(recorded, side)


def _events(columns: dict[str, FloatArray], contacts: list[dict[str, Any]]) -> Iterator[Compared]:
    start, end = ("start_s", "end_s") if "start_s" in contacts[0] else ("contact_s", "toe_off_s")
    for name, key in (("contact_s", start), ("toe_off_s", end)):
        off = 1000 * (columns[name] - np.array([one[key] for one in contacts]))
        yield Compared(f"{name}, mean difference", float(off.mean()), 0.0, "ms")
        yield Compared(f"{name}, SD of the difference", float(off.std(ddof=1)), np.nan, "ms")


def _impulses(columns: dict[str, FloatArray], contacts: list[dict[str, Any]], weight: float) -> Iterator[Compared]:
    for key, name in _IMPULSES.items():
        truth = float(np.mean([one[key] for one in contacts])) / weight
        yield Compared(f"{name}, mean", float(columns[name].mean()), truth, "BW.s")


def _by_side(
    truth: dict[str, Any], columns: dict[str, FloatArray], own: Any, side: str, weight: float
) -> Iterator[Compared]:
    summary = truth.get("summary")
    if summary is None:
        times = [one["contact_time_s"] for one in truth["contacts"] if one["side"] == side]
        known: dict[str, Any] = {"mean": float(np.mean(times)), "sd": float(np.std(times, ddof=1))}
        peaks = {name: [one[f"{key}_bw_50hz"] for one in truth["contacts"] if one["side"] == side]
                 for key, name in (("vertical_peak", "active_peak_bw"), ("braking_peak", "braking_peak_bw"),
                                   ("propulsive_peak", "propulsive_peak_bw"))}  # fmt: skip
        means = {name: float(np.mean(values)) for name, values in peaks.items()}
    else:
        known = summary["contact_time_of_force_smoothed_at_50_hz_s"][side]
        means = {name: summary[f"{key}_n"][side]["mean"] / weight for key, name in _PEAKS.items()}
    times_ms = 1000 * columns["contact_time_s"][own]
    yield Compared(f"contact time, {side}", float(times_ms.mean()), 1000 * known["mean"], "ms")
    yield Compared(f"contact time, {side}, SD", float(times_ms.std(ddof=1)), 1000 * known["sd"], "ms")
    for name, mean in means.items():
        yield Compared(f"{name}, {side}", float(columns[name][own].mean()), mean, "BW")
    for name in _WITHOUT_TRUTH:
        values = columns[name][own]
        yield Compared(f"{name}, {side}", float(np.nanmean(values)), np.nan, "")
        yield Compared(f"{name}, {side}, SD", float(np.nanstd(values, ddof=1)), np.nan, "")


def _knee(recorded: Recorded, side: str) -> Iterator[Compared]:
    """Our mean knee curve over contact beside the authors' own, theirs from contact to contact of one foot.

    Theirs has another zero and another filter (10 Hz), so likeness of shape and range are compared.
    """
    rows = recorded.work.curves.records
    names = {"quantity": "knee_sagittal_angle_deg", "side": side}
    ours = np.array([row["mean_value"] for row in rows if all(row[k] == v for k, v in names.items())])
    theirs = np.array(recorded.truth["published_mean_curves"]["curves"][f"{side[0].upper()}kneeAngZ"])
    duty = float(np.nanmean(recorded.work.footfalls.numbers("duty_factor_fraction")))
    contact = np.interp(np.linspace(0, 100 * duty, len(ours)), np.arange(len(theirs)), theirs)
    yield Compared(f"knee over contact, {side}, correlation", float(np.corrcoef(ours, contact)[0, 1]), 1.0, "")
    yield Compared(f"knee over contact, {side}, range", float(np.ptp(ours)), float(np.ptp(contact)), "deg")


def _true_mass(truth: dict[str, Any]) -> float:
    if "summary" in truth:
        return float(truth["summary"]["mass_from_mean_force_kg"])
    return float(truth["mean_vertical_force_over_whole_strides"]["n"]) / STANDARD_GRAVITY


def _share_with_peak(recorded: Recorded) -> float:
    return float(np.isfinite(recorded.work.footfalls.numbers("impact_peak_bw")).mean())
