"""Two real runners as jobs to judge, with the profiles that their laboratories would write.

A runner on an instrumented treadmill (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298, CC BY 4.0) and one on a runway of
eight plates (data of J Exp Biol 215:1944-1956, 2012, MIT licence). They are read where they lie, beside the
repository, and never copied into it. Filters and limits are those of the demonstration's study file.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from checks.findings import Stamp
from pipelines.intake.to_trial import TrialRow
from pipelines.judging.judge import TrialJob, judge_trial, workspace_of
from pipelines.science.workspace import Workspace
from pipelines.study.file import load_study
from schemas.study import Study

_REPOSITORY = Path(__file__).resolve().parents[2]
SHARED = _REPOSITORY.parent / "shared"
TREADMILL, RUNWAY = SHARED / "real_treadmill", SHARED / "real_runway_emg"
DEMO = _REPOSITORY / "demo_site_uploads" / "study.yaml"
_STAMP = Stamp("0", "0")

_ON_THE_BELT = {
    "calcaneus": "Heel.Bottom",
    "second_metatarsal_head": "MT2",
    "fifth_metatarsal_head": "MT5",
    "first_metatarsal_head": "MT1",
    "lateral_malleolus": "Ankle",
    "medial_malleolus": "Ankle.Medial",
    "lateral_femoral_epicondyle": "Knee",
    "medial_femoral_epicondyle": "Knee.Medial",
    "greater_trochanter": "GTR",
    "anterior_superior_iliac_spine": "ASIS",
    "posterior_superior_iliac_spine": "PSIS",
}
_ON_THE_RUNWAY = {
    "calcaneus": "HEEL",
    "second_metatarsal_head": "TOE",
    "fifth_metatarsal_head": "P5MT",
    "first_metatarsal_head": "P1MT",
    "lateral_malleolus": "LMAL",
    "lateral_femoral_epicondyle": "LEPI",
    "anterior_superior_iliac_spine": "ASI",
}


@dataclass(frozen=True)
class Recorded:
    """One run of a real person. truth: what was worked out from the source without this program."""

    name: str
    job: TrialJob
    truth: dict[str, Any]

    @property
    def work(self) -> Workspace:
        """All that is worked out from it."""
        return workspace_of(self.job)[0]


def there() -> bool:
    """Whether the recordings are on this machine."""
    return TREADMILL.is_dir() and RUNWAY.is_dir()


@cache
def study() -> Study:
    """The demonstration's study with the two laboratories in place of its own."""
    settings = load_study(DEMO).study.model_dump(mode="json")
    settings["planned_runners"] = {}
    settings["sites"] = {
        "belt": {
            "description": "A treadmill laboratory.",
            "profile": {
                "site": "belt",
                "surface": "treadmill",
                "axes": {"forward": "+x", "up": "+y", "right": "+z"},
                "marker_rate_hz": 150,
                "force_rate_hz": 300,
                "plate_types": [2],
                "markers": {f"{r}_{s}": f"{s[0].upper()}.{x}" for r, x in _ON_THE_BELT.items() for s in _SIDES},
            },
        },
        "lane": {
            "description": "A runway laboratory.",
            "profile": {
                "site": "lane",
                "surface": "runway",
                "axes": {"forward": "+y", "up": "+z", "right": "+x"},
                "marker_rate_hz": 250,
                "force_rate_hz": 1500,
                "plate_types": [2] * 8,
                "markers": {"sacrum": "SACR"}
                | {f"{r}_{s}": f"{s[0].upper()}{x}" for r, x in _ON_THE_RUNWAY.items() for s in _SIDES},
            },
        },
    }
    settings.pop("planned_runners", None)  # of the demonstration's own laboratories
    settings["processing"]["marker_events"]["toe_off"] = "rise"  # these are no simulated feet
    roles = settings["marker_roles"]
    for role in ("greater_trochanter", "sacrum"):
        roles[role]["required"] = False  # each laboratory has one of them
    return Study.model_validate(settings)


_SIDES = ("left", "right")
_STANDING = ("r02_standing.c3d", "r11_standing.c3d")


@cache
def treadmill() -> Recorded:
    """30 s at 2.5 m/s on an instrumented belt, with the landmarks of the standing trial carried along."""
    row = TrialRow(
        "r02-run25", "belt", "running", "cushioned", "treadmill", session_id="r02", participant_id="r02",
        mass_kg=80.0, sex="male", stature_m=1.83, set_speed_m_per_s=2.5, file="trials/r02-run25.c3d",
    )  # fmt: skip
    truth = json.loads((TREADMILL / "r02_run25.truth.json").read_text(encoding="utf-8"))
    return _recorded("treadmill", row, TREADMILL / "r02_run25_landmarks.c3d", TREADMILL / _STANDING[0], truth)


@cache
def runway() -> Recorded:
    """One pass over eight plates at 3.57 m/s."""
    truth = json.loads((RUNWAY / "truth.json").read_text(encoding="utf-8"))
    row = TrialRow(
        "r11-run35", "lane", "running", "cushioned", "runway", session_id="r11", participant_id="r11",
        mass_kg=truth["r11_standing"]["mass_kg"], set_speed_m_per_s=3.5, file="trials/r11-run35.c3d",
    )  # fmt: skip
    return _recorded("runway", row, RUNWAY / "r11_run35.c3d", RUNWAY / _STANDING[1], truth["r11_run35"])


@cache
def still() -> tuple[Workspace, Workspace]:
    """What is worked out of the standing trials of both."""
    return _of_standing(treadmill().job, TREADMILL / _STANDING[0]), _of_standing(runway().job, RUNWAY / _STANDING[1])


def _of_standing(job: TrialJob, path: Path) -> Workspace:
    return workspace_of(replace(job, path=path, row=replace(job.row, kind="standing", set_speed_m_per_s=None)))[0]


def _recorded(name: str, row: TrialRow, running: Path, standing: Path, truth: dict[str, Any]) -> Recorded:
    both = study()
    job = TrialJob(running, row, f"{row.site}-001", both.sites[row.site].profile, both, _STAMP)
    still = replace(job, path=standing, row=replace(row, kind="standing", set_speed_m_per_s=None))
    return Recorded(name, replace(job, posture=judge_trial(still).posture), truth)
