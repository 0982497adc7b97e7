"""What a session's muscle amplitudes are divided by: its reference recordings, read before its other trials.

How a reference amplitude is computed is in ``pipelines.science.muscles.amplitudes``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from pipelines.depot.desk import Desk
from pipelines.depot.published import read_result
from pipelines.judging.standings import Judged
from schemas.core import TRIALS
from schemas.outcomes_muscle import MUSCLE_AMPLITUDES

if TYPE_CHECKING:
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


def earlier_references(desk: Desk, judged: Judged, sessions: set[str]) -> dict[str, Mapping[Key, Reference]]:
    """References that other deliveries of the site stored with the amplitudes of these sessions; the newest count."""
    from pipelines.science.muscles.amplitudes import Reference

    if not sessions or _kind(desk) == "none":
        return {}
    found: dict[str, dict[Key, Reference]] = {}
    having = desk.books.trials.in_sessions(desk.made, ((judged.site, session) for session in sessions))
    for delivery_id in dict.fromkeys(trial.delivery_id for trial in having):
        if delivery_id == judged.delivery_id:
            continue
        session_of = read_result(desk.depot, delivery_id, TRIALS).set_index("trial_id")["session_id"]
        rows = read_result(desk.depot, delivery_id, MUSCLE_AMPLITUDES)
        rows = rows.assign(session_id=rows["trial_id"].map(session_of)).dropna(subset=["reference_uv"])
        rows = rows[rows["session_id"].isin(sessions)].drop_duplicates(["session_id", "muscle", "side"])
        for row in rows.to_dict("records"):
            reference = Reference(str(row["normalisation"]), float(row["reference_uv"]))
            found.setdefault(str(row["session_id"]), {})[(str(row["muscle"]), str(row["side"]))] = reference
    return dict(found)
