"""A real run of 30 s on a treadmill with a second file made of its own contacts: EDF+ bytes through the real reader.

The contacts are those that the recording's source tells of its force, as footswitches on a clock of their own; the
trial's file tells them by its markers, as a laboratory without plates would.
"""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from pathlib import Path

import edfio
import numpy as np
import pytest

from benchmarks.real_recordings import recordings
from demo_site_uploads.simulator import edf_edit
from pipelines.intake.clocks import ClockFit, NoClock
from pipelines.intake.sidecar import read_sidecar
from pipelines.intake.sidecar_clock import with_signals
from schemas.processing import Processing
from schemas.trial import Trial

pytestmark = pytest.mark.skipif(not recordings.there(), reason="the real recordings are not on this machine")

RATE_HZ, BEGINS_S, ENDS_S, RECORD_S = 1000.0, 1.3, 28.7, 0.1
SIDES = ("left", "right")
ROWS = [{"label": f"FOOT {s[0].upper()}", "role": "foot_sensor", "side": s, "unit_code": "V"} for s in SIDES]
#: s; markers tell contact so much later than force on average (the two methods differ, not the clocks).
BIAS_S = 0.003


@cache
def run_without_plates() -> Trial:
    return replace(recordings.treadmill().work.trial, plates=())


@cache
def second_file() -> bytes:
    """Two footswitches that close while the foot is on the belt, with noise."""
    rng = np.random.default_rng(5)
    own = np.arange(round((ENDS_S - BEGINS_S) * RATE_HZ)) / RATE_HZ + BEGINS_S
    told = recordings.treadmill().truth["contacts"]
    signals = []
    for side in SIDES:
        closed = np.zeros(len(own), bool)
        for contact in told:
            if contact["side"] == side and contact["start_s"] is not None and contact["end_s"] is not None:
                closed |= (own >= contact["start_s"]) & (own < contact["end_s"])
        volts = 4.5 * closed + rng.normal(0, 0.02, len(own))
        signals.append(
            edfio.EdfSignal(
                volts, RATE_HZ, label=f"FOOT {side[0].upper()}", physical_dimension="V", physical_range=(-10, 10)
            )
        )
    out = io.BytesIO()
    edfio.Edf(
        signals, data_record_duration=RECORD_S, annotations=[edfio.EdfAnnotation(0.0, None, "made of a real run")]
    ).write(out)
    return out.getvalue()


def matched(content: bytes, folder: Path) -> ClockFit | NoClock:
    path = folder / "second.edf"
    path.write_bytes(content)
    _, clock, _ = with_signals(run_without_plates(), read_sidecar(path), ROWS, Processing())
    assert clock is not None
    return clock


def test_the_clocks_of_a_real_run_match_where_they_should(tmp_path: Path) -> None:
    clock = matched(second_file(), tmp_path)
    assert isinstance(clock, ClockFit), clock
    assert clock.offset_s == pytest.approx(BEGINS_S + BIAS_S, abs=0.01)


@pytest.mark.parametrize("first", [60, 100, 140, 180])
def test_a_stride_lost_in_a_file_without_times_is_no_match_one_stride_off(first: int, tmp_path: Path) -> None:
    """Its strides of 0.80 s differ by 8 ms: eight records of 0.1 s are one of them."""
    lost = edf_edit.retimed(edf_edit.without_record(second_file(), first, 8))
    assert isinstance(matched(lost, tmp_path), NoClock)


@pytest.mark.parametrize("records", [20, 40, 80])
def test_a_part_of_it_is_matched_rightly_or_not_at_all(records: int, tmp_path: Path) -> None:
    """Short parts fit a stride earlier and later nearly as well."""
    content = second_file()
    count = int(content[236:244])
    part = edf_edit.retimed(edf_edit.without_record(content, records, count - records))
    clock = matched(part, tmp_path)
    if isinstance(clock, ClockFit):
        assert clock.offset_s == pytest.approx(BEGINS_S + BIAS_S, abs=0.02)
    else:
        assert records < 80
