"""Every outcome of one trial, as rows of the outcome tables less provenance. The families' own modules define them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from pipelines.science.muscles.amplitudes import Reference
from pipelines.science.muscles.signal import Key, envelope
from schemas.processing import Processing
from schemas.trial import Posture, Trial

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.science.curves import Series


def every_outcome(
    trial: Trial,
    footfalls: pd.DataFrame,
    processing: Processing,
    posture: Posture | None,
    references: Mapping[Key, Reference],
    clock_basis: str | None = None,
) -> dict[str, pd.DataFrame]:
    """Table name -> rows of a running trial.

    footfalls: what ``compute_footfalls`` made of the same trial. references: what muscle amplitudes are divided by.
    clock_basis: what the second file's clock was matched by. Never raises on bad signals: what cannot be computed is
    null or has no row.
    """
    from pipelines.science.curves import compute_curves
    from pipelines.science.events.agreement import event_agreement, footfall_events
    from pipelines.science.events.contacts import contacts_by_method
    from pipelines.science.frames import frame_of
    from pipelines.science.joints.outcomes import compute_joints, joint_series
    from pipelines.science.muscles.outcomes import compute_muscles
    from pipelines.science.shapes import shapes_of
    from pipelines.science.trial_outcomes import compute_trial_outcomes
    from schemas.outcomes import TRIAL_OUTCOMES
    from schemas.outcomes_signals import EVENT_AGREEMENT, FOOTFALL_EVENTS

    muscles = compute_muscles(trial.trial_id, trial.signals, footfalls, processing.muscle, references)
    angles = joint_series(trial, posture, processing)
    whole = compute_trial_outcomes(trial, footfalls, processing, posture)
    by_method = contacts_by_method(trial, processing)
    return {
        "footfalls": footfalls,
        "trial_outcomes": frame_of(TRIAL_OUTCOMES, [whole]),
        "event_agreement": frame_of(EVENT_AGREEMENT, event_agreement(trial.trial_id, by_method, clock_basis)),
        "footfall_events": frame_of(FOOTFALL_EVENTS, footfall_events(footfalls, by_method)),
        "footfall_joints": compute_joints(trial, footfalls, posture, processing, trial.sex),
        "muscle_amplitudes": muscles.amplitudes,
        "muscle_bursts": muscles.bursts,
        "co_contractions": muscles.co_contractions,
        "muscle_signals": muscles.signals,
        "trial_shapes": shapes_of(trial, processing),
        "curves": compute_curves(trial, footfalls, angles, _envelopes(trial, processing), processing),
    }


def _envelopes(trial: Trial, processing: Processing) -> list[Series]:
    from pipelines.science.curves import Series

    return [
        Series(
            f"{signal.muscle}_envelope_uv",
            "uV",
            signal.side,
            "stride",
            signal.times_s,
            envelope(signal, processing.muscle),
        )
        for signal in trial.signals
        if signal.role == "muscle" and signal.muscle and signal.side
    ]
