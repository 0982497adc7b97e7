"""Mass or gain: what the trials of one session tell together of a vertical force that is not the runner's weight.

One trial cannot tell which of the two is wrong. A wrong mass puts all trials of its session off alike; a wrong gain,
two mixed-up recordings or a hand on the rail do so to some of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from checks.evidence import Role
from pipelines.judging.judge import Verdict
from schemas.equipment import ALL_PLATES

CHECK = "mean_vertical_force_is_body_weight"
#: How far apart the scales of trials lie that are off alike: own choice. Means of whole trials of real runs scatter by
#: less than 1 %, single steps by 1.6 %.
ALIKE = 0.04
OTHERS = "other trials of this session"


def told_apart(verdicts: Mapping[str, Verdict], session_of: Mapping[str, str | None]) -> dict[str, Verdict]:
    """The same verdicts; findings of mean vertical force say and show what the session's other trials tell.

    session_of: trial -> session of the delivery's table of trials. The standing of no trial is changed by it.
    """
    ratios: dict[str, dict[str, float]] = {}
    for trial, verdict in verdicts.items():
        session, ratio = session_of.get(trial), _ratio(verdict)
        if session is not None and ratio is not None:
            ratios.setdefault(session, {})[trial] = ratio
    return {trial: _told(trial, v, ratios.get(session_of.get(trial) or "", {})) for trial, v in verdicts.items()}


def _told(trial: str, verdict: Verdict, session: Mapping[str, float]) -> Verdict:
    if trial not in session or not any(f.check_name == CHECK for f in verdict.findings):
        return verdict
    said = sentence(session[trial], [ratio for other, ratio in session.items() if other != trial])
    findings = [replace(f, seen=f"{f.seen} {said}") if f.check_name == CHECK else f for f in verdict.findings]
    others = [100 * (ratio - 1) for other, ratio in session.items() if other != trial]
    return replace(verdict, findings=findings, pictures=verdict.pictures + _drawn_beside(verdict, others))


def _drawn_beside(verdict: Verdict, others_percent: Sequence[float]) -> list[dict[str, Any]]:
    """Rows for the first panel of the picture: the session's other trials beside the number that was found."""
    own = {f.finding_id for f in verdict.findings if f.check_name == CHECK}
    rows: list[dict[str, Any]] = []
    for finding_id in sorted(own):
        panel = [row for row in verdict.pictures if (row["finding_id"], row["panel_number"]) == (finding_id, 1)]
        if panel:
            last = panel[-1]
            part = {"part_number": last["part_number"] + 1, "part_role": str(Role.BESIDE), "part_name": OTHERS}
            rows += [
                {**last, **part, "point_number": number, "across_value": float(number), "upwards_value": percent}
                for number, percent in enumerate(others_percent, start=1)
            ]
    return rows


def sentence(own: float, others: Sequence[float]) -> str:
    """What the session tells. own, others: mean vertical force over body weight, of the trial and of the others."""
    if not others:
        return "No other trial of this session could be weighed, so that a wrong mass and a wrong gain look the same."
    count, spread = len(others), max(own, *others) - min(own, *others)
    if spread <= ALIKE:
        return (
            f"{_count(count)} of this session that could be weighed {_is(count)} off alike ({_range(others)}): "
            "most likely the mass, or a gain that was wrong all the session."
        )
    return (
        f"{_count(count)} of this session that could be weighed {_is(count)} off otherwise ({_range(others)}): "
        f"most likely the gain of a plate, a hand on the rail or another runner's recording, and not the mass."
    )


def _ratio(verdict: Verdict) -> float | None:
    rows = verdict.outcomes.get("equipment_readings")
    found: Iterator[float] = (
        float(row["scale_ratio"])
        for row in (rows.records if rows is not None else ())
        if row["device"] == ALL_PLATES and row["scale_ratio"] is not None
    )
    ratio = next(found, None)
    return ratio if ratio is not None and ratio == ratio else None


def _count(count: int) -> str:
    return "The other trial" if count == 1 else f"The {count} other trials"


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def _range(ratios: Sequence[float]) -> str:
    low, high = (f"{100 * (ratio - 1):+.1f}" for ratio in (min(ratios), max(ratios)))
    return f"{low} %" if low == high else f"{low} to {high} %"
