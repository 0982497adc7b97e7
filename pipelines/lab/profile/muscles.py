"""Which leg the muscle channels of a laboratory's files are of, by the contacts that their bursts go with.

A site profile says nothing of muscles: each trial's channels.csv does. So this is told beside the draft, for whoever
writes that table. How well a channel fits a muscle's part of the stride is in ``pipelines.science.muscles.phases``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from schemas.declared import MuscleSpec
from schemas.muscle_phases import SENIAM_KINDS
from schemas.study import SiteProfile, Study

if TYPE_CHECKING:
    from pipelines.workers.isolation import Isolated

#: So many running files are looked at; more would only take longer.
MOST_FILES = 3
#: As muscle_channels_say_muscle_and_side asks.
LEAST_DIFFERENCE = 0.5
#: The common short forms of the trade (common practice), where a name's own words do not say it.
_SHORT = {
    "gm": "gastrocnemius_medialis", "mg": "gastrocnemius_medialis", "mgast": "gastrocnemius_medialis",
    "gl": "gastrocnemius_lateralis", "lg": "gastrocnemius_lateralis", "lgast": "gastrocnemius_lateralis",
    "sol": "soleus", "msoleus": "soleus", "ta": "tibialis_anterior", "pl": "peroneus_longus", "pb": "peroneus_brevis",
    "vm": "vastus_medialis", "vmo": "vastus_medialis", "vl": "vastus_lateralis", "vlo": "vastus_lateralis",
    "rf": "rectus_femoris", "bf": "biceps_femoris", "lhams": "biceps_femoris", "st": "semitendinosus",
    "mhams": "semitendinosus", "gmed": "gluteus_medius", "gmax": "gluteus_maximus",
}  # fmt: skip
_SIDES = {"l": "left", "left": "left", "lt": "left", "r": "right", "right": "right", "rt": "right"}
_PIECES = re.compile(r"[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+")


@dataclass(frozen=True)
class _Asked:
    path: Path
    profile: SiteProfile
    study: Study


@dataclass(frozen=True)
class _Fit:
    """One channel of one file: its fit with the left and the right foot's contacts."""

    label: str
    left: float
    right: float


def muscle_of(label: str) -> tuple[str | None, str | None]:
    """The SENIAM muscle and the side that a channel's label seems to say; None for what it does not."""
    pieces = [piece.lower() for piece in _PIECES.findall(label)]
    side = next((_SIDES[piece] for piece in pieces if piece in _SIDES), None)
    words = [piece for piece in pieces if piece not in _SIDES and piece != "emg"]
    for form in (*words, "".join(words)):
        if form in _SHORT:
            return _SHORT[form], side
    begun = {
        muscle: [any(len(word) >= 3 and part.startswith(word) for word in words) for part in muscle.split("_")]
        for muscle in SENIAM_KINDS
    }
    whole = [muscle for muscle, parts in begun.items() if all(parts)]
    first = [muscle for muscle, parts in begun.items() if parts[0]]  # enough where all of them are active together
    if not whole and len({SENIAM_KINDS[muscle] for muscle in first}) == 1:
        whole = first
    return (whole[0] if whole else None), side


def told_of_muscles(
    paths: Sequence[Path], profile: SiteProfile, study: Study, isolated: Isolated, telling: Callable[[str], bool]
) -> Iterator[str]:
    """A sentence for each channel whose label names a muscle, with the leg that its signal tells.

    paths: of running recordings. telling: whether a label may identify a person; such a one is not repeated.
    """
    named = {muscle: MuscleSpec(description=muscle) for muscle in SENIAM_KINDS}
    own = study.model_copy(update={"muscles": named | study.muscles})
    fits: dict[str, list[_Fit]] = {}
    for ended in isolated.map(_fits_in, [_Asked(path, profile, own) for path in paths[:MOST_FILES]]):
        for fit in ended.value or ():
            fits.setdefault(fit.label, []).append(fit)
    for label, found in fits.items():
        if telling(label):
            continue
        left, right = (float(np.median([getattr(fit, side) for fit in found])) for side in ("left", "right"))
        muscle, said = muscle_of(label)
        seen = f"fits the left foot's contacts by {left:.2f} and the right foot's by {right:.2f}"
        files = "1 file" if len(found) == 1 else f"{len(found)} files"
        if abs(left - right) < LEAST_DIFFERENCE:
            told = "does not surely tell its leg"
        else:
            side = "left" if left > right else "right"
            told = f"write {side} as its side in channels.csv"
            told += f", although its label seems to say {said}" if said not in (None, side) else ""
        yield f"Channel {label!r}, taken for {muscle}, {seen} ({files}): {told}."


def _fits_in(asked: _Asked) -> tuple[_Fit, ...]:
    """Runs in a worker. Raises C3dProblem."""
    from checks.findings import Stamp
    from pipelines.intake.c3d.reading import read_c3d
    from pipelines.intake.to_trial import TrialRow
    from pipelines.judging.judge import TrialJob, workspace_of
    from pipelines.science.muscles.signal import MICROVOLTS

    recording = read_c3d(asked.path)
    units = dict(zip(recording.analog_labels, recording.layout.analog_units, strict=True))
    rows = tuple(
        {
            "trial_id": asked.path.stem,
            "label": label,
            "role": "muscle",
            "muscle": muscle_of(label)[0],
            "side": None,
            "unit_code": unit,
            "amplifier_gain": "unknown",
        }
        for label, unit in units.items()
        if unit in MICROVOLTS and muscle_of(label)[0] is not None
    )
    if not rows:
        return ()
    row = TrialRow(
        asked.path.stem, asked.profile.site, "running", condition="", surface=asked.profile.surface, session_id="",
        file=asked.path.name,
    )  # fmt: skip
    job = TrialJob(asked.path, row, "draft", asked.profile, asked.study, Stamp("0", "0"), channel_rows=rows)
    work, _ = workspace_of(job)
    return tuple(
        _Fit(one.signal.label, one.fits["left"], one.fits["right"]) for one in work.unnamed_muscles if one.fits
    )
