"""From a simulated trial to the pipeline's Trial, through real files; shared by the tests of recovery."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from demo_site_uploads.simulator.c3d_writer import c3d_bytes
from demo_site_uploads.simulator.channels import channel_rows
from demo_site_uploads.simulator.labs import Recording, lab, record
from demo_site_uploads.simulator.measure import SPEED_M_PER_S
from demo_site_uploads.simulator.sidecar import edf_bytes
from demo_site_uploads.simulator.trial import SimulatedTrial, TrueFootfall
from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.clocks import ClockFit, NoClock
from pipelines.intake.sidecar import read_sidecar
from pipelines.intake.sidecar_clock import with_signals
from pipelines.intake.to_trial import TrialRow, to_trial
from pipelines.study.file import load_study
from schemas.trial import Trial

STUDY = load_study(Path(__file__).resolve().parents[2] / "demo_site_uploads" / "study.yaml").study


def through_a_file(simulated: SimulatedTrial, site: str, folder: Path, recording: Recording | None = None) -> Trial:
    """The trial written and read again, with its second file's signals. recording: instead of a faultless one."""
    return with_clock(simulated, site, folder, recording)[0]


def with_clock(
    simulated: SimulatedTrial,
    site: str,
    folder: Path,
    recording: Recording | None = None,
    second_file: bytes | None = None,
) -> tuple[Trial, ClockFit | NoClock | None]:
    """The same, and how the clocks were matched. second_file: instead of the trial's own."""
    path = folder / f"{simulated.trial_id}.c3d"
    path.write_bytes(c3d_bytes(recording or record(simulated, lab(site))))
    runner, profile = simulated.runner, STUDY.sites[site].profile
    row = TrialRow(
        trial_id=simulated.trial_id,
        site=site,
        kind=simulated.kind,
        condition=simulated.condition,
        surface=profile.surface,
        mass_kg=runner.mass_kg,
        stature_m=runner.stature_m,
        leg_length_m=runner.leg_length_m,
        set_speed_m_per_s=SPEED_M_PER_S,
    )
    trial = to_trial(read_c3d(path), profile, STUDY.processing, row)
    second = None
    if site == "tarn" and simulated.kind == "running":
        path = path.with_suffix(".edf")
        path.write_bytes(second_file or edf_bytes(simulated))
        second = read_sidecar(path)
    rows = channel_rows(site, simulated.kind, simulated.trial_id, second_file=second is not None)
    return with_signals(trial, second, rows, STUDY.processing)[:2]


def complete(simulated: SimulatedTrial, margin_s: float = 0.01) -> list[TrueFootfall]:
    """The true footfalls that lie wholly within the recording."""
    end = simulated.duration_s - margin_s
    return [f for f in simulated.footfalls if f.contact_at_20n_s > margin_s and f.toe_off_at_20n_s < end]


def true_table(simulated: SimulatedTrial, footfalls: list[TrueFootfall]) -> pd.DataFrame:
    """The true footfalls as far as outcomes of other signals need them; times where force passes 20 N."""
    rows = []
    for number, footfall in enumerate(footfalls, 1):
        later = [f for f in footfalls if f.side == footfall.side and f.contact_s > footfall.contact_s]
        rows.append(
            {
                "trial_id": simulated.trial_id,
                "footfall_number": number,
                "side": footfall.side,
                "contact_s": footfall.contact_at_20n_s,
                "toe_off_s": footfall.toe_off_at_20n_s,
                "stride_time_s": later[0].contact_at_20n_s - footfall.contact_at_20n_s if later else None,
            }
        )
    return pd.DataFrame(rows)
