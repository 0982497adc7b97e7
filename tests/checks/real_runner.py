"""The real runner beside the repository (../shared/real_run) as contexts: one run, one standing trial, their labels."""

from __future__ import annotations

from pathlib import Path

import pytest

from checks.context import Context
from schemas.study import SiteProfile
from schemas.trial import Trial
from tests.builders import a_study

FOLDER = Path(__file__).resolve().parents[2].parent / "shared" / "real_run"
needs_real_run = pytest.mark.skipif(not FOLDER.is_dir(), reason=f"the real running trial is not at {FOLDER}")

_ALWAYS = {
    "calcaneus": "CAL",
    "second_metatarsal_head": "TOE",
    "fifth_metatarsal_head": "MT5",
    "anterior_superior_iliac_spine": "ASI",
    "posterior_superior_iliac_spine": "PSI",
}
_JOINTS = {
    "lateral_malleolus": "LMAL",
    "medial_malleolus": "MMAL",
    "lateral_femoral_epicondyle": "LFC",
    "medial_femoral_epicondyle": "MFC",
}


def real_trial(kind: str, joints: str = "computed") -> Trial:
    """The run or the standing trial. joints: ``measured`` landmarks, or ``computed`` ones, which both trials have."""
    from pipelines.intake.c3d.reading import read_c3d
    from pipelines.intake.to_trial import TrialRow, to_trial

    parts = _ALWAYS | {role: label + ("v" if joints == "computed" else "") for role, label in _JOINTS.items()}
    profile = SiteProfile.model_validate(
        {
            "site": "way",
            "surface": "runway",
            "axes": {"forward": "+x", "up": "+y", "right": "+z"},
            "marker_rate_hz": 150,
            "force_rate_hz": 300,
            "plate_types": [2, 2],
            "markers": {
                f"{r}_{side}": side[0].upper() + label for r, label in parts.items() for side in ("left", "right")
            },
        }
    )
    file = FOLDER / {"running": "run.c3d", "standing": "static.c3d"}[kind]
    row = TrialRow("R1", "way", kind, "shod", "runway", mass_kg=72.84, stature_m=1.80)  # truth.json
    return to_trial(read_c3d(file), profile, a_study().processing, row)


def real_context(kind: str, standing_as: str = "computed") -> Context:
    """The trial with its footfalls and, for the run, the posture of the standing trial."""
    from pipelines.intake.to_trial import posture_of
    from pipelines.science.workspace import Workspace

    study = a_study()
    if kind == "standing":
        return Context(study, "d-001", "way", work=Workspace(real_trial(kind, "measured"), study.processing))
    posture = posture_of(real_trial("standing", standing_as))
    return Context(study, "d-001", "way", work=Workspace(real_trial(kind), study.processing, posture))
