"""Whether a site's equipment keeps its scale and clock from session to session, by control charts with its own limits.

Each check looks at one quantity that should not depend on the runner. The chart is in ``control_chart``; Great
Expectations carries the expectation out. How the quantities come about: ``pipelines.pool.site_tables``.
"""

from __future__ import annotations

import numpy as np

from checks.context import Pool
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from checks.site.expectations import Expected, carry_out
from pipelines.science.statistics.control_chart import BASELINE_SESSIONS, LIMIT_FACTOR, Chart, control_chart, lasting

FORCE_SCALE, MARKER_SCALE, SECOND_CLOCK = "force_scale_ratio", "marker_scale_ratio", "second_clock_drift_ppm"

_SEEN = (
    "In {beyond} of {judged} sessions after the first {baseline} {what} lies beyond the limits, two or more in a row; "
    "it was {own:.4g}{unit} in session {session}, the centre is {centre:.4g}{unit}."
)
_EXPECTED = (
    "Between {low:.4g} and {high:.4g}{unit}: within {factor:g} mean moving ranges of the site's own first sessions, "
    "and never closer than {tolerance:g}{unit}."
)
_JUDGED = Limit("1", "own choice: two in a row are needed, so that one odd session raises no note")


@check(
    about=Subject.SITE,
    weight=Weight.NOTES,
    seen=_SEEN,
    expected=_EXPECTED,
    remedy="Load each plate with a known mass and compare; look whether an amplifier range, a plate or the scales for "
    "weighing runners were changed at that time. If the scale is off, correct it in the export and send the "
    "trials again.",
    words=("beyond", "judged", "baseline", "what", "own", "unit", "session", "centre", "low", "high", "factor"),
    limits={
        "tolerance": Limit("1", "own choice: 2 % of body weight is below what footwear changes in active peak"),
        "least_judged": _JUDGED,
    },
)
def force_keeps_its_scale_over_sessions(
    site: str, outcomes: Pool, *, tolerance: float = 0.02, least_judged: float = 2
) -> Looked:
    """The mean vertical force stays the same part of body weight from session to session.

    Over whole steps it is body weight whoever runs, so a slow change comes from plate, amplifier or scales, long before
    one trial alone is far enough off to be returned.
    """
    what = "mean vertical force as a part of body weight"
    return _judge(site, outcomes, FORCE_SCALE, what, "", tolerance, least_judged)


@check(
    about=Subject.SITE,
    weight=Weight.NOTES,
    seen=_SEEN,
    expected=_EXPECTED,
    remedy="Calibrate the cameras with a wand whose length was measured, and compare a marker distance with a tape. If "
    "the person who places the markers changed at that time, place them together once.",
    words=("beyond", "judged", "baseline", "what", "own", "unit", "session", "centre", "low", "high", "factor"),
    limits={
        "tolerance": Limit("1", "own choice: 2 % of leg length is under 2 cm, about what placing markers anew does"),
        "least_judged": _JUDGED,
    },
)
def markers_keep_their_scale_over_sessions(
    site: str, outcomes: Pool, *, tolerance: float = 0.02, least_judged: float = 2
) -> Looked:
    """The marked length of the standing leg stays the same part of the leg length by tape from session to session.

    A change tells of the cameras' calibration or of another way of placing markers; both bend every length and angle.
    """
    what = "the distance from trochanter to malleolus marker as a part of leg length"
    return _judge(site, outcomes, MARKER_SCALE, what, "", tolerance, least_judged)


@check(
    about=Subject.SITE,
    weight=Weight.NOTES,
    seen=_SEEN,
    expected=_EXPECTED,
    remedy="Synchronise the second recorder's clock or have it looked at; record the shared signal from start to end "
    "of each trial, so that the drift can be taken out trial by trial.",
    words=("beyond", "judged", "baseline", "what", "own", "unit", "session", "centre", "low", "high", "factor"),
    limits={
        "tolerance": Limit("[ppm]", "own choice: 200 ppm move an event by 6 ms within half a minute"),
        "least_judged": _JUDGED,
    },
)
def second_clock_keeps_its_rate_over_sessions(
    site: str, outcomes: Pool, *, tolerance: float = 200.0, least_judged: float = 2
) -> Looked:
    """The second recorder's clock runs at the same rate against the first from session to session.

    Drift is taken out of each trial, but a changing rate tells of a failing recorder or of a wrong sampling rate.
    """
    what = "the drift of the second recorder's clock"
    return _judge(site, outcomes, SECOND_CLOCK, what, " ppm", tolerance, least_judged)


def _judge(site: str, pool: Pool, quantity: str, what: str, unit: str, tolerance: float, least_judged: float) -> Looked:
    """The site's sessions of one quantity after the first ones, against limits made from these."""
    sessions = pool["device_sessions"]
    own = sessions[(sessions["site"] == site) & (sessions["quantity"] == quantity)].sort_values("point_number")
    chart = control_chart(own["measured_value"].to_numpy(float))
    judged = own.iloc[BASELINE_SESSIONS:].reset_index(drop=True)
    if chart is None or len(judged) < least_judged:
        return nothing(f"{len(own)} of at least {BASELINE_SESSIONS + least_judged:g} sessions with a value")
    low, high = widened(chart, tolerance)
    usual = {"table": "site_control_points", "measured": quantity, "unit": unit.strip(), "lower": low, "upper": high}
    bounds = {"min_value": low, "max_value": high}
    answers = carry_out(judged, [Expected("expect_column_values_to_be_between", "measured_value", {}, bounds, usual)])
    values = judged["measured_value"].to_numpy(float)
    outside = np.zeros(len(judged), int)
    rows = list(answers[0].unexpected)
    outside[rows] = np.sign(values[rows] - chart.centre)
    last = lasting(outside)
    if last is None:
        return looked(len(judged), evidence=answers)
    fault = {"beyond": len(rows), "judged": len(judged), "baseline": chart.baseline, "what": what, "unit": unit}
    fault |= {"own": float(values[last]), "session": str(judged["session_id"].iloc[last]), "centre": chart.centre}
    fault |= {"low": low, "high": high, "factor": LIMIT_FACTOR, "place": quantity}
    return looked(len(judged), [fault], answers)


def widened(chart: Chart, tolerance: float) -> tuple[float, float]:
    """The chart's limits, moved apart where they are closer to the centre than ``tolerance``."""
    return min(chart.lower, chart.centre - tolerance), max(chart.upper, chart.centre + tolerance)
