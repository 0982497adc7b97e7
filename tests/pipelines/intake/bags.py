"""Small bags for tests, written line by line and not by the library that is tried on them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from pipelines.intake.descriptor import write_descriptor

PAYLOAD = {
    "participants.csv": "participant_id,birth_year,sex,stature_m,mass_kg,leg_length_m,habitual_footwear,weekly_distance_km_per_wk\nP1,1980,female,1.70,62,0.9,shod,30\n",
    "consents.csv": "participant_id,scope,event,study_day,form_version\nP1,motion,given,0,2\nP1,force,given,0,2\nP1,pooling,given,0,2\n",
    "sessions.csv": "session_id,participant_id,visit,study_day,mass_kg,surface,set_speed_m_per_s\nS1,P1,first,1,62.5,treadmill,3.0\n",
    "trials.csv": "trial_id,session_id,condition,kind,file,sidecar,trial_order,comment\nT1,S1,shod,running,trials/T1.c3d,,1,\n",
    "trials/T1.c3d": "not a real recording",
}
INFO = "Site: mill\nStudy: A test study\nDelivery-Number: 1\nContact-Role: data manager\n"


def a_bag(
    folder: Path,
    *,
    name: str = "mill-001",
    payload: Mapping[str, str | bytes] | None = None,
    info: str | None = INFO,
    algorithms: tuple[str, ...] = ("sha256",),
    described: bool = True,
) -> Path:
    """A valid bag of a valid delivery, but for what the arguments change."""
    bag = folder / name
    for path, content in (PAYLOAD if payload is None else payload).items():
        target = bag / "data" / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content.encode() if isinstance(content, str) else content)
    (bag / "data").mkdir(parents=True, exist_ok=True)
    if described:
        write_descriptor(bag / "data", name, "A test delivery")
    (bag / "bagit.txt").write_text("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    if info is not None:
        (bag / "bag-info.txt").write_text(info)
    manifests(bag, *algorithms)
    return bag


def manifests(bag: Path, *algorithms: str) -> None:
    """Write payload and tag manifests for what the bag holds now."""
    payload = sorted(p for p in (bag / "data").rglob("*") if p.is_file())
    for algorithm in algorithms:
        (bag / f"manifest-{algorithm}.txt").write_text(_lines(bag, payload, algorithm))
    tags = sorted(p for p in bag.iterdir() if p.is_file() and not p.name.startswith("tagmanifest-"))
    for algorithm in algorithms:
        (bag / f"tagmanifest-{algorithm}.txt").write_text(_lines(bag, tags, algorithm))


def _lines(bag: Path, files: list[Path], algorithm: str) -> str:
    sums = [(hashlib.new(algorithm, p.read_bytes()).hexdigest(), p.relative_to(bag).as_posix()) for p in files]
    return "".join(f"{digest}  {path}\n" for digest, path in sums)
