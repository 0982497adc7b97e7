"""The real running trial of ../shared/real_run as a specimen: real skin, real noise, real force, 300 Hz, one step.

The labels of two markers of the right foot change places in 43 of its frames, as it was recorded. To plant faults, they
are put right first; among the clean trials it stands as it was found. Knee and ankle are the places that its source
computed from clusters of markers; there is none of the trochanter.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from benchmarks.detection.specimens import STUDY, Contact, Specimen
from demo_site_uploads.simulator.labs import Recording
from pipelines.intake.c3d.reading import Recording as Read
from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.to_trial import TrialRow
from schemas.declared import MarkerRole
from schemas.study import Site, SiteProfile, Study

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "real_run"
SITE = "teaching"
MASS_KG, SPEED_M_PER_S = 72.84, 2.75
#: file -> axes of the laboratory: forward, up, right
VARIANTS = {
    "run.c3d": ("+x", "+y", "+z"),
    "variants/run_mips_float.c3d": ("+x", "+y", "+z"),
    "variants/run_zup_m.c3d": ("+x", "+z", "-y"),
    "variants/run_dec_int.c3d": ("+x", "+y", "+z"),
}
#: What the recording is known to have, so that a finding of it is no false alarm: labels that change places, and force
#: that its source smoothed and set to zero below a threshold (README.md of the folder).
KNOWN = ("markers_keep_their_distance", "empty_plates_keep_their_noise")
_LABELS = {
    "calcaneus": "CAL",
    "second_metatarsal_head": "TOE",
    "fifth_metatarsal_head": "MT5",
    "lateral_malleolus": "LMALv",
    "lateral_femoral_epicondyle": "LFCv",
    "anterior_superior_iliac_spine": "ASI",
    "posterior_superior_iliac_spine": "PSI",
}


def there() -> bool:
    """Whether the recording is on this machine."""
    return FOLDER.is_dir()


def _study(axes: tuple[str, str, str]) -> Study:
    forward, up, right = axes
    profile = SiteProfile.model_validate(
        {
            "site": SITE,
            "surface": "runway",
            "axes": {"forward": forward, "up": up, "right": right},
            "marker_rate_hz": 150,
            "force_rate_hz": 300,
            "plate_types": (2, 2),
            "markers": {f"{r}_{s}": s[0].upper() + x for r, x in _LABELS.items() for s in ("left", "right")},
        }
    )
    roles = {role: MarkerRole(description=role, required=True) for role in _LABELS}
    sites = {SITE: Site(description="A teaching laboratory.", profile=profile)}
    return STUDY.model_copy(update={"sites": sites, "marker_roles": roles})


def recording_of(read: Read, named: tuple[str, ...], frames: int | None = None) -> Recording:
    """A real recording as one that faults are planted into, or its first frames. named: channels as the faults call
    them."""
    rate, analog_rate = read.layout.point_rate_hz, float(read.layout.analog_rate_hz or 0.0)
    samples = None if frames is None else round(frames / rate * analog_rate)
    cut_s = (read.layout.header.first_frame - 1) / rate
    return Recording(
        read.labels,
        read.points[:frames],
        rate,
        read.layout.point_unit,
        read.analog[:samples],
        named,
        read.layout.analog_units,
        analog_rate,
        tuple(p.c3d_type for p in read.plates),
        tuple(p.corners for p in read.plates),
        tuple(p.origin for p in read.plates),
        np.full(len(read.analog_labels), 1e7),
        "float",
        1e-3,
        np.full(len(read.analog_labels), 1e-3),
        events=tuple((t - cut_s, *words) for t, *words in read.layout.events),
    )


def _specimen(file: str) -> Specimen:
    read = read_c3d(FOLDER / file)
    study = _study(VARIANTS.get(file, ("+x", "+y", "+z")))
    truth = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
    named = tuple(f"P{label[-1]}.{label[:-1]}" for label in read.analog_labels)
    recording = recording_of(read, named)
    row = TrialRow(
        "real-run",
        SITE,
        "running",
        "cushioned",
        "runway",
        session_id="real",
        mass_kg=MASS_KG,
        set_speed_m_per_s=SPEED_M_PER_S,
        file="trials/real-run.c3d",
    )
    contacts = tuple(Contact(c["side"], c["contact_start_s"], c["contact_end_s"]) for c in truth["contacts"])
    return Specimen(
        recording,
        contacts,
        row,
        study.sites[SITE].profile,
        study,
        plates_hit=(1, 2),
    )


@cache
def to_plant_in() -> Specimen:
    """The recording with its exchanged labels put right."""
    found = _specimen("run.c3d")
    exchange = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["marker_exchange"]
    frames = np.array(exchange["frames_1_based"]) - 1
    points = found.recording.points.copy()
    a, b = (found.recording.marker(label) for label in exchange["markers"])
    points[frames, a], points[frames, b] = points[frames, b], points[frames, a].copy()
    return found.with_recording(points=points)


def as_found() -> Iterator[tuple[str, Specimen, bytes]]:
    """Every variant and the standing trial: name, what the tables say, and the file as it is."""
    for file in VARIANTS:
        yield file, _specimen(file), (FOLDER / file).read_bytes()
    still = _specimen("static.c3d")
    posture = "static.c3d"
    labels = {role: label.removesuffix("v") for role, label in still.profile.markers.items()}
    profile = still.profile.model_copy(update={"markers": labels})
    row = replace(still.row, trial_id="real-standing", kind="standing", set_speed_m_per_s=None)
    yield posture, replace(still, profile=profile, row=row), (FOLDER / posture).read_bytes()
