"""Which standing trial a running trial leans on, and the postures that standing trials give.

A running trial leans on the standing trial of its own session and condition, or of another session of the same runner
that its row names. How a posture is taken from a recording is in ``pipelines.intake.to_trial``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from pipelines.depot.books.rows import Occasion
from pipelines.depot.published import read_result
from pipelines.judging.standings import Judged, is_accepted
from schemas.core import STANDING_POSTURES
from schemas.privacy import RUNNER, SESSION
from schemas.trial import Posture

if TYPE_CHECKING:
    from pipelines.depot.desk import Desk
    from schemas.joined import Visits
    from schemas.received import Received

#: Column of trials.csv that names another session than the trial's own.
NAMED = "standing_session_id"


def occasion_of(row: Mapping[str, Any], visits: Visits) -> Occasion | None:
    """Session and condition of the standing trial that a running trial leans on; None if that is not known.

    A session of another runner gives nothing, whatever the row says; a check tells of it.
    """
    session, named = row[SESSION], row[NAMED]
    if named is not None and {runner for runner, _ in visits.get(named, ())} != {row[RUNNER]}:
        return None
    if (session is None and named is None) or row["condition"] is None:
        return None
    return (str(named if named is not None else session), str(row["condition"]))


def own_postures(judged: Judged, standing: Iterable[str]) -> dict[Occasion, Posture]:
    """Postures of this delivery's accepted standing trials; of several on one occasion the first counts."""
    found: dict[Occasion, Posture] = {}
    for trial_id in sorted(standing, key=lambda t: (judged.rows[t]["trial_order"] or 0, t)):
        row, posture = judged.rows[trial_id], judged.verdicts[trial_id].posture
        if posture is not None and is_accepted(trial_id, judged):
            found.setdefault((row[SESSION], row["condition"]), posture)
    return found


def waiting_for(judged: Judged, postures: Iterable[Occasion]) -> tuple[Occasion, ...]:
    """Occasions of running trials that were judged without a standing posture."""
    run = {
        occasion
        for trial_id, row in judged.rows.items()
        if trial_id in judged.verdicts and row["kind"] == "running"
        if (occasion := occasion_of(row, judged.consent.visits)) is not None
    }
    return tuple(sorted(run - set(postures)))


def other_postures(desk: Desk, received: Received) -> dict[Occasion, Posture]:
    """Postures of accepted standing trials that other deliveries of the site brought; the newest counts.

    Only what today's code and study made is used: a delivery judged earlier waits until the other is judged again.
    """
    import numpy as np

    found: dict[Occasion, Posture] = {}
    trials = received.tables["sent_trials"]
    sessions = {str(s) for column in (SESSION, NAMED) for s in trials[column].dropna()}
    giving = desk.books.trials.giving_posture(desk.made, received.site, received.number, sessions)
    for delivery_id in dict.fromkeys(trial.delivery_id for trial in giving):
        postures = read_result(desk.depot, delivery_id, STANDING_POSTURES)
        for trial_id, rows in postures.groupby("trial_id", sort=True):
            first = rows.iloc[0]
            places = rows[["forward_m", "up_m", "right_m"]].to_numpy(dtype=np.float64)
            markers = dict(zip(rows["marker"], places, strict=True))
            occasion = (str(first[SESSION]), str(first["condition"]))
            found[occasion] = Posture(str(trial_id), occasion[1], markers)
    return found
