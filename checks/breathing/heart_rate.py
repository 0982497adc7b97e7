"""Checks of the heart rate that comes with the breathing gas."""

from __future__ import annotations

import math

from checks.breathing.bouts import bouts_of
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from schemas.received import Received
from schemas.study import Study


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="At the end of {bout} the heart beats {rate:.1f} times a minute.",
    expected="{slowest:g} to {fastest:g} times a minute while running.",
    remedy="Look at the belt or sensor of that bout: a sensor that slips reads too little, one that follows the steps "
    "reads the cadence. Leave the cells empty if it was wrong. It is a note on the data, no diagnosis; concern for a "
    "runner goes to the study's safety lead.",
    words=("bout", "rate"),
    limits={
        "slowest": Limit("/min", "common practice: slower is rest"),
        "fastest": Limit("/min", "common practice: 220 less the age is a rough most"),
    },
)
def heart_rate_is_one_of_running(
    delivery: Received, study: Study, *, slowest: float = 90.0, fastest: float = 215.0
) -> Looked:
    """Where heart rate was recorded, it is that of somebody running.

    It tells whether a bout was as hard as it looks by the gases, but only if it is the heart that was counted.
    """
    rates = [
        (bout, bout.mean(bout.heart_rate, bout.in_plateau(study.processing.energy))) for bout in bouts_of(delivery)
    ]
    told = [(bout, rate) for bout, rate in rates if not math.isnan(rate)]
    faults = [{**bout.at, "rate": rate} for bout, rate in told if not slowest <= rate <= fastest]
    return looked(len(told), faults) if told else nothing("no bout with heart rate")
