"""The real running trial beside the repository (../shared/real_run): its force as a Trial, and what is known of it.

Open data (demotu/BMC, CC BY 4.0); it is read where it lies and never copied into the repository.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from schemas.trial import FileFacts, Trial
from tests.builders import a_plate

FOLDER = Path(__file__).resolve().parents[2].parent / "shared" / "real_run"
needs_real_run = pytest.mark.skipif(not FOLDER.is_dir(), reason=f"the real running trial is not at {FOLDER}")


def truth() -> dict[str, Any]:
    """What was worked out from the source's own text files."""
    return json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))


def recorded_force(side: str) -> np.ndarray:
    """Columns time in s, then force in N: forward, up, right."""
    table = np.genfromtxt(FOLDER / "grf_reference.csv", delimiter=",", names=True)
    return np.stack([table[name] for name in ("time_s", *(f"{side}_f{axis}_n" for axis in "xyz"))], axis=1)


def real_run(markers: dict[str, np.ndarray] | None = None) -> Trial:
    """Force and centre of pressure of both plates, with whatever ``markers`` (role -> (frames, 3) m) are given."""
    known = truth()
    table = np.genfromtxt(FOLDER / "grf_reference.csv", delimiter=",", names=True)
    plates = []
    for number, side in enumerate(("right", "left"), start=1):
        force = recorded_force(side)[:, 1:]
        cop = np.stack([table[f"{side}_copx_m"], np.zeros(len(table)), table[f"{side}_copz_m"]], axis=1)
        turn = np.zeros_like(force)
        turn[:, 1] = table[f"{side}_free_moment_y_nm"]
        place = known["plates"][side]["centre_m"]
        plate = a_plate(number, force, cop, (place[0], place[2]))
        plates.append(replace(plate, moment=plate.moment + turn))
    markers = markers or {}
    facts = FileFacts("INTEL", "float", len(markers), 123, 150.0, "mm", 12, 300.0, tuple(markers))
    filled = {role: np.zeros(len(path), bool) for role, path in markers.items()}
    return Trial(
        "R1", "way", "running", "shod", "runway", facts, markers, filled, 150.0, tuple(plates), 300.0,
        mass_kg=known["subject"]["mass_kg"],
    )  # fmt: skip


def recorded_markers(labels: dict[str, str]) -> dict[str, np.ndarray]:
    """Role -> (frames, 3) m from the recording, as labelled in it, read by an independent library."""
    import ezc3d

    recording = ezc3d.c3d(str(FOLDER / "run.c3d"))
    names = recording["parameters"]["POINT"]["LABELS"]["value"]
    points = recording["data"]["points"]
    return {role: points[:3, names.index(label)].T / 1000 for role, label in labels.items()}
