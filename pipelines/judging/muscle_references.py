"""What a session's muscle amplitudes are divided by: its reference recordings, read before its other trials.

How a reference amplitude is computed is in ``pipelines.science.muscles.amplitudes``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import isnan
from typing import TYPE_CHECKING

from pipelines.depot.desk import Desk
from pipelines.depot.published import read_result
from pipelines.judging.stamps import references_digest
from pipelines.judging.standings import Judged
from schemas.core import MUSCLE_REFERENCES

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.science.muscles.amplitudes import Reference
    from pipelines.science.muscles.signal import Key


def reference_trials(desk: Desk, judged: Judged, trial_ids: Iterable[str]) -> list[str]:
    """Those of the trials that are reference recordings whose muscle channels may be used."""
    return [t for t in trial_ids if _is_reference(desk, judged, t)]


def by_session(found: Iterable[tuple[str | None, Mapping[Key, Reference]]]) -> dict[str, Mapping[Key, Reference]]:
    """Session -> what its own reference recordings give together; found: session and references of each recording.

    A recording that cannot be read gives none; why is told where it is judged.
    """
    from pipelines.science.muscles.amplitudes import combined

    parts: dict[str, list[Mapping[Key, Reference]]] = {}
    for session, references in found:
        if session and references:
            parts.setdefault(session, []).append(references)
    return {session: combined(own) for session, own in parts.items()}


def _kind(desk: Desk) -> str:
    return desk.study.study.processing.muscle.normalisation


def _is_reference(desk: Desk, judged: Judged, trial_id: str) -> bool:
    """Whether the trial is a reference recording whose muscle channels may be used."""
    row, settings = judged.rows[trial_id], desk.study.study.processing.muscle
    if settings.normalisation == "none" or not judged.consent.allows(trial_id, "muscle"):
        return False
    if settings.normalisation == "reference_contraction":
        return bool(row["kind"] == "reference_contraction")
    return bool(row["kind"] == "running" and row["condition"] == settings.reference_condition)


def given_digests(judged: Judged, accepted: Iterable[str]) -> dict[str, str]:
    """Accepted reference recording -> digest of what other deliveries of its session take from this one."""
    given: dict[str, list[str]] = {}
    for trial in sorted(set(accepted) & judged.references.keys()):
        if (session := judged.rows[trial]["session_id"]) is not None:
            given.setdefault(session, []).append(trial)
    together = by_session((session, judged.references[t]) for session, trials in given.items() for t in trials)
    return {t: references_digest(together[session]) for session, trials in given.items() for t in trials}


def earlier_references(desk: Desk, judged: Judged, sessions: set[str]) -> dict[str, Mapping[Key, Reference]]:
    """References from accepted recordings of these sessions in other deliveries of the site; the newest count.

    Only what is made with today's code and study is used.
    """
    if not sessions or _kind(desk) == "none":
        return {}
    newest = desk.books.leaning.newest_references(desk.made, judged.site, judged.delivery_id, sessions)
    found: list[tuple[str, Mapping[Key, Reference]]] = []
    for session, delivery_id in newest.items():
        rows = read_result(desk.depot, delivery_id, MUSCLE_REFERENCES)
        recordings = rows[rows["session_id"] == session].groupby("trial_id", sort=True)
        found += [(session, _references_in(own)) for _, own in recordings]
    return by_session(found)


def _references_in(rows: pd.DataFrame) -> dict[Key, Reference]:
    from pipelines.science.muscles.amplitudes import Reference

    found = {}
    for row in rows.to_dict("records"):
        known = not isnan(row["reference_uv"])
        amplitude = float(row["reference_uv" if known else "reference_recorded_uv"])
        found[str(row["muscle"]), str(row["side"])] = Reference(str(row["normalisation"]), amplitude, known)
    return found
