"""The recordings of the demo laboratories and of the real runner, read once, and what is known to be true of them."""

from __future__ import annotations

import random
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from pipelines.lab.profile.files import Recorded, recordings_in, seen_in
from pipelines.study.file import load_study
from schemas.study import SiteProfile
from tests.delivery_builders import REPO, STUDY

SITES = ("brack", "corrie", "tarn")
REAL = REPO.parent / "shared" / "real_run"
#: From the labels of the recording, see tests/whole/test_real_run.py.
REAL_ROLES = {
    f"{role}_{side}": side[0].upper() + label
    for role, label in {
        "calcaneus": "CAL",
        "second_metatarsal_head": "TOE",
        "fifth_metatarsal_head": "MT5",
        "anterior_superior_iliac_spine": "ASI",
        "posterior_superior_iliac_spine": "PSI",
    }.items()
    for side in ("left", "right")
}
#: Points that the recording's own makers computed, and which do lie at the landmark.
REAL_COMPUTED = {
    "sacrum": "Mid_PSIS",
    **{
        f"{role}_{side}": f"{side[0].upper()}{label}v"
        for role, label in {
            "lateral_malleolus": "LMAL",
            "medial_malleolus": "MMAL",
            "lateral_femoral_epicondyle": "LFC",
            "medial_femoral_epicondyle": "MFC",
        }.items()
        for side in ("left", "right")
    },
}


@cache
def study():
    return load_study(STUDY).study


def profile(site: str) -> SiteProfile:
    return study().sites[site].profile


def unpack(site: str, folder: Path) -> Path:
    """The trial files of the site's first demo delivery, as a folder."""
    with zipfile.ZipFile(REPO / "demo_site_uploads" / "inbox" / site / f"{site}-001.zip") as archive:
        archive.extractall(folder, [n for n in archive.namelist() if n.endswith(".c3d")])
    return folder


@cache
def recordings(site: str) -> tuple[Recorded, ...]:
    if site == "real":
        return tuple(r for name in ("run.c3d", "static.c3d") if (r := seen_in(REAL / name)) is not None)
    with TemporaryDirectory() as folder:
        return tuple(recordings_in(unpack(site, Path(folder)))[0])


def without_meaning(given: Sequence[Recorded]) -> tuple[list[Recorded], dict[str, str]]:
    """The same with labels m01, m02, ... in a random order; and label -> new label."""
    names = sorted({label for r in given for label in r.labels})
    random.Random(1).shuffle(names)
    new = {name: f"m{i:02d}" for i, name in enumerate(names, start=1)}
    return [replace(r, labels=tuple(new[label] for label in r.labels)) for r in given], new


def one_of_each(site: str) -> list[Recorded]:
    """A standing and a moving recording."""
    return [next(r for r in recordings(site) if r.standing == standing) for standing in (True, False)]


def turned(given: Sequence[Recorded], turn: np.ndarray) -> list[Recorded]:
    """As if the laboratory had other axes: new = turn @ old."""

    def plate(p):
        force = None if p.mean_force is None else turn @ p.mean_force
        normal = turn @ p.normal
        sign = 1.0 if normal[np.argmax(np.abs(normal))] > 0 else -1.0  # a normal is told along a positive axis
        return replace(p, normal=sign * normal, mean_force=force, height_m=sign * p.height_m)

    return [replace(r, points=r.points @ turn.T, plates=tuple(plate(p) for p in r.plates)) for r in given]
